"""The change at other levels of demand, simulated anew: from which one on it pays, and its bar."""

from __future__ import annotations

from dataclasses import replace

from analysis.decisions.answer import Mover
from analysis.decisions.break_even import break_even
from analysis.decisions.change import DEMAND_DOUBT
from analysis.decisions.compare import Compared, Simulator, compare
from analysis.decisions.doubts import COUNT_DEMAND, DEMAND
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.stated import mean_demand
from analysis.decisions.tornado import TENTH, range_mover
from analysis.records.figures import figure

FEW = 16  # runs at other levels of demand, each anchored at the value of all runs


class DemandLevels:
    """The mean net present value at other levels of demand, simulated anew with few runs.

    value(share) = mean of FEW runs at that share + (mean of all runs - mean of those FEW) at 1, so
    that which runs are taken matters little.
    """

    def __init__(self, model: ShopModel, compared: Compared, run: Simulator, searched: bool = True):
        self.model, self.compared, self.run, self.searched = model, compared, run, searched
        self.per_week = mean_demand(compared.models[1], compared.scenario.horizon_weeks)
        values = compared.ledger.net_present_values
        self.runs = min(FEW, len(values))
        self.mean = float(values.mean())
        self.anchor = self.mean - float(values[: self.runs].mean())
        self.known = {1.0: self.mean}

    def value(self, share: float) -> float:
        """Mean net present value with all demand times `share`."""
        if share not in self.known:
            scenario = self.compared.scenario
            there = compare(self.model, scenario, self.run, self.runs, share=share)
            self.known[share] = float(there.ledger.net_present_values.mean()) + self.anchor
        return self.known[share]

    def break_even(self) -> float | None:
        """Pieces asked for in a week at which the mean net present value is 0."""
        if not self.searched:
            return None
        share = break_even(self.value)
        return None if share is None else share * self.per_week

    def movers(self) -> list[Mover]:
        """Demand a tenth less and more, unless a range of it is drawn in each run."""
        if not self.searched:
            return []
        if any(doubt.name == DEMAND_DOUBT for doubt in self.compared.models[1].shared_doubts):
            return []
        less, more = 1 - TENTH, 1 + TENTH
        ends = (self._said(less), self._said(more))
        values = (self.value(less), self.value(more))
        return [range_mover(DEMAND, ends, values, self.mean, settled_by=COUNT_DEMAND)]

    def _said(self, share: float) -> str:
        return f"{figure(share * self.per_week, 3)} a week"

    def turning(self, mover: Mover) -> Mover:
        """The mover; demand with the level at which simulating again found the turn."""
        if mover.name != DEMAND:
            return mover
        turn = self.break_even()
        return replace(mover, turns_at=f"{figure(turn, 3)} pieces a week" if turn else "")
