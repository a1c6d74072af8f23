"""What the money is at each demand, simulated with demand fixed there: its bar and its turn."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from analysis.decisions.again import Again, At
from analysis.decisions.answer import GIVEN, Mover
from analysis.decisions.break_even import CLOSE, UPWARD, break_even, crossing, rises_through
from analysis.decisions.change import changed
from analysis.decisions.compare import scaled
from analysis.decisions.doubts import DEMAND, TENTH, count_demand, told_by_counting
from analysis.decisions.money import NORMAL_95
from analysis.decisions.stated import mean_demand
from analysis.decisions.tornado import REACH
from analysis.records.figures import figure
from analysis.records.scenario import Demand, Scenario, sure

DIGITS = 12  # of a factor: 1.15 as a share and back is 1.15


@dataclass(frozen=True)
class DemandFound:
    """The turn of the demand and what stands at it, in pieces a week; None: not found, or not
    looked for. today: with the demand there is now, None where that is the one reckoned with.
    best: the demand looked at at which most is gained.
    """

    break_even: float | None = None
    low: float | None = None
    high: float | None = None
    today: At | None = None
    best: At | None = None
    best_at: float = 0.0
    mover: Mover | None = None


class DemandCurve:
    """The mean net present value over demand, in shares of the demand that is reckoned with.

    Where the scenario has a factor for all products, a share stands for another factor, as if it
    had been given so; else all weekly demand is times the share, before and after.
    """

    def __init__(self, again: Again):
        self.again, self.scenario = again, again.compared.scenario
        demand = self.scenario.demand
        self.factor = demand.factor if demand else sure(1.0)
        self.by_factor = (
            demand is not None and self.factor != sure(1.0) and not demand.factor_products
        )
        self.per_week = self._per_week(1.0)

    def at(self, share: float) -> At:
        """The net present value with demand fixed at a share."""
        return self.again.with_demand(share, *self._fixed(share))

    def _fixed(self, share: float) -> tuple[Scenario, float]:
        """(the scenario with its demand sure, what is left to scale)."""
        demand = self.scenario.demand
        if demand is None:
            return self.scenario, share
        middle = round(self.factor.typical * (share if self.by_factor else 1.0), DIGITS)
        fixed = replace(self.scenario, demand=replace(demand, factor=sure(middle)))
        return fixed, 1.0 if self.by_factor else share

    def _per_week(self, share: float) -> float:
        scenario, left = self._fixed(share)
        shop = scaled(changed(self.again.model, scenario), left)
        return mean_demand(shop, scenario.horizon_weeks)

    def value(self, share: float) -> float:
        """Mean net present value, in money, with all demand times `share`."""
        return self.at(share).mean

    def found(self) -> DemandFound:
        """The bar, the demand from which on it pays with its range, and what stands at today's."""
        ends = self._ends()
        current, now = today(self.again), self._today()
        if current and now:
            self.again.known["demand", now] = current
        share = break_even(self.value, (*(ends or (1 - TENTH, 1 + TENTH)), now or 1.0))
        looked = self._looked_at()
        best, best_at = max(((at, s) for s, at in looked), key=lambda pair: pair[0].mean)
        return DemandFound(
            break_even=None if share is None else self._per_week(share) if share else 0.0,
            low=self._bound(looked, share, NORMAL_95),
            high=self._bound(looked, share, -NORMAL_95),
            today=current,
            best=best,
            best_at=self._per_week(best_at),
            mover=self._mover(ends, looked, share) if ends else None,
        )

    def _today(self) -> float | None:
        """Today's demand as a share, where a factor alone leads away from it."""
        demand = self.scenario.demand
        if not (demand and self.by_factor) or _at_today(demand) != replace(demand, factor=sure(1)):
            return None
        return 1 / self.factor.typical

    def _ends(self) -> tuple[float, float] | None:
        """The likely ends of demand as shares; None where a range of a part of it is drawn."""
        if not self.factor.is_range:
            return 1 - TENTH, 1 + TENTH
        if not self.by_factor:
            return None
        return self.factor.low / self.factor.typical, self.factor.high / self.factor.typical

    def _looked_at(self) -> list[tuple[float, At]]:
        """All shares simulated, in order."""
        known = self.again.known.items()
        return sorted(
            (share, at) for (what, share), at in known
            if what == "demand" and not isinstance(share, str)
        )  # fmt: skip

    def _bound(self, looked: list[tuple[float, At]], share: float | None, z: float) -> float | None:
        """An end of the range of the turn: where the mean and z standard errors rise through 0."""
        if not share:
            return None
        points = [(s, at.mean + z * at.error) for s, at in looked]
        end = rises_through(points, share)
        return None if end is None else self._per_week(end)

    def _mover(
        self, ends: tuple[float, float], looked: list[tuple[float, At]], share: float | None
    ) -> Mover:
        """The bar from one end to the other, its turn at a share where one is known."""
        low, high = (self.at(share) for share in ends)
        apart = high.values - low.values
        return Mover(
            name=DEMAND,
            low=f"{figure(self._per_week(ends[0]), 3)} pieces a week",
            high=f"{figure(self._per_week(ends[1]), 3)} pieces a week",
            value_at_low=low.mean,
            value_at_high=high.mean,
            source=GIVEN,
            turns_at=self._turn(ends, share),
            error=float(apart.std(ddof=1) / math.sqrt(len(apart))) if len(apart) > 1 else 0.0,
            settled_by=count_demand(self.per_week),
            worth_knowing=self._worth_knowing(ends, looked),
            tried=not self.factor.is_range,
        )

    def _turn(self, ends: tuple[float, float], share: float | None) -> str:
        """The demand at which the value turns, `119 pieces a week`; "" where none is in reach."""
        low, high = (self.value(end) for end in ends)
        if high < 0 <= low:  # a loss from there on
            share = crossing(self.value, *ends, CLOSE)
        if not share or not 1 / REACH < share < REACH:
            return ""
        return f"{figure(self._per_week(share), 3)} pieces a week"

    def _worth_knowing(self, ends: tuple[float, float], looked: list[tuple[float, At]]) -> float:
        """E[max(V, 0)] - max(E[V], 0) over demand, lognormal with these ends, V the line through
        what was simulated: what it is worth to count demand before deciding."""
        deviation = math.log(ends[1] / ends[0]) / (2 * NORMAL_95)
        deviation *= told_by_counting(deviation, self.per_week)
        middle = math.log(ends[0] * ends[1]) / 2
        z = np.linspace(-3, 3, 121)
        weight = np.exp(-z * z / 2)
        shares, values = zip(*((math.log(s), at.mean) for s, at in looked if s > 0), strict=True)
        gained = np.interp(middle + z * deviation, shares, values)
        mean = partial(np.average, weights=weight)
        return float(mean(np.maximum(gained, 0)) - max(mean(gained), 0.0))


def today(again: Again) -> At | None:
    """With the demand there is now: no factor, no growth, no new number of pieces."""
    scenario = again.compared.scenario
    if scenario.demand is None:
        return None
    now = _at_today(scenario.demand)
    if now == scenario.demand:
        return None
    return again.with_demand("today", replace(scenario, demand=now))


def _at_today(demand: Demand) -> Demand:
    return replace(demand, factor=sure(1.0), growth_per_year=sure(0.0), products=())


def searched_to(curve: DemandCurve) -> float:
    """The most pieces a week that are looked at."""
    return UPWARD[-1] * curve.per_week
