"""How often one caller may ask: a bucket of tokens for each, refilled steadily."""

import math
import threading
from collections import OrderedDict

MOST_CALLERS = 4096  # those asked for longest ago are forgotten, so that strangers cost no memory


class Throttle:
    """At most `burst` calls at once and `per_second` in the long run, for each caller."""

    def __init__(self, burst: float, per_second: float):
        self.burst = burst
        self.per_second = per_second
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock = threading.Lock()

    def wait_seconds(self, caller: str, now: float) -> int:
        """0 and one token taken, or how many whole seconds to wait until there is one."""
        with self._lock:
            tokens, seen = self._buckets.pop(caller, (self.burst, now))
            tokens = min(self.burst, tokens + (now - seen) * self.per_second)
            allowed = tokens >= 1
            self._buckets[caller] = (tokens - allowed, now)
            if len(self._buckets) > MOST_CALLERS:
                self._buckets.popitem(last=False)
        return 0 if allowed else max(1, math.ceil((1 - tokens) / self.per_second))

    def give_back(self, caller: str) -> None:
        """Undo the taking of one token, for a call that turned out to be none to count."""
        with self._lock:
            if caller in self._buckets:
                tokens, seen = self._buckets[caller]
                self._buckets[caller] = (min(self.burst, tokens + 1), seen)
