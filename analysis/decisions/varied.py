"""A shop whose calendar is not known for certain: another one in each run.

Teaching, days lost, the way there and growth shape hours and demand week by week, which the kernel
reads from a calendar laid out beforehand. Where one of them is a range, each run has its own value
and its own calendar; before and after share them, and runs with the same number in all shops do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from analysis.decisions.money import at, ratio_at
from analysis.decisions.shop_model import ShopModel
from analysis.records.scenario import Estimate, Scenario, sure

TEACHING, LOST_DAYS = "hours of teaching", "days lost by the move"
WAY_THERE, GROWTH = "hours on the way there", "growth of demand"


def ranges(scenario: Scenario) -> dict[str, Estimate]:
    """The figures of a scenario that shape the calendar and are given as a range, by name."""
    return {name: figure for name, figure in _figures(scenario) if figure.is_range}


def _figures(scenario: Scenario) -> Iterator[tuple[str, Estimate]]:
    if scenario.helper:
        yield TEACHING, scenario.helper.training_hours
    if scenario.move:
        yield LOST_DAYS, scenario.move.lost_days
        yield WAY_THERE, scenario.move.commute_hours_per_week
    if scenario.demand:
        yield GROWTH, scenario.demand.growth_per_year


def value(name: str, figure: Estimate, z: float) -> float:
    """A figure z standard deviations up; growth, which may be below 0, by what it leaves of 1."""
    if name == GROWTH and figure.is_range:
        return float(ratio_at(Estimate(1 + figure.low, 1 + figure.high), z)) - 1
    return float(at(figure, z))


def settled(scenario: Scenario, z: dict[str, float]) -> Scenario:
    """The scenario with those of its `ranges` that z names at one value each."""
    given = {
        name: sure(value(name, figure, z[name]))
        for name, figure in ranges(scenario).items()
        if name in z
    }
    helper, move, demand = scenario.helper, scenario.move, scenario.demand
    if helper and TEACHING in given:
        helper = replace(helper, training_hours=given[TEACHING])
    if move:
        days = given.get(LOST_DAYS, move.lost_days)
        way = given.get(WAY_THERE, move.commute_hours_per_week)
        move = replace(move, lost_days=days, commute_hours_per_week=way)
    if demand and GROWTH in given:
        demand = replace(demand, growth_per_year=given[GROWTH])
    return replace(scenario, helper=helper, move=move, demand=demand)


@dataclass(frozen=True)
class Varied:
    """The shop of each run: `make` applied to the scenario with that run's values.

    middle: the shop with all ranges at their middle, of the same lines, hands and doubts.
    """

    middle: ShopModel
    scenario: Scenario
    make: Callable[[Scenario], ShopModel]
    seed: int

    def draws(self, first_run: int, runs: int) -> dict[str, np.ndarray]:
        """name -> (runs,) standard normal draws."""
        from analysis.decisions.draws import PARAMETER, code_of, normal_draws  # numba

        names = list(ranges(self.scenario))
        codes = np.array([code_of(name) for name in names], np.uint64)
        z = normal_draws(self.seed, first_run, runs, PARAMETER, codes)
        return dict(zip(names, z.T, strict=True))

    def of_run(self, run: int) -> ShopModel:
        """The shop of one run."""
        z = {name: float(drawn[0]) for name, drawn in self.draws(run, 1).items()}
        return self.make(settled(self.scenario, z))
