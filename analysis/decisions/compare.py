"""The shop before and after a change, simulated with the same random numbers and put into money."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from analysis.decisions.change import changed, expected
from analysis.decisions.ledger import Ledger, end_of_life, ledger_of
from analysis.decisions.shop_model import Hand, ShopModel
from analysis.decisions.simulate import Progress, Runs, simulate
from analysis.records.scenario import Scenario

SEED = 1


@dataclass(frozen=True)
class Simulator:
    """How weeks are simulated: always the same seed, so that all shops meet the same chances."""

    seed: int = SEED
    options: dict | None = None  # stop, jobs, backend of `simulate`

    def __call__(self, model: ShopModel, weeks: int, runs: int, report=None) -> Runs:
        options = self.options or {}
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
        if self.ledger.entries:
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
    before = run(models[0], weeks, runs) if before is None else first_weeks(before, weeks)

    def ledger(after: Runs) -> Ledger:
        return ledger_of(before.first(after.runs), after, models, scenario, run.seed)

    told = report and (lambda progress: report(progress, ledger(progress.so_far)))
    after = run(models[1], weeks, runs, report=told)
    for end in sorted({end_of_life(machine, weeks) for machine in scenario.equipment}):
        if end < weeks:
            left = tuple(m for m in scenario.equipment if end_of_life(m, weeks) > end)
            without = scaled(changed(model, replace(scenario, equipment=left)), share)
            after = spliced(after, run(without, weeks, runs), end)
    done = min(before.runs, after.runs)
    after = after.first(done)
    return Compared(scenario, models, before.first(done), after, ledger(after))


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
    cut = {name: values[:, :weeks] for name, values in _weekly(runs)}
    return replace(runs, **cut, available_seconds=runs.available_seconds[:weeks])


def spliced(first: Runs, then: Runs, week: int) -> Runs:
    """The weeks of `first` before week `week`, those of `then` from it on.

    What lies on the shelf and under way at that moment is taken as the same: the difference is
    sold once, and small beside the weeks around it.
    """
    done = min(first.runs, then.runs)
    first, then = first.first(done), then.first(done)
    joined = {
        name: np.concatenate([values[:, :week], getattr(then, name)[:, week:]], axis=1)
        for name, values in _weekly(first)
    }
    hours = np.concatenate([first.available_seconds[:week], then.available_seconds[week:]])
    return replace(first, **joined, available_seconds=hours, draws={**then.draws, **first.draws})


def _weekly(runs: Runs) -> Iterator[tuple[str, np.ndarray]]:
    """Name and array of every figure that has a value a run and week."""
    other = ("available_seconds", "unfinished_age_seconds", "pieces_open")
    for field in fields(runs):
        values = getattr(runs, field.name)
        if isinstance(values, np.ndarray) and field.name not in other:
            yield field.name, values
