"""Dispatching: a plan made going forward in time, by a rule; an instant answer, not the last word.

Whoever is free first takes the most pressing work that can begin now, and goes on with it for up
to so many pieces. What is most pressing is the rule's `rank`; search.py tries many.
"""

from __future__ import annotations

from bisect import insort
from dataclasses import dataclass
from typing import TypeAlias

from analysis.flow.plan import Block
from analysis.flow.work import Begun, Operation, Setup, Work

# late, rank, operation, start, whether it is the setup: the least is begun
Choice: TypeAlias = tuple[int, float, int, int, bool]

UNKNOWN = -1  # no moment, as all are 0 or later: to be worked out


@dataclass(frozen=True)
class Rule:
    """rank: of each operation, least first; several numbers are for equal shares of its pieces.
    run: the most pieces in a row before looking up again; wave: pieces after which to look up, too,
    and to fill a press anew with all that is left. patience: ticks to wait for the next
    piece rather than change task. group: pieces put together into what holds them (a press).
    """

    rank: tuple[tuple[float, ...], ...]
    run: tuple[int, ...]
    patience: int = 0
    group: tuple[int, ...] = ()
    wave: tuple[int, ...] = ()

    def ranked(self, index: int, done: int, units: int) -> float:
        """Rank of an operation with `done` of its `units` pieces done; the least is first."""
        ranks = self.rank[index]
        return ranks[done * len(ranks) // units] if len(ranks) > 1 else ranks[0]


class Stuck(Exception):
    """The rule came to a state from which nothing can begin."""


def dispatch(work: Work, rule: Rule, in_turn: bool = False) -> list[Block]:
    """The blocks of a plan by a rule; raises Stuck where the rule leads nowhere.

    in_turn: no operation begins before the one before it in `Work.operations` is through.

    What must be closed in time (`max_wait`) is taken first, yet may still be overrun: see
    `overruns`.
    """
    return _Dispatch(work, rule, in_turn).run()


def overruns(work: Work, blocks: list[Block]) -> bool:
    """Whether a piece waits longer than it may."""
    times = piece_times(work, blocks)
    for index, operation in enumerate(work.operations):
        for before, _ in operation.before:
            most = work.operations[before].max_wait
            if most is None:
                continue
            gaps = zip(times[before], times[index], strict=True)
            if any(start - left > most for (_, left), (start, _) in gaps):
                return True
    return False


def piece_times(work: Work, blocks: list[Block]) -> list[list[tuple[int, int]]]:
    """For each operation, (taken up, leaves) of every piece in turn."""
    times: list[list[tuple[int, int]]] = [[] for _ in work.operations]
    for block in sorted(blocks):
        if not block.is_setup:
            own = work.operations[block.index]
            times[block.index] += [
                (block.start + own.enters(k), block.start + own.leaves(k))
                for k in range(block.units)
            ]
    return [sorted(row) for row in times]


class _Dispatch:
    def __init__(self, work: Work, rule: Rule, in_turn: bool):
        self.work, self.rule, self.in_turn = work, rule, in_turn
        self.operations = work.operations
        self.left: list[list[int]] = [[] for _ in self.operations]  # when each piece leaves
        self.taken = [0] * len(self.operations)
        self.free = [0] * len(work.workers)
        self.last: list[tuple[int, int] | None] = [None] * len(work.workers)
        self.own = [-1] * len(work.workers)
        self.in_a_row = [0] * len(work.workers)
        self.station_free = [0] * len(work.stations)
        self.ready_setup: list[int | None] = [None] * len(work.setups)
        self.lying: list[list[tuple[int, int]]] = [[] for _ in work.racks]
        self.full_racks = crowded_racks(work)
        self.blocks: list[Block] = []
        self.group = list(rule.group) or [o.holds or o.pieces_at_once for o in self.operations]
        self.open = list(range(len(self.operations)))
        self.able = [
            {index for index, operation in enumerate(self.operations) if who in operation.workers}
            for who in range(len(work.workers))
        ]
        self.urgent = any(o.max_wait is not None for o in self.operations)
        self.ready: list[int | None] = [UNKNOWN] * len(self.operations)  # see _pieces_ready
        self.after = [[other for other, _ in row] for row in work.after]
        self.in_spans = bool(work.hours.spans)
        self.longest_go = max((o.duration for o in self.operations), default=0)

        if work.begun:
            self._take_up(work.begun)

    def _take_up(self, begun: Begun) -> None:
        """Begin where the bench stands: pieces done, setups made, what lies drying or pressed."""
        for index, left in enumerate(begun.left):
            operation = self.operations[index]
            self.left[index] = sorted(left)
            self.taken[index] = len(left)
            if operation.rack in self.full_racks:
                self.lying[operation.rack] += [(t, t + operation.wait) for t in left]
            if operation.holds and left:
                held = max(left) + operation.wait
                station = operation.station
                self.station_free[station] = max(self.station_free[station], held)
        self.ready_setup = list(begun.setups)
        self.open = [
            index for index in self.open if self.taken[index] < self.operations[index].units
        ]

    def run(self) -> list[Block]:
        """The blocks of the plan, in ticks, as they were begun; Stuck where nothing can begin."""
        fruitless = 0
        while self.open:
            worker = self.free.index(min(self.free))
            if self._act(worker):
                fruitless = 0
                continue
            fruitless += 1
            later = [t for t in self.free if t > self.free[worker]]
            if fruitless > len(self.free):
                raise Stuck
            self.free[worker] = min(later, default=self.free[worker] + 1)
        return self.blocks

    def _act(self, worker: int) -> bool:
        """Let the worker begin the most pressing work; False where there is none to begin."""
        now, own = self.free[worker], self.own[worker]
        if own >= 0 and self._goes_on(worker, own, now):
            return True
        best = None
        able = self.able[worker]
        for index in self.open[:1] if self.in_turn else self.open:
            if index in able:
                choice = self._choice(worker, index, now)
                if choice is not None and (best is None or choice < best):
                    best = choice
        if best is None:
            return False
        _, _, index, start, is_setup = best
        if is_setup:
            self._set_up(worker, index, start)
        else:
            self.in_a_row[worker] = 0
            self._go(worker, index, start)
        return True

    def _goes_on(self, worker: int, own: int, now: int) -> bool:
        if self.taken[own] >= self.operations[own].units:
            return False
        if self.rule.wave and self.taken[own] == self.rule.wave[own]:
            return False
        if self.in_a_row[worker] >= self.rule.run[own] or (self.urgent and self._pressed(own, now)):
            return False
        ready = self._pieces_ready(own)
        start = None if ready is None else self._earliest(own, now, 0, ready)
        if start is None or start > now + self.rule.patience:
            return False
        self._go(worker, own, start)
        return True

    def _choice(self, worker: int, index: int, now: int) -> Choice | None:
        """(late, rank, index, start, is_setup) of beginning this operation; None if it cannot."""
        operation = self.operations[index]
        ready = self._pieces_ready(index)
        if operation.setup >= 0 and self.ready_setup[operation.setup] is None:
            return self._setup_choice(worker, index, now, ready)
        if ready is None:
            return None
        if self.urgent and operation.max_wait is not None and self._pressed(index, now):
            return None
        lost = self._lost(worker, operation)
        start = self._earliest(index, now, lost, ready)
        if start is None:
            return None
        late = start - now - lost
        if self.urgent and self._closes(index) and late <= self.longest_go:
            late = -1
        return late, self._rank(index), index, start, False

    def _setup_choice(self, worker: int, index: int, now: int, ready: int | None) -> Choice | None:
        operation = self.operations[index]
        setup = self.work.setups[operation.setup]
        lost = self._lost(worker, operation)
        begin = now + lost
        free = max(begin, self.station_free[setup.station] if setup.station >= 0 else 0)
        start = self._in_hours(free, lost, setup.duration)
        if worker not in setup.workers or start is None:
            return None
        wanted = ready is not None and ready <= start + setup.duration + setup.wait
        late = start - begin + (0 if wanted else 1)
        if wanted and setup.wait:
            late -= 1  # what warms up by itself is switched on before other work is gone on with
        return late, self._rank(index), index, start, True

    def _lost(self, worker: int, what: Operation | Setup) -> int:
        """Ticks the worker loses on the way from their last work to this."""
        last = self.last[worker]
        if last is None or last[0] == what.task:
            return 0
        return self.work.change_ticks(*last, what.task, what.station)

    def _rank(self, index: int) -> float:
        return self.rule.ranked(index, self.taken[index], self.operations[index].units)

    def _put_together(self, index: int, pieces: int) -> None:
        """Let the next go of an operation be of so many pieces."""
        self.group[index] = pieces
        self.ready[index] = UNKNOWN

    def _size(self, index: int) -> int:
        """Pieces of the next go."""
        operation, taken = self.operations[index], self.taken[index]
        size, left = self.group[index], operation.units - taken
        if operation.holds > 1 and self.rule.wave and taken:
            size = operation.holds
        return size if size < left else left

    def _pieces_ready(self, index: int) -> int | None:
        """When the next go's pieces are all there; None where that is not yet known. Asked again
        and again while nothing about these pieces has changed."""
        ready = self.ready[index]
        if ready == UNKNOWN:
            ready = self.ready[index] = self._all_ready(index)
        return ready

    def _all_ready(self, index: int) -> int | None:
        operation, taken, size = self.operations[index], self.taken[index], self._size(index)
        ready = 0
        for before, wait in operation.before:
            left = self.left[before]
            if len(left) < taken + size:
                return None
            if size == 1:
                ready = max(ready, left[taken] + wait)
                continue
            ready = max(
                ready,
                *(left[taken + k] + wait - operation.enters(k)
                  for k in range(size)),
                *(left[min(taken + k + operation.pieces_at_once, taken + size) - 1] + wait
                  - operation.enters(k) for k in range(0, size, operation.pieces_at_once)),
            )  # fmt: skip
        return ready

    def _in_hours(self, start: int, lost: int, duration: int) -> int | None:
        """The earliest start from `start` on within working hours, the change before it too."""
        begun = self.work.hours.fit(start - lost, lost + duration)
        return None if begun is None else begun + lost

    def _earliest(self, index: int, now: int, lost: int, ready: int) -> int | None:
        """The earliest start of the next go, whose pieces are there from `ready` on, after a change
        of task that begins at `now`; None where its setup is still to be made."""
        operation = self.operations[index]
        start = now + lost
        if ready > start:
            start = ready
        if operation.setup >= 0:
            done = self.ready_setup[operation.setup]
            if done is None:
                return None
            if done > start:
                start = done
        if operation.station >= 0 and self.station_free[operation.station] > start:
            start = self.station_free[operation.station]
        if operation.rack in self.full_racks:
            start = self._with_room(index, start)
        return self._in_hours(start, lost, operation.duration) if self.in_spans else start

    def _with_room(self, index: int, start: int) -> int:
        """The earliest start from which the pieces of the next go find places in the rack."""
        operation = self.operations[index]
        places = self.work.rack_places[operation.rack]
        size = self._size(index)
        begins = min(self.free)  # nothing begins before: what was dry by then lies no more
        lying = [one for one in self.lying[operation.rack] if one[1] > begins]
        self.lying[operation.rack] = lying
        while True:
            comes = start + operation.duration
            there = [end for begin, end in lying if begin < comes + operation.wait and end > comes]
            if len(there) + size <= places:
                return start
            start = min(there) - operation.duration

    def _go(self, worker: int, index: int, start: int) -> None:
        operation = self.operations[index]
        size = self._size(index)
        end = start
        for begun, pieces in self._goes(operation, start, size):
            end = begun + operation.duration * operation.goes(pieces)
            leave = [begun + operation.leaves(piece) for piece in range(pieces)]
            for leaves in leave:
                insort(self.left[index], leaves)
            if operation.rack in self.full_racks:
                self.lying[operation.rack] += [(t, t + operation.wait) for t in leave]
            self._busy(worker, Block(begun, end, worker, index, pieces), operation)
        if operation.station >= 0:
            self.station_free[operation.station] = end + (operation.wait if operation.holds else 0)
        self.taken[index] += size
        self.ready[index] = UNKNOWN
        for other in self.after[index]:
            self.ready[other] = UNKNOWN
        self.in_a_row[worker] += size
        self.own[worker] = index
        if self.taken[index] == operation.units:
            self.open.remove(index)

    def _goes(self, operation: Operation, start: int, size: int) -> list[tuple[int, int]]:
        """(start, pieces) of what is done in a row; closing time parts it. One go begins where it
        ends before closing time."""
        if size <= operation.pieces_at_once or not self.work.hours.spans:
            return [(start, size)]
        rows, run, run_start = [], 0, start
        for first in range(0, size, operation.pieces_at_once):
            begun = self.work.hours.fit(start, operation.duration)
            if begun is None:
                raise Stuck
            if begun > start and run:
                rows.append((run_start, run))
                run = 0
            run_start = run_start if run else begun
            run += min(operation.pieces_at_once, size - first)
            start = begun + operation.duration
        return [*rows, (run_start, run)]

    def _set_up(self, worker: int, index: int, start: int) -> None:
        number = self.operations[index].setup
        setup = self.work.setups[number]
        end = start + setup.duration
        self._busy(worker, Block(start, end, worker, number, 0), setup)
        if setup.station >= 0:
            self.station_free[setup.station] = end
        self.ready_setup[number] = end + setup.wait
        self.own[worker] = -1

    def _busy(self, worker: int, block: Block, what: Operation | Setup) -> None:
        self.blocks.append(block)
        self.free[worker] = block.end
        self.last[worker] = what.task, what.station

    def _closes(self, index: int) -> bool:
        """Whether the next piece of this operation has something on it that must not wait long."""
        taken = self.taken[index]
        return any(
            self.operations[before].max_wait is not None and len(self.left[before]) > taken
            for before, _ in self.operations[index].before
        )

    def _pressed(self, index: int, now: int) -> bool:
        """Whether one more piece of this operation would let another wait too long."""
        then = now + self.operations[index].duration
        for other in self.open:
            if other == index:
                continue
            own = self.operations[other]
            for before, wait in own.before:
                most = self.operations[before].max_wait
                waiting = len(self.left[before]) - self.taken[other]
                if most is None or waiting <= 0:
                    continue
                oldest = self.left[before][self.taken[other]]
                behind = waiting * own.duration + self.work.change
                if max(then, oldest + wait) + behind > oldest + most:
                    return True
        return False


def crowded_racks(work: Work) -> frozenset[int]:
    """Racks that could be asked to take more pieces than they have places."""
    most = [0] * len(work.racks)
    for operation in work.operations:
        if operation.rack >= 0 and operation.wait:
            most[operation.rack] += operation.units
    return frozenset(r for r, pieces in enumerate(most) if pieces > work.rack_places[r])
