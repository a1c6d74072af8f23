"""The demand from which a change pays: where the mean net present value crosses 0."""

from __future__ import annotations

from collections.abc import Callable

UPWARD = (1.25, 1.6, 2.0, 3.0, 4.0)  # shares of the demand reckoned with
DOWNWARD = (0.8, 0.6, 0.4, 0.2, 0.05)
STEPS = 5
CLOSE = 0.005  # of the demand: nearer than any demand is known


def break_even(value_at: Callable[[float], float]) -> float | None:
    """The share of the demand at which the value is 0, from there on gaining; None where nowhere.

    value_at(share) is the mean net present value with all demand times `share`. The nearest change
    of sign is looked for, upward where the change does not pay at 1, else downward (0 where it
    pays down to the last); then the Illinois form of the false position (Dowell & Jarratt 1971).
    """
    here = value_at(1.0)
    low, high = (1.0, here), (1.0, here)
    for share in UPWARD if here < 0 else DOWNWARD:
        value = value_at(share)
        low, high = (high, (share, value)) if here < 0 else ((share, value), low)
        if (value < 0) != (here < 0):
            return _crossing(value_at, low, high)
    return None if here < 0 else 0.0


def _crossing(value_at, low: tuple[float, float], high: tuple[float, float]) -> float:
    (a, at_a), (b, at_b) = low, high
    side = 0
    for _ in range(STEPS):
        middle = (a * at_b - b * at_a) / (at_b - at_a)
        if b - a < CLOSE or min(middle - a, b - middle) < CLOSE / 10:
            return middle
        value = value_at(middle)
        if value < 0:
            a, at_a = middle, value
            at_b, side = (at_b / 2 if side < 0 else at_b), -1
        else:
            b, at_b = middle, value
            at_a, side = (at_a / 2 if side > 0 else at_a), 1
    return (a * at_b - b * at_a) / (at_b - at_a)
