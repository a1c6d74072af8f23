"""A plan: who does what from when to when; what every planner of this room hands back.

| class | what it is |
|---|---|
| Block | pieces of one operation (or its setup) done by one worker without a pause, in ticks |
| Step | the same in seconds, with changes of task written out: what people read |
| Plan | the steps of a session with its figures: elapsed, bound, idle, changes |
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from analysis.flow.work import TICKS, Work


class Block(NamedTuple):
    """`units` pieces of an operation in a row, or its setup (units 0); times in ticks.

    index: of the operation in `Work.operations`, or of the setup in `Work.setups`.
    """

    start: int
    end: int
    worker: int
    index: int  # type: ignore[assignment]  # of the tuple there is nothing to look up
    units: int

    @property
    def is_setup(self) -> bool:
        """Whether it sets up, and does no piece."""
        return self.units == 0


@dataclass(frozen=True)
class Step:
    """One line of a plan; seconds from the start of the session."""

    operation: str
    activity: str  # operation, setup, change
    worker: str
    start_seconds: float
    end_seconds: float
    units: int
    product: str = ""
    variant: str = ""
    batch: int = 0
    setup: int = -1  # which of `Work.setups`; two of one operation may stand at two stations


@dataclass(frozen=True)
class Plan:
    """An order of work and what it costs.

    makespan_seconds      until the last attended work ends
    ready_seconds         until the last wait behind it is over, too
    lower_bound_seconds   no order of work can be shorter than this
    optimal               whether makespan and bound are the same: proven
    as_listed_seconds     one worker, one operation after another as the file lists them
    attended_seconds      hands at work, changes of task in it; idle = workers x makespan - attended
    changes               how often a worker changes from one operation to another
    blocks                runs of one operation by one worker: what has to be remembered
    stopped               whether the search was ended before it was through
    """

    makespan_seconds: float
    ready_seconds: float
    lower_bound_seconds: float
    optimal: bool
    as_listed_seconds: float
    attended_seconds: float
    idle_seconds: float
    changes: int
    steps: tuple[Step, ...]
    workers: tuple[str, ...]
    stopped: bool = False
    as_listed_possible: bool = True

    @property
    def gap(self) -> float:
        """How much shorter a better order could be at most, as a share of the makespan."""
        if not self.makespan_seconds:
            return 0.0
        return (self.makespan_seconds - self.lower_bound_seconds) / self.makespan_seconds

    @property
    def blocks(self) -> int:
        """Stretches of one task: one for each worker at work, and one more for each change."""
        return len(self.workers_at_work) + self.changes

    @property
    def workers_at_work(self) -> tuple[str, ...]:
        """Names of those who have anything to do, in the order in which they begin."""
        return tuple(dict.fromkeys(step.worker for step in self.steps))


def order_of(work: Work, block: Block) -> tuple[int, int]:
    """(task, station) of a block."""
    own = work.setups[block.index] if block.is_setup else work.operations[block.index]
    return own.task, own.station


def by_worker(work: Work, blocks: list[Block]) -> list[list[Block]]:
    """Each worker's blocks in time."""
    rows: list[list[Block]] = [[] for _ in work.workers]
    for block in sorted(blocks):
        rows[block.worker].append(block)
    return rows


def count_changes(work: Work, blocks: list[Block]) -> int:
    """How often a worker goes from one task to another."""
    return sum(
        order_of(work, one)[0] != order_of(work, other)[0]
        for row in by_worker(work, blocks)
        for one, other in zip(row, row[1:], strict=False)
    )


def makespan(blocks: list[Block]) -> int:
    """Ticks until the last work ends; 0 of no blocks."""
    return max((block.end for block in blocks), default=0)


def merged(work: Work, blocks: list[Block]) -> list[Block]:
    """Blocks that follow each other without a pause as one.

    Goes of several pieces stay apart; what lies in a station together is one. Something else done
    there in no time (a press switched on) parts what it comes between.
    """
    out: list[Block] = []
    instants = {(order_of(work, b)[1], b.start) for b in blocks if b.start == b.end}
    for row in by_worker(work, blocks):
        last: Block | None = None
        for block in row:
            station = order_of(work, block)[1]
            parted = station >= 0 and block.start < block.end and (station, block.start) in instants
            if last and not parted and _joins(work, last, block):
                last = Block(last.start, block.end, block.worker, block.index,
                             last.units + block.units)  # fmt: skip
                out[-1] = last
            else:
                out.append(block)
                last = block
    return sorted(out)


def _joins(work: Work, one: Block, other: Block) -> bool:
    if one.is_setup or other.is_setup or one.index != other.index or one.end != other.start:
        return False
    operation = work.operations[one.index]
    if operation.holds:  # what follows at once is put in together: between fillings lies a wait
        # Goes that take no time stand in no turn, so the one that is not full may come first.
        full_goes = one.units % operation.pieces_at_once == 0 or not operation.duration
        return full_goes and one.units + other.units <= operation.holds
    return operation.pieces_at_once == 1


def make_plan(
    work: Work, blocks: list[Block], bound: int, as_listed: int, *,
    stopped: bool = False, as_listed_possible: bool = True,
) -> Plan:  # fmt: skip
    """The plan of blocks, workers of like skills named in the order in which they begin; bound,
    as_listed: in ticks."""
    blocks = merged(work, _renamed(work, blocks))
    steps, change_ticks = _steps(work, blocks)
    span = makespan(blocks)
    attended = sum(block.end - block.start for block in blocks) + change_ticks
    ready = max((b.end + (0 if b.is_setup else _last_wait(work, b)) for b in blocks), default=0)
    return Plan(
        makespan_seconds=span / TICKS,
        ready_seconds=max(ready, span) / TICKS,
        lower_bound_seconds=min(bound, span) / TICKS,
        optimal=bound >= span,
        as_listed_seconds=as_listed / TICKS,
        attended_seconds=attended / TICKS,
        idle_seconds=(len(work.workers) * span - attended) / TICKS,
        changes=count_changes(work, blocks),
        steps=steps,
        workers=work.workers,
        stopped=stopped,
        as_listed_possible=as_listed_possible,
    )


def _last_wait(work: Work, block: Block) -> int:
    return work.operations[block.index].wait


def _renamed(work: Work, blocks: list[Block]) -> list[Block]:
    """Workers who can do the same things change names so that the first of them begins first."""
    alike: dict[tuple, list[int]] = {}
    for worker in range(len(work.workers)):
        can = tuple(i for i, o in enumerate(work.operations) if worker in o.workers)
        alike.setdefault(can, []).append(worker)
    rows = by_worker(work, blocks)
    name: dict[int, int] = {}
    for group in alike.values():
        begun = sorted(group, key=lambda w: (not rows[w], rows[w]))
        name |= dict(zip(begun, group, strict=True))
    return [Block(b.start, b.end, name[b.worker], b.index, b.units) for b in blocks]


def _steps(work: Work, blocks: list[Block]) -> tuple[tuple[Step, ...], int]:
    """The steps in time, and the ticks spent on changes; a change stands right before its work."""
    steps: list[Step] = []
    spent = 0
    for row in by_worker(work, blocks):
        last = None
        for block in row:
            steps.append(_step(work, block))
            if last is not None:
                lost = work.change_ticks(*order_of(work, last), *order_of(work, block))
                if lost:
                    spent += lost
                    steps.append(_change(steps[-1], block.start - lost, block.start))
            last = block
    key = {"change": 0, "setup": 1, "operation": 2}
    steps.sort(key=lambda s: (s.start_seconds, s.end_seconds, key[s.activity], s.worker))
    return tuple(steps), spent


def _step(work: Work, block: Block) -> Step:
    worker = work.workers[block.worker]
    start, end = block.start / TICKS, block.end / TICKS
    if block.is_setup:
        name = work.setups[block.index].name
        return Step(name, "setup", worker, start, end, 0, setup=block.index)
    operation = work.operations[block.index]
    batch = work.batches[operation.batch]
    return Step(operation.name, "operation", worker, start, end, block.units, batch.product,
                batch.variant, operation.batch)  # fmt: skip


def _change(step: Step, start: int, end: int) -> Step:
    return Step(step.operation, "change", step.worker, start / TICKS, end / TICKS, 0,
                step.product, step.variant, step.batch)  # fmt: skip
