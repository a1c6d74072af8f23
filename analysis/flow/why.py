"""Why this order: which changes against the listed order save most, what waits, what fills gaps.

A change is "this operation before that one", where the listed order has it the other way round.
What it saves is found by planning again with the listed order kept for that pair, and nothing else
tied: elapsed time without the change less elapsed time with it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from analysis.flow.order import order
from analysis.flow.plan import Plan, Step
from analysis.flow.work import TICKS, Operation, Work, ancestors
from analysis.problems import BadInput
from analysis.records.figures import number

MOST_CANDIDATES = 8


@dataclass(frozen=True)
class Change:
    """Do `operation` before (or along with) `before`, listed the other way: saves so much.

    saves_seconds: against the best plan found without it; a longer search might find a better one,
    so it is no more than this. saves_at_least_seconds: by the bound of the plans without it.
    """

    operation: str
    before: str
    saves_seconds: float
    saves_at_least_seconds: float
    batch: int = 0

    def kept_in(self, plan: Plan) -> str:
        """How far a plan has it so, which need not be the one it was found in: "wholly" (all pieces
        before the first), "begun" (some before the first), "interleaved" (some before the last);
        "" not at all."""
        own = _pieces_of(plan, self.batch, self.operation)
        other = _pieces_of(plan, self.batch, self.before)
        if not own or not other:
            return ""
        begun, through = own[0].start_seconds, own[-1].start_seconds
        if through < other[0].start_seconds:
            return "wholly"
        if begun < other[0].start_seconds:
            return "begun"
        return "interleaved" if begun < other[-1].start_seconds else ""


@dataclass(frozen=True)
class Gap:
    """Seconds in which a worker has nothing to do, and what is then being waited for."""

    worker: str
    start_seconds: float
    end_seconds: float
    waiting_for: str
    advice: str


def reasons(
    work: Work, plan: Plan, effort_seconds: float = 1.0, *,
    stop: Callable[[], bool] | None = None, most: int = 3,
) -> tuple[Change, ...]:  # fmt: skip
    """The `most` changes that save most, best first. Each is judged by the plan made without it,
    searched with `effort_seconds` of effort. Left out are those without which no order keeps every
    `max_wait_seconds` (a pair tied to an operation with such a limit is held to it, too), and those
    whose turn `stop` did not let come."""
    changes = []
    for earlier, later in _candidates(work, plan)[:MOST_CANDIDATES]:
        if stop and stop():
            break
        try:
            tied = order(_tied(work, later, earlier), effort_seconds, stop=stop)
        except BadInput:  # no order of work without this change
            continue
        saves = tied.makespan_seconds - plan.makespan_seconds
        least = max(0.0, tied.lower_bound_seconds - plan.makespan_seconds)
        if saves > 0:
            names = work.operations[earlier].name, work.operations[later].name
            changes.append(Change(*names, saves, least, work.operations[earlier].batch))
    changes.sort(key=lambda change: -change.saves_seconds)
    return tuple(changes[:most])


def _candidates(work: Work, plan: Plan) -> list[tuple[int, int]]:
    """Pairs (earlier, later) that the plan begins the other way round than listed, longest waits
    first; ties by precedence left out."""
    begun: dict[tuple[int, str], float] = {}
    for step in plan.steps:
        if step.activity == "operation":
            begun.setdefault((step.batch, step.operation), step.start_seconds)
    start = [begun[o.batch, o.name] for o in work.operations]
    reach = ancestors(work)
    pairs = [
        (earlier, later)
        for later, own in enumerate(work.operations)
        for earlier in range(later + 1, len(work.operations))
        if own.batch == work.operations[earlier].batch
        and start[earlier] < start[later]
        and later not in reach[earlier]
    ]
    listed_after: dict[int, int] = {}
    for earlier, later in pairs:  # of one operation moved ahead of several, the first it passes
        listed_after[earlier] = min(later, listed_after.get(earlier, later))
    weight = {e: _follows_wait(work, e) for e in listed_after}
    return sorted(listed_after.items(), key=lambda pair: (-weight[pair[0]], pair))


def _pieces_of(plan: Plan, batch: int, operation: str) -> list[Step]:
    """The steps with pieces of an operation, in the order in which they begin."""
    own = (batch, operation, "operation")
    steps = [step for step in plan.steps if (step.batch, step.operation, step.activity) == own]
    return sorted(steps, key=lambda step: step.start_seconds)


def _follows_wait(work: Work, index: int) -> int:
    operation = work.operations[index]
    return operation.wait + operation.load


def _tied(work: Work, first: int, then: int) -> Work:
    """The work with the listed order kept for a pair: `then` may begin on no piece before `first`
    is through with all. That is what "as listed" means: one operation after another."""
    last_piece = work.operations[first]
    operations = list(work.operations)
    own = operations[then]
    # All pieces of `first`: the k-th piece of `then` waits for it and for the whole rest behind it.
    wait = (last_piece.units - 1) * last_piece.duration // last_piece.pieces_at_once
    operations[then] = replace(own, before=(*own.before, (first, wait)))
    return replace(work, operations=tuple(operations))


def critical_wait(found: Sequence[Gap]) -> tuple[str, float]:
    """(what is waited for longest by those with nothing to do, seconds); ("", 0.0) of no waits."""
    waited: dict[str, float] = {}
    for gap in found:
        if gap.waiting_for:
            seconds = gap.end_seconds - gap.start_seconds
            waited[gap.waiting_for] = waited.get(gap.waiting_for, 0.0) + seconds
    if not waited:
        return "", 0.0
    name = max(waited, key=lambda key: (waited[key], key))
    return name, waited[name]


def gaps(work: Work, plan: Plan, least_seconds: float = 60.0) -> tuple[Gap, ...]:
    """Every stretch of at least a minute, in working hours and before the end, in which a worker
    has nothing to do."""
    found = []
    for worker in plan.workers:
        free = 0.0
        for step in [s for s in plan.steps if s.worker == worker]:
            if step.start_seconds - free >= least_seconds:
                waiting = _waited_for(work, plan, step)
                found += _open_gaps(work, worker, free, step.start_seconds, waiting, least_seconds)
            free = max(free, step.end_seconds)
        found += [
            replace(gap, advice="free to go")
            for gap in _open_gaps(work, worker, free, plan.makespan_seconds, "", least_seconds)
        ]
    return tuple(sorted(found, key=lambda gap: (gap.start_seconds, gap.worker)))


def _open_gaps(
    work: Work, worker: str, start: float, end: float, waiting: str, least: float
) -> list[Gap]:
    """The parts of a stretch in which the shop is open."""
    spans = [(a / TICKS, b / TICKS) for a, b in work.hours.spans] or [(start, end)]
    parts = [(max(a, start), min(b, end)) for a, b in spans if a < end]
    return [Gap(worker, a, b, waiting, _advice(b - a, waiting)) for a, b in parts if b - a >= least]


def _waited_for(work: Work, plan: Plan, step: Step) -> str:
    """The operation whose wait ends last before a step's first piece; "" where none is awaited."""
    own = next(
        (s for s in plan.steps if s.activity == "operation" and s.worker == step.worker
         and s.start_seconds >= step.start_seconds), None,
    )  # fmt: skip
    places = {(o.batch, o.name): index for index, o in enumerate(work.operations)}
    if own is None or (own.batch, own.operation) not in places:
        return ""
    operation = work.operations[places[own.batch, own.operation]]
    piece = sum(
        s.units for s in plan.steps
        if (s.batch, s.operation, s.activity) == (own.batch, own.operation, "operation")
        and (s.start_seconds, s.worker) < (own.start_seconds, own.worker)
    )  # fmt: skip
    ends = [
        (_leaves(plan, work.operations[before], piece) + wait / TICKS, work.operations[before].name)
        for before, wait in operation.before
        if wait
    ]
    return max(ends)[1] if ends else ""


def _leaves(plan: Plan, operation: Operation, piece: int) -> float:
    """When the piece (from 0) leaves an operation, in seconds."""
    times = sorted(
        s.start_seconds + operation.leaves(k) / TICKS
        for s in plan.steps
        if (s.batch, s.operation, s.activity) == (operation.batch, operation.name, "operation")
        for k in range(s.units)
    )
    return times[piece]


def _advice(seconds: float, waiting: str) -> str:
    """What to do in a gap (common practice, no source)."""
    behind = f" while {waiting} dries or sets" if waiting else ""
    if seconds < 600:
        return f"stretch, drink, clear the bench{behind}"
    if seconds < 3600:
        return f"set out the next batch, restock, clean tools{behind}"
    return f"begin another batch, or go{behind}: nothing here needs you for {_minutes(seconds)}"


def _minutes(seconds: float) -> str:
    if seconds >= 5400:
        return f"{number(seconds / 3600, 1)} h"
    return f"{seconds / 60:.0f} min" if seconds >= 90 else f"{seconds:.0f} s"
