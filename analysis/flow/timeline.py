"""The timeline: a plan as stretches of work, setting up and waiting, ready to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from analysis.flow.by_hand import runs
from analysis.flow.plan import Plan, Step
from analysis.flow.work import TICKS, Work

COLUMNS = (
    "batch", "product", "variant", "operation", "activity", "worker", "start_seconds",
    "end_seconds", "units",
)  # fmt: skip
UNSEEN_SHARE = 1 / 150  # of the elapsed time: two pixels on a phone


def timeline(work: Work, plan: Plan) -> pd.DataFrame:
    """COLUMNS, one row a stretch, in the order in which the operations begin.

    activity: operation, setup, wait (drying, pressing, warming up; worker ""). A setup is drawn
    with the batch it is first for. Pauses too short to be seen are left out. A wait is drawn where
    nobody works on that operation any more; the first pieces of a block wait before.
    """
    unseen = plan.makespan_seconds * UNSEEN_SHARE
    shown = [
        step for run in runs(plan) for step in _joined(_with_batch(work, plan, run.steps), unseen)
    ]
    rows = [_row(s, s.activity, s.worker, s.start_seconds, s.end_seconds) for s in shown]
    rows += [row for step in shown for row in _waits(work, shown, step)]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    first = frame.groupby(["batch", "operation"])["start_seconds"].transform("min")
    order = frame.assign(first=first).sort_values(["first", "start_seconds"], kind="stable")
    return order.drop(columns="first").reset_index(drop=True)


def _with_batch(work: Work, plan: Plan, steps: Sequence[Step]) -> list[Step]:
    """Setups as those of the batch whose pieces are first worked on after them."""
    told = []
    for step in steps:
        if step.activity == "setup":
            own = {(o.batch, o.name) for o in work.operations if o.setup == step.setup}
            after = [s for s in plan.steps if s.units and (s.batch, s.operation) in own]
            first = min(after, key=lambda s: s.start_seconds)
            step = replace(step, product=first.product, variant=first.variant, batch=first.batch)
        told.append(step)
    return told


def _joined(steps: Sequence[Step], unseen_seconds: float) -> list[Step]:
    """Steps of one kind with pauses no longer than that between them as one."""
    joined: list[Step] = []
    for step in steps:
        last = joined[-1] if joined else None
        if (
            last is not None
            and (last.activity, last.batch) == (step.activity, step.batch)
            and step.start_seconds - last.end_seconds <= unseen_seconds
        ):
            joined[-1] = replace(last, end_seconds=step.end_seconds, units=last.units + step.units)
        else:
            joined.append(step)
    return joined


def _row(step: Step, activity: str, worker: str, start: float, end: float) -> tuple:
    return (step.batch, step.product, step.variant, step.operation, activity, worker, start, end,
            step.units)  # fmt: skip


def _waits(work: Work, steps: Sequence[Step], step: Step) -> list[tuple]:
    """What waits after a step, up to the next step of the same operation, which has its own."""
    end = step.end_seconds + wait_after(work, step)
    later = [
        s.start_seconds for s in steps
        if (s.batch, s.operation) == (step.batch, step.operation)
        and s.end_seconds > step.end_seconds
    ]  # fmt: skip
    end = min([end, *later])
    return [_row(step, "wait", "", step.end_seconds, end)] if end > step.end_seconds else []


def wait_after(work: Work, step: Step) -> float:
    """Seconds that must pass unattended after a step's last piece, or after a setup."""
    if step.activity == "setup":
        return work.setups[step.setup].wait / TICKS
    own = [o for o in work.operations if (o.batch, o.name) == (step.batch, step.operation)]
    return max((o.wait for o in own), default=0) / TICKS
