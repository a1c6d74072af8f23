"""By hand: a plan's runs moved earlier or later, and the plan timed anew as it then stands.

A run is what one worker does in a row on one operation, its setup included: what a maker moves on
the card. Nothing is searched here: everybody does their runs in the order given, each as early as
pieces, setups, stations, racks and working hours allow.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from analysis.flow.dispatch import Rule, Stuck, _Dispatch, overruns
from analysis.flow.plan import Block, Plan, Step, make_plan
from analysis.flow.work import TICKS, Work

TO_AND_FRO = 4  # runs of two operations in turn; fewer are told one by one
PAUSE_SECONDS = 600  # between two steps: longer, and the shop is closed or the maker waits
MOST_POLISHED = 60  # runs: with more of them, exchanges take longer than they are worth


@dataclass(frozen=True)
class Run:
    """Steps of one worker on one operation with no other work between; seconds from the start.

    steps: setups and operations in turn, changes of task left out; a break or the night may part
    them.
    """

    worker: str
    operation: str
    steps: tuple[Step, ...]

    @property
    def units(self) -> int:
        """Pieces, over all its steps."""
        return sum(step.units for step in self.steps)

    @property
    def start_seconds(self) -> float:
        """Elapsed seconds from the start of the session to its first step."""
        return self.steps[0].start_seconds

    @property
    def end_seconds(self) -> float:
        """Elapsed seconds to the end of its last step."""
        return self.steps[-1].end_seconds

    @property
    def attended_seconds(self) -> float:
        """Seconds of hands' work in it."""
        return sum(step.end_seconds - step.start_seconds for step in self.steps)


def runs(plan: Plan) -> tuple[Run, ...]:
    """The plan as runs, in the order in which they begin: as many as `plan.blocks` counts."""
    found = []
    for worker in plan.workers:
        own: list[Step] = []
        for step in plan.steps:
            if step.worker != worker or step.activity == "change":
                continue
            if own and own[-1].operation != step.operation:
                found.append(Run(worker, own[0].operation, tuple(own)))
                own = []
            own.append(step)
        if own:
            found.append(Run(worker, own[0].operation, tuple(own)))
    return tuple(sorted(found, key=lambda run: (run.start_seconds, run.worker)))


def by_turns(listed: Sequence[Run]) -> list[tuple[Run, ...]]:
    """The runs, those together between which one person goes to and fro (trim, inspect, trim,
    inspect …): at the bench that is one thing to do, however many runs it is."""
    told, at = [], 0
    while at < len(listed):
        end = at + 1
        while end < len(listed) and _in_turn(listed, at, end):
            end += 1
        if end - at < TO_AND_FRO:
            end = at + 1
        told.append(tuple(listed[at:end]))
        at = end
    return told


def _in_turn(listed: Sequence[Run], at: int, end: int) -> bool:
    first, second, block = listed[at], listed[at + 1], listed[end]
    alike = listed[at + (end - at) % 2]
    return (
        first.operation != second.operation
        and (block.worker, block.operation) == (first.worker, alike.operation)
        and block.steps[-1].batch == first.steps[-1].batch
        and min(first.units, block.units) > 0
    )


def things_to_do(plan: Plan) -> list[tuple[Step, Step]]:
    """(what to do, its last step), as a calendar and a card list it: each step, and going to and
    fro as one up to the next pause (lunch, night). Changes of task are left out."""
    told: list[tuple[Step, Step]] = []
    for group in by_turns(runs(plan)):
        steps = [step for run in group for step in run.steps]
        if len(group) == 1:
            told += [(step, step) for step in steps]
            continue
        names = f"{group[0].operation} and {group[1].operation}, by turns"
        for part in _between_pauses(steps):
            pieces = sum(step.units for step in part if step.operation == group[0].operation)
            units = pieces or part[0].units
            whole = replace(part[0], operation=names, end_seconds=part[-1].end_seconds, units=units)
            told.append((whole, part[-1]))
    return sorted(told, key=lambda one: (one[0].start_seconds, one[0].worker))


def _between_pauses(steps: Sequence[Step]) -> list[list[Step]]:
    parts = [[steps[0]]]
    for before, step in zip(steps, steps[1:], strict=False):
        if step.start_seconds - before.end_seconds > PAUSE_SECONDS:
            parts.append([])
        parts[-1].append(step)
    return parts


def moved(listed: Sequence[Run], place: int, by: int) -> tuple[Run, ...] | None:
    """The runs with the one at `place` before (-1) or behind (1) its worker's neighbouring run;
    None where there is no neighbour."""
    own = [i for i, run in enumerate(listed) if run.worker == listed[place].worker]
    position = own.index(place) + by
    if not 0 <= position < len(own):
        return None
    changed = list(listed)
    other = own[position]
    changed[place], changed[other] = changed[other], changed[place]
    return tuple(changed)


def timed(work: Work, listed: Sequence[Run], like: Plan, one_filling: bool = False) -> Plan | None:
    """The plan in which everybody does their runs in this order; None where it cannot be done
    (a piece would be taken up before what it must follow, or wait longer than it may).

    like: the plan the runs were taken from, whose bound and yardstick hold here, too.
    one_filling: what a run puts into a press in several fillings goes in together where it fits.
    """
    try:
        blocks = _Retimed(work).by_rows(_rows(work, listed, one_filling))
    except Stuck:
        return None
    if overruns(work, blocks):
        return None
    bound = round(like.lower_bound_seconds * TICKS)
    as_listed = round(like.as_listed_seconds * TICKS)
    return make_plan(work, blocks, bound, as_listed, as_listed_possible=like.as_listed_possible)


def polished(
    work: Work, plan: Plan, *, stop: Callable[[], bool] = lambda: False, rounds: int = 3
) -> Plan:
    """The plan with neighbouring runs exchanged, and fillings of a press joined, wherever that
    ends it sooner; no more blocks."""
    best = plan
    for one_filling in (False, True):
        again = timed(work, runs(best), plan, one_filling)
        if again and again.makespan_seconds < best.makespan_seconds:
            best = again
    for _ in range(rounds):
        before = best.makespan_seconds
        best = _one_round(work, best, stop)
        if best.makespan_seconds >= before:
            break
    return best


def _one_round(work: Work, best: Plan, stop: Callable[[], bool]) -> Plan:
    listed = runs(best)
    if len(listed) > MOST_POLISHED:
        return best
    for place in range(len(listed)):
        other = moved(listed, place, 1)
        plan = None if other is None or stop() else timed(work, other, best)
        if (
            other
            and plan
            and plan.makespan_seconds < best.makespan_seconds
            and plan.blocks <= best.blocks
        ):
            best, listed = plan, other
    return best


def _rows(work: Work, listed: Sequence[Run], one_filling: bool) -> list[list[Block]]:
    """Each worker's blocks in turn, without times."""
    operations = {(o.batch, o.name): i for i, o in enumerate(work.operations)}
    rows: list[list[Block]] = [[] for _ in work.workers]
    for run in listed:
        worker = work.workers.index(run.worker)
        before: Step | None = None
        for step in run.steps:
            if step.activity == "setup":
                rows[worker].append(Block(0, 0, worker, step.setup, 0))
                continue
            index, units = operations[step.batch, step.operation], step.units
            together = before is not None and _same_filling(work, index, before, step, one_filling)
            if together and rows[worker][-1].units + units <= work.operations[index].holds:
                units += rows[worker].pop().units
            rows[worker].append(Block(0, 0, worker, index, units))
            before = step
    return rows


def _same_filling(work: Work, index: int, before: Step, step: Step, one_filling: bool) -> bool:
    """Whether a break only parted pieces that lie in a press together, or (one_filling) whether
    they are to lie in it together."""
    own = work.operations[index]
    again = before.end_seconds + own.wait / TICKS
    together = one_filling or step.start_seconds < again
    return bool(own.holds) and before.batch == step.batch and together


class _Retimed(_Dispatch):
    """Dispatching in which everybody's next task is given, and only its time is not."""

    def __init__(self, work: Work):
        super().__init__(work, Rule(((0.0,),) * len(work.operations), ()), in_turn=False)

    def by_rows(self, rows: list[list[Block]]) -> list[Block]:
        """The blocks with their times; raises Stuck where the next task of nobody can begin."""
        rows = [list(row) for row in rows]
        while any(rows):
            begins = [
                (start, worker)
                for worker, row in enumerate(rows)
                if row and (start := self._begins(worker, row[0])) is not None
            ]
            if not begins:
                raise Stuck
            start, worker = min(begins)
            self._take(worker, rows[worker], start)
        return self.blocks

    def _begins(self, worker: int, block: Block) -> int | None:
        """The earliest start of the next go of a block; None while its pieces are not there."""
        own = (self.work.setups if block.is_setup else self.operations)[block.index]
        now, lost = self.free[worker], self._lost(worker, own)
        if block.is_setup:
            free = self.station_free[own.station] if own.station >= 0 else 0
            return self._in_hours(max(now + lost, free), lost, own.duration)
        self._put_together(block.index, self._together(block))
        ready = self._pieces_ready(block.index)
        return None if ready is None else self._earliest(block.index, now, lost, ready)

    def _take(self, worker: int, row: list[Block], start: int) -> None:
        block = row[0]
        if block.is_setup:
            number = block.index
            using = next(i for i, o in enumerate(self.operations) if o.setup == number)
            self._set_up(worker, using, start)
            row.pop(0)
            return
        self._put_together(block.index, self._together(block))
        pieces = self._size(block.index)
        self._go(worker, block.index, start)
        row[0] = Block(0, 0, worker, block.index, block.units - pieces)
        if row[0].units <= 0:
            row.pop(0)

    def _together(self, block: Block) -> int:
        """Pieces of the block's next go; what lies in a station together is one."""
        own = self.operations[block.index]
        return block.units if own.holds else min(own.pieces_at_once, block.units)
