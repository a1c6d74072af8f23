"""Work done beside the page: kept by content, ended when nobody looks at it any more, and making
way while a page is being made: Python runs one thread at a time, and somebody waits for the page.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from typing import Generic, TypeVar

MOST_KEPT = 60
MOST_WAY_SECONDS = 1.0  # that work makes way at a time: it also gets on where pages never end


class _Way:
    """How many pages are being made."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._pages = 0

    @contextmanager
    def taken(self) -> Iterator[None]:
        with self._changed:
            self._pages += 1
        try:
            yield
        finally:
            with self._changed:
                self._pages -= 1
                self._changed.notify_all()

    def make(self) -> None:
        """Wait while a page is being made, but not for ever."""
        with self._changed:
            self._changed.wait_for(lambda: not self._pages, MOST_WAY_SECONDS)


_WAY = _Way()
page_first = _WAY.taken  # while something is made that a page waits for


class Job:
    """One piece of work in a thread; it asks `_stop` now and then whether to go on."""

    UNASKED_SECONDS = 10.0  # so long after a page last asked, the work ends by itself

    def __init__(self) -> None:
        self.stopped = False  # by somebody's tap
        self.left = False  # nobody looked any more
        self.over = threading.Event()
        self._asked_at = time.monotonic()

    def asked(self) -> None:
        """A page still looks at it."""
        self._asked_at = time.monotonic()

    def stop(self) -> None:
        """End it with what is done."""
        self.stopped = True

    def _stop(self) -> bool:
        """Whether to end, asked by work that nobody waits for."""
        _WAY.make()
        return self._ended()

    def _ended(self) -> bool:
        self.left = self.left or time.monotonic() - self._asked_at > self.UNASKED_SECONDS
        return self.stopped or self.left


AJob = TypeVar("AJob", bound=Job)


class Jobs(Generic[AJob]):
    """All jobs of a kind by a name of their content, the oldest forgotten first."""

    def __init__(self) -> None:
        self._jobs: OrderedDict[Hashable, AJob] = OrderedDict()
        self._lock = threading.Lock()

    def _kept(
        self,
        name: Hashable,
        is_spent: Callable[[AJob], bool],
        begun: Callable[[AJob | None], AJob],
    ) -> AJob:
        """The job of a name; where there is none, or a spent one, what `begun` makes of it."""
        with self._lock:
            job = self._jobs.get(name)
            if job is None or is_spent(job):
                with page_first():
                    job = self._jobs[name] = begun(job)
            self._jobs.move_to_end(name)
            while len(self._jobs) > MOST_KEPT:
                self._jobs.popitem(last=False)[1].stop()
        job.asked()
        return job

    def again(self, name: Hashable) -> None:
        """Forget a job, so that it is worked out anew, as after a stop."""
        with self._lock:
            self._jobs.pop(name, None)

    def all(self) -> list[AJob]:
        """Those kept, the one asked for last at the end."""
        with self._lock:
            return list(self._jobs.values())
