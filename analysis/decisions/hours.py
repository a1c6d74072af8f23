"""Who is at the bench when: the week's hours laid out over the horizon, and work fitted into them.

Work pauses when hours end and goes on when they begin again; what dries does so through the night.
"""

from __future__ import annotations

import numpy as np

from analysis.decisions.compiling import compiled
from analysis.decisions.shop_model import WEEK_SECONDS, Hand, ShopModel

LONG_AWAY_SECONDS = 2 * WEEK_SECONDS  # a week closed ends no work, a season without the hand does
PAUSE_SECONDS = 1800.0  # longer is a new start (study/experience.py: PAUSE_MINUTES)
DAY_SECONDS = 86400.0
NEVER = 1e300  # later than any moment, and still the end of a task (infinity: no task)


STRETCH = np.dtype([("begin", "f8"), ("end", "f8")], align=True)


def stretches_of(model: ShopModel, weeks: int) -> np.ndarray:
    """(hands, n) of STRETCH: the hours of all hands over the horizon, in seconds from Monday 00:00
    of week 0, sorted, filled up with infinity."""
    rows = [_stretches(model, hand, weeks) for hand in model.hands]
    longest = max([0, *(len(row) for row in rows)])
    stretches = np.zeros((len(rows), longest + 1), STRETCH)
    for h, row in enumerate(rows):
        stretches[h] = row + [(np.inf, np.inf)] * (longest + 1 - len(row))
    return stretches


def available_seconds(stretches: np.ndarray, weeks: int) -> np.ndarray:
    """(hands, weeks): seconds at the bench."""
    seconds = np.zeros((len(stretches), weeks))
    for h, row in enumerate(stretches):
        row = row[np.isfinite(row["begin"])]
        week = (row["begin"] // WEEK_SECONDS).astype(int)
        np.add.at(seconds[h], week, row["end"] - row["begin"])
    return seconds


def _stretches(model: ShopModel, hand: Hand, weeks: int) -> list[tuple[float, float]]:
    own = _own_week(model.open_seconds, hand.hours_per_week)
    rows = []
    for week in range(weeks):
        for begin, end in own:
            length = (end - begin) * _share_at_work(model, hand, week)
            if length > 0:
                rows.append((week * WEEK_SECONDS + end - length, week * WEEK_SECONDS + end))
    return rows


def _share_at_work(model: ShopModel, hand: Hand, week: int) -> float:
    """Of the hand's hours in a week: 0 before they come and after they go."""
    if week < hand.from_week or (hand.until_week is not None and week >= hand.until_week):
        return 0.0
    closed = model.closed[week] if week < len(model.closed) else 0.0
    here = hand.available[week] if week < len(hand.available) else 1.0
    return max(1.0 - closed, 0.0) * min(max(here, 0.0), 1.0)


def _own_week(
    open_seconds: tuple[tuple[float, float], ...], hours_per_week: float | None
) -> list[tuple[float, float]]:
    """The hand's part of the week: of each open day the same share, from opening time on."""
    whole = sum(end - begin for begin, end in open_seconds)
    share = 1.0 if hours_per_week is None or not whole else min(hours_per_week * 3600 / whole, 1.0)
    if share == 1.0:
        return list(open_seconds)
    rows = []
    for day in sorted({begin // DAY_SECONDS for begin, _ in open_seconds}):
        own = [pair for pair in open_seconds if pair[0] // DAY_SECONDS == day]
        left = share * sum(end - begin for begin, end in own)
        for begin, end in own:
            rows.append((begin, begin + min(left, end - begin)))
            left -= min(left, end - begin)
    return [(begin, end) for begin, end in rows if end > begin]


@compiled
def stretch_at(stretches: np.ndarray, h: int, place: int, t: float) -> int:
    """The first stretch of hand h, from `place` on, that has not ended at t."""
    while stretches[h, place].end <= t:
        place += 1
    return place


@compiled
def next_presence(stretches: np.ndarray, h: int, place: int, t: float) -> float:
    """When the hand is next at the bench, t itself where they are; infinity where never again."""
    return max(t, stretches[h, place].begin)


@compiled
def finish(
    stretches: np.ndarray, h: int, place: int, t: float, work: float, restart: float, weeks: int
) -> float:
    """When `work` seconds begun at t are done.

    t lies in stretch `place`. After a pause of half an hour or more the hand is slower for a few
    pieces: `restart` seconds more. Who is then away for more than two weeks stays until it is done.
    NEVER where the horizon of so many weeks ends before.
    """
    while True:
        end = stretches[h, place].end
        if work <= end - t or _stays(stretches, h, place, weeks):
            return t + work
        away = stretches[h, place + 1].begin - end
        if away == np.inf:
            return NEVER
        work -= end - t
        if away >= PAUSE_SECONDS:
            work += restart
        place += 1
        t = stretches[h, place].begin


@compiled
def book(
    stretches: np.ndarray,
    h: int,
    place: int,
    t: float,
    until: float,
    worked: np.ndarray,
    sign: float,
) -> float:
    """How many seconds are worked from t until the end that `finish` told; adds them (sign 1) to
    `worked` by week, takes them back (-1), or leaves it (0)."""
    seconds = 0.0
    while t < until:
        end = until if _stays(stretches, h, place, len(worked)) else stretches[h, place].end
        here = max(min(end, until) - t, 0.0)
        worked[int(stretches[h, place].begin // WEEK_SECONDS)] += sign * here
        seconds += here
        place += 1
        t = stretches[h, place].begin if end < until else until
    return seconds


@compiled
def _stays(stretches: np.ndarray, h: int, place: int, weeks: int) -> bool:
    """Whether the hand is away for more than two weeks after this stretch, and so ends its work."""
    away = stretches[h, place + 1].begin - stretches[h, place].end
    return away > LONG_AWAY_SECONDS and stretches[h, place].begin // WEEK_SECONDS + 1 < weeks
