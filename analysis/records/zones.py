"""Wall-clock time and UTC, for whole columns, by the IANA rules of one zone.

All times are int64 microseconds: of UTC since 1970, or of the wall clock as if it were UTC.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np

DAY = 86_400_000_000
BLOCK = 500  # days that are looked up, and remembered, together
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class FromWall:
    """UTC of wall times; `repeated`: the hour came twice, `skipped`: it never came."""

    utc: np.ndarray
    repeated: np.ndarray
    skipped: np.ndarray


def wall_to_utc(wall: np.ndarray, zone: str) -> FromWall:
    """UTC of wall times in a zone.

    A time that came twice when the clocks went back is taken as the first of the two. A time
    that never came when they went forward is counted on from before the change, as a clock nobody
    put forward shows it: 02:30 is half an hour after 02:00, which is 03:30.
    """
    if not len(wall):
        return FromWall(wall, np.zeros(0, bool), np.zeros(0, bool))
    changes, offsets = _changes(zone, int(wall.min()), int(wall.max()))
    before, after = changes + offsets[:-1], changes + offsets[1:]
    changed = np.searchsorted(np.maximum(before, after), wall, side="right")
    return FromWall(
        wall - offsets[changed],
        _between(wall, np.minimum(after, before), before),
        _between(wall, before, np.maximum(after, before)),
    )


def utc_to_wall(utc: np.ndarray, zone: str) -> np.ndarray:
    """Wall times in a zone of UTC times, both in microseconds since 1970."""
    if not len(utc):
        return utc
    changes, offsets = _changes(zone, int(utc.min()), int(utc.max()))
    return utc + offsets[np.searchsorted(changes, utc, side="right")]


def local_days(utc: np.ndarray, zone: str) -> np.ndarray:
    """The day in a zone on which each UTC time falls, as days since 1970-01-01."""
    return utc_to_wall(utc, zone) // DAY


def _between(times: np.ndarray, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Which times lie in one of the spans [start, end); empty spans count for nothing."""
    real = ends > starts
    starts, ends = starts[real], ends[real]
    started = np.searchsorted(starts, times, side="right")
    return started > np.searchsorted(ends, times, side="right")


def _changes(zone: str, first: int, last: int) -> tuple[np.ndarray, np.ndarray]:
    """When the zone's offset changes from well before `first` to well after `last`.

    Returns (changes, offsets): UTC of each change, and the offsets before, between and after
    them, one more than changes.
    """
    return _changes_of_days(zone, (first // DAY - 2) // BLOCK, (last // DAY + 4) // BLOCK + 1)


@lru_cache(64)
def _changes_of_days(zone: str, first: int, last: int) -> tuple[np.ndarray, np.ndarray]:
    """The same for blocks of days; looks at each day once, and halves those that hold a change."""
    info = ZoneInfo(zone)
    days = range(first * BLOCK, last * BLOCK)
    seen = [_offset(info, day * DAY) for day in days]
    changes, offsets = [], [seen[0]]
    for day, before, after in zip(days, seen, seen[1:], strict=False):
        if before != after:
            changes.append(_bisect(info, day * DAY, (day + 1) * DAY, before))
            offsets.append(after)
    return np.array(changes, np.int64), np.array(offsets, np.int64)


def _bisect(info: ZoneInfo, low: int, high: int, before: int) -> int:
    """The first whole second in (low, high] at which the offset is no longer `before`."""
    while high - low > 1_000_000:
        middle = (low + high) // 2_000_000 * 1_000_000
        low, high = (middle, high) if _offset(info, middle) == before else (low, middle)
    return high


def _offset(info: ZoneInfo, utc: int) -> int:
    offset = (_EPOCH + timedelta(microseconds=utc)).astimezone(info).utcoffset()
    assert offset is not None  # the moment has a zone
    return offset // timedelta(microseconds=1)
