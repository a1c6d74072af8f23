"""Money over weeks: present value, payback, annuity; time 0 is the start, flows fall on week ends.

Engineering economics as in any textbook (the checks name theirs); a week's rate compounds to the
year's. Arrays hold flows along their last axis, entry 0 at the start, entry t at the end of week t.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.records.scenario import Estimate
from analysis.records.shop import WEEKS_PER_YEAR

NORMAL_95 = 1.6448536269514722  # the ends of a 90 % range, in standard deviations
_ROUNDING = 1e-9  # of the largest sum: what adding floats may leave of an exact 0


def weekly_rate(rate_per_year: float) -> float:
    """Rate per week (0.001 is a tenth of a percent) of one per year: (1 + r)^(1/52) - 1."""
    return (1 + rate_per_year) ** (1 / WEEKS_PER_YEAR) - 1


def discount_factors(rate: float, periods: int) -> np.ndarray:
    """(periods + 1,): (1 + rate)^-t for t = 0 … periods; rate: per period."""
    return (1 + rate) ** -np.arange(periods + 1.0)


def annuity_factor(rate: float, periods: float) -> float:
    """Present value of 1 at the end of each period: (1 - (1 + rate)^-n) / rate; n at rate 0."""
    return periods if rate == 0 else -math.expm1(-periods * math.log1p(rate)) / rate


def evenly(value: float, rate: float, periods: float) -> float:
    """The same amount each period with this present value: value / annuity factor (A/P)."""
    return value / annuity_factor(rate, periods)


def payback(cumulative: np.ndarray) -> np.ndarray:
    """When the sum of flows so far comes to stay at 0 or above, in periods from the start.

    cumulative: (…, n + 1), entry 0 at the start. Within the period of the crossing flows are taken
    to come evenly. 0 where nothing was ever out of pocket; infinity where the last sum is below 0,
    or where nothing flows at all: nothing was earned then.
    """
    sums = np.asarray(cumulative, float)
    nearly_nothing = _ROUNDING * np.abs(sums).max(axis=-1, keepdims=True)
    below = sums < -nearly_nothing
    last = sums.shape[-1] - 1 - below[..., ::-1].argmax(axis=-1)
    before = np.take_along_axis(sums, last[..., None], -1)[..., 0]
    after = np.take_along_axis(sums, np.minimum(last + 1, sums.shape[-1] - 1)[..., None], -1)[
        ..., 0
    ]
    rise = np.where(after > before, after - before, 1.0)
    crossing = np.where(below.any(axis=-1), last - before / rise, 0.0)
    never = below[..., -1] | ~(np.abs(sums) > 0).any(axis=-1)
    return np.where(never, np.inf, crossing)


def at(estimate: Estimate, z: np.ndarray | float) -> np.ndarray | float:
    """Money, hours or days at standard normal draws z: the ends at z = -1.645 and 1.645.

    middle + z (high - low) / (2 x 1.645), and not below 0: `Estimate.middle` says why and whence.
    """
    spread = (estimate.high - estimate.low) / (2 * NORMAL_95)
    return np.maximum(estimate.middle + np.asarray(z) * spread, 0.0)


def ratio_at(estimate: Estimate, z: np.ndarray | float) -> np.ndarray | float:
    """A factor above 0 at standard normal draws z: typical x exp(z doubt), see Estimate.typical."""
    return estimate.typical * np.exp(np.asarray(z) * doubt_of(estimate))


def doubt_of(estimate: Estimate) -> float:
    """Standard deviation of the logarithm of a range above 0; 0 of a sure figure."""
    if not estimate.is_range:
        return 0.0
    return math.log(estimate.high / estimate.low) / (2 * NORMAL_95)


def gain_from_knowing(mean: float, deviation: float) -> float:
    """What it is worth to learn a part of the net present value before deciding.

    E[max(X, 0)] - max(E[X], 0) with X normal, the decision being to do it or to leave it:
    s phi(m / s) + m Phi(m / s) - max(m, 0), the unit normal loss integral (Raiffa & Schlaifer,
    Applied Statistical Decision Theory, 1961; formula from memory).
    """
    if deviation <= 0:
        return 0.0
    u = abs(mean) / deviation
    density = math.exp(-u * u / 2) / math.sqrt(2 * math.pi)
    return deviation * (density - u * 0.5 * math.erfc(u / math.sqrt(2)))
