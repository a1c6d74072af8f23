"""The demand from which a change pays: where the mean net present value crosses 0."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

UPWARD = (1.25, 1.6, 2.5, 4.0)  # shares of the demand reckoned with
DOWNWARD = (0.8, 0.6, 0.4, 0.2, 0.05)
STEPS = 4
CLOSE = 0.005  # of the demand: nearer than any demand is known


def break_even(value_at: Callable[[float], float], known: Iterable[float] = ()) -> float | None:
    """The share of the demand at which the value is 0, from there on gaining; None where nowhere.

    value_at(share) is the mean net present value with demand fixed at `share` of the one reckoned
    with; known: shares at which it is asked for anyhow. The turn to a gain that is nearest to 1 is
    looked for, first among these, then beyond them: downward where the change pays at the least of
    them (0 where it pays down to the last), else upward. Then the Illinois form of the false
    position (Dowell & Jarratt 1971).
    """
    shares = sorted({1.0, *known})
    turns = [(a, b) for a, b in pairwise(shares) if value_at(a) < 0 <= value_at(b)]
    if turns:
        return crossing(value_at, *min(turns, key=lambda ends: _away(*ends)), CLOSE)
    if value_at(shares[0]) >= 0:
        above = shares[0]
        for share in (share for share in DOWNWARD if share < shares[0]):
            if value_at(share) < 0:
                return crossing(value_at, share, above, CLOSE)
            above = share
        return 0.0
    below = shares[-1]
    for share in (share for share in UPWARD if share > shares[-1]):
        if value_at(share) >= 0:
            return crossing(value_at, below, share, CLOSE)
        below = share
    return None


def _away(low: float, high: float) -> float:
    """How far 1 lies from an interval."""
    return max(low - 1, 1 - high, 0.0)


def crossing(value_at: Callable[[float], float], a: float, b: float, close: float) -> float:
    """Where the value is 0 between a and b, at which its signs differ, to within `close`."""
    at_a, at_b, side = value_at(a), value_at(b), 0
    for _ in range(STEPS):
        middle = (a * at_b - b * at_a) / (at_b - at_a)
        if b - a < close or min(middle - a, b - middle) < close / 10:
            return middle
        value = value_at(middle)
        if (value < 0) == (at_a < 0):
            a, at_a = middle, value
            at_b, side = (at_b / 2 if side < 0 else at_b), -1
        else:
            b, at_b = middle, value
            at_a, side = (at_a / 2 if side > 0 else at_a), 1
    return (a * at_b - b * at_a) / (at_b - at_a)


def rises_through(points: Sequence[tuple[float, float]], near: float) -> float | None:
    """Where the line through (share, value), sorted, rises through 0, nearest to `near`."""
    found = [
        a + (b - a) * -at_a / (at_b - at_a)
        for (a, at_a), (b, at_b) in pairwise(points)
        if at_a < 0 <= at_b
    ]
    return min(found, key=lambda share: abs(share - near), default=None)
