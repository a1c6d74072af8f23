"""The change simulated again with one figure held at one value, everything else drawn as before.

What a figure does to the money is seldom a straight line (demand beyond what can be made sells
nothing more), so what is said about one value is simulated at that value, with the random numbers
of the runs there are (common random numbers).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.decisions.compare import Compared, Simulator, before_of, compare
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.varied import ranges, settled
from analysis.records.scenario import Scenario

MOST_RUNS = 64  # at each value: half the doubt takes four times as long


class Stopped(Exception):
    """Somebody asked to stop before all values were simulated."""


@dataclass(frozen=True)
class At:
    """The net present value with one figure held: its mean, the standard error of that, the runs'.

    The mean is moved to where all runs there are would have it (control variate, Lavenberg &
    Welch 1981, from memory): mean(V) + b (mean of all - mean of the same runs), b = cov / var
    of the runs as they were drawn.
    """

    mean: float
    error: float
    values: np.ndarray


class Again:
    """Simulates one scenario at other values, each once; told(what) is called before each."""

    told: Callable[[str], None] | None = None

    def __init__(self, model: ShopModel, compared: Compared, run: Simulator):
        self.model, self.compared, self.run = model, compared, run
        self.drawn = compared.ledger.net_present_values
        self.runs = min(MOST_RUNS, len(self.drawn))
        self.known: dict[tuple[str, float | str], At] = {}

    def with_draw(self, name: str, z: float) -> At:
        """Net present values with the figure of one draw z standard deviations up in every run."""
        scenario, model = self.compared.scenario, self.model
        if name in ranges(scenario):
            scenario = settled(scenario, {name: z})
        else:
            model = replace(model, held=(*model.held, (name, z)))
        return self._at((name, z), name, model, scenario)

    def with_demand(self, level: float | str, scenario: Scenario, share: float = 1.0) -> At:
        """With another demand in the scenario, or all demand times `share`; level: its name."""
        return self._at(("demand", level), "demand", self.model, scenario, share)

    def _at(
        self,
        key: tuple[str, float | str],
        what: str,
        model: ShopModel,
        scenario: Scenario,
        share: float = 1.0,
    ) -> At:
        if key not in self.known:
            self._stop()
            if self.told:
                self.told(what)
            before = before_of(model, scenario, self.run.seed, share)
            same = before == before_of(self.model, self.compared.scenario, self.run.seed)
            known = self.compared.before.first(self.runs) if same else None
            there = compare(model, scenario, self.run, self.runs, share=share, before=known)
            if there.ledger.runs < self.runs:
                raise Stopped
            self.known[key] = self._adjusted(there.ledger.net_present_values)
        return self.known[key]

    def _stop(self) -> None:
        stop = (self.run.options or {}).get("stop")
        if stop is not None and stop():
            raise Stopped

    def _adjusted(self, values: np.ndarray) -> At:
        runs, everyone = len(values), len(self.drawn)
        if runs < 2:
            return At(float(values.mean()), 0.0, values)
        same = self.drawn[:runs]
        (spread, both), (_, own) = np.cov(values, same)
        slope = both / own if own > 0 else 0.0
        mean = values.mean() + slope * (self.drawn.mean() - same.mean())
        left = max(spread - slope * both, 0.0)
        variance = left / runs + (spread - left) / everyone
        return At(float(mean), float(np.sqrt(variance)), values)
