"""The shop before and after a change, simulated with the same random numbers and put into money."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace
from functools import partial
from typing import Any, TypeAlias

import numpy as np

from analysis.decisions.change import changed, expected
from analysis.decisions.ledger import Ledger, end_of_life, ledger_of
from analysis.decisions.shop_model import Hand, ShopModel
from analysis.decisions.simulate import Progress, Runs, Simulated, simulate
from analysis.decisions.varied import Varied, ranges
from analysis.records.scenario import Scenario

SEED = 1
Apply: TypeAlias = Callable[[ShopModel, Scenario], ShopModel]


@dataclass(frozen=True)
class Simulator:
    """How weeks are simulated: always the same seed, so that all shops meet the same chances."""

    seed: int = SEED
    options: dict | None = None  # stop, jobs, backend of `simulate`

    def __call__(
        self,
        model: Simulated,
        weeks: int,
        runs: int,
        report: Callable[[Progress], None] | None = None,
    ) -> Runs:
        options = self.options or {}
        if isinstance(model, ShopModel):
            model = least_able_first(model)
        return simulate(model, weeks=weeks, runs=runs, seed=self.seed, report=report, **options)


def least_able_first(model: ShopModel) -> ShopModel:
    """The shop with those first who can do the fewest steps, else in the order they stand in.

    Of those who are free at one moment the first takes up work first. Were it the one who can do
    everything, a helper who may only pack would find the packing gone and stand idle.
    """

    def able(hand: Hand) -> int:
        return sum(
            (hand.name, line.product, step.operation) in model.skills
            and (not step.workers or hand.name in step.workers)
            and (hand.operations is None or step.operation in hand.operations)
            for line in model.lines
            for step in line.steps
        )

    return replace(model, hands=tuple(sorted(model.hands, key=able)))


@dataclass(frozen=True)
class Compared:
    """One scenario simulated: the shop and its runs before and after, of the same length."""

    scenario: Scenario
    models: tuple[ShopModel, ShopModel]
    before: Runs
    after: Runs
    ledger: Ledger

    @property
    def changes(self) -> bool:
        """Whether anything at all differs, in money, pieces or hours."""
        if any(entry.flows.any() for entry in self.ledger.entries):
            return True
        before, after = self.before, self.after
        return not (
            np.array_equal(before.good, after.good)
            and np.array_equal(before.sold, after.sold)
            and np.array_equal(before.bench_seconds.sum(axis=2), after.bench_seconds.sum(axis=2))
            and np.array_equal(before.idle_seconds, after.idle_seconds)
        )


def compare(
    model: ShopModel, scenario: Scenario, run: Simulator, runs: int, *,
    share: float = 1.0, before: Runs | None = None,
    report: Callable[[Progress, Ledger], None] | None = None,
) -> Compared:  # fmt: skip
    """Simulate before (unless given) and after, all demand times `share`, and keep the ledger.

    report is called while the weeks after are simulated, with the ledger so far.
    """
    weeks = scenario.horizon_weeks
    models = (scaled(expected(model, scenario), share), scaled(changed(model, scenario), share))
    if before is None:
        before = run(before_of(model, scenario, run.seed, share), weeks, runs)
    before = first_weeks(before, weeks)

    def ledger(after: Runs) -> Ledger:
        return ledger_of(before.first(after.runs), after, models, scenario, run.seed)

    def told(progress: Progress) -> None:
        if report is not None:
            report(progress, ledger(progress.so_far))

    shops = after_of(model, scenario, run.seed, share)
    after = run(shops, weeks, runs, report=told if report is not None else None)
    for end in sorted({end_of_life(machine, weeks) for machine in scenario.equipment}):
        if end < weeks:
            left = tuple(m for m in scenario.equipment if end_of_life(m, weeks) > end)
            without = after_of(model, replace(scenario, equipment=left), run.seed, share)
            after = spliced(after, run(without, weeks, runs), end)
    done = min(before.runs, after.runs)
    after = after.first(done)
    return Compared(scenario, models, before.first(done), after, ledger(after))


def before_of(model: ShopModel, scenario: Scenario, seed: int, share: float = 1.0) -> Simulated:
    """The shop before, as it is simulated: all weekly demand times `share`."""
    return _simulated(expected, model, scenario, seed, share)


def after_of(model: ShopModel, scenario: Scenario, seed: int, share: float = 1.0) -> Simulated:
    """The shop after, as it is simulated: all weekly demand times `share`."""
    return _simulated(changed, model, scenario, seed, share)


def _simulated(
    apply: Apply, model: ShopModel, scenario: Scenario, seed: int, share: float
) -> Simulated:
    """One shop for all runs, or one for each where a range shapes its calendar."""
    make = partial(_made, apply, model, share)
    middle = make(scenario)
    if not ranges(scenario) or middle == least_able_first(scaled(model, share)):
        return middle
    return Varied(middle, scenario, make, seed)


def _made(apply: Apply, model: ShopModel, share: float, scenario: Scenario) -> ShopModel:
    return least_able_first(scaled(apply(model, scenario), share))


def scaled(model: ShopModel, share: float) -> ShopModel:
    """The shop with all weekly demand times `share`; dated orders stay."""
    if share == 1:
        return model
    lines = tuple(
        replace(line, demand_per_week=line.demand_per_week * share) for line in model.lines
    )
    return replace(model, lines=lines)


def first_weeks(runs: Runs, weeks: int) -> Runs:
    """The first so many weeks of each run, as if they had been simulated alone."""
    if runs.weeks == weeks:
        return runs
    cut: dict[str, Any] = {name: values[:, :weeks] for name, values in _weekly(runs)}
    return replace(runs, **cut)


def spliced(first: Runs, then: Runs, week: int) -> Runs:
    """The weeks of `first` before week `week` (1 or more), those of `then` from it on.

    What `first` has more on the shelf by then is sold to those who would have gone away. What is
    under way at that moment is taken as the same, and so is a shelf on which less lies.
    """
    done = min(first.runs, then.runs)
    first, then = first.first(done), then.first(done)
    joined: dict[str, Any] = {
        name: np.concatenate([values[:, :week], getattr(then, name)[:, week:]], axis=1)
        for name, values in _weekly(first)
    }
    left = np.maximum(first.stock_end[:, week - 1] - then.stock_end[:, week - 1], 0.0)
    for later in range(week, first.weeks):
        more = np.minimum(left, joined["lost_demand"][:, later])
        left = left - more
        joined["sold"][:, later] += more
        joined["lost_demand"][:, later] -= more
        joined["stock_end"][:, later] += left
    return replace(first, **joined, draws={**then.draws, **first.draws})


def _weekly(runs: Runs) -> Iterator[tuple[str, np.ndarray]]:
    """Name and array of every figure that has a value a run and week."""
    other = ("unfinished_age_seconds", "pieces_open")
    for field in fields(runs):
        values = getattr(runs, field.name)
        if isinstance(values, np.ndarray) and field.name not in other:
            yield field.name, values
