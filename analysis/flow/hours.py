"""Hours: when work can be done. Waits run through lunch and night; work does not."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property


@dataclass(frozen=True)
class Hours:
    """Open spans in ticks from the start of the session, in turn; none at all = always open."""

    spans: tuple[tuple[int, int], ...] = ()

    @cached_property
    def _starts(self) -> list[int]:
        return [start for start, _ in self.spans]

    def fit(self, start: int, duration: int) -> int | None:
        """The earliest moment from `start` on at which work of `duration` ends before closing
        time; None where no span is long enough."""
        if not self.spans:
            return start
        # Asked for every piece that is planned, so nothing is copied here.
        for place in range(max(0, bisect_right(self._starts, start) - 1), len(self.spans)):
            begin, end = self.spans[place]
            moment = start if start > begin else begin
            if moment + duration <= end:
                return moment
        return None

    def advance(self, start: int, ticks: int) -> int:
        """The earliest moment by which so many open ticks have passed since `start`, in ticks, too;
        behind the last span all counts as open."""
        if not self.spans or not ticks:
            return start + ticks
        place = max(0, bisect_right(self._starts, start) - 1)
        left = ticks
        for begin, end in self.spans[place:]:
            room = end - max(start, begin)
            if room >= left:
                return max(start, begin) + left
            left -= max(room, 0)
        return self.spans[-1][1] + left

    def closed(self, horizon: int) -> list[tuple[int, int]]:
        """The closed stretches (begin, end) from 0 to `horizon`, in ticks."""
        stretches, last = [], 0
        for begin, end in self.spans:
            if begin > last:
                stretches.append((last, min(begin, horizon)))
            last = end
            if last >= horizon:
                break
        return [(begin, end) for begin, end in stretches if end > begin]
