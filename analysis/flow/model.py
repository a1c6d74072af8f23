"""The model: the order of work as constraints, for a solver that proves how good its answer is.

Pieces of one batch are alike, so they may go through every operation in the same turn (what the
k-th start of one operation feeds is the k-th start of the next). A batch is cut into parts, one
piece each where the proof is to hold for any order of work, more where that would be too many.

    minimise M                       M >= end of every attended work, M >= lower bound
    start[b, k] - start[a, k] >= lag for a before b: each piece leaves a and waits
    one worker, one station          no two intervals at once; changes of task on the arcs between
    loads and presses                a run of parts that start together, or lie together

Solver: Google OR-tools CP-SAT (L. Perron, F. Didier), one thread, counted in its own deterministic
time, so that the same work gives the same plan.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from analysis.flow.dispatch import crowded_racks
from analysis.flow.plan import Block
from analysis.flow.work import Operation, Setup, Work

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import (
        CpSolver,
        CpSolverSolutionCallback,
        IntervalVar,
        IntVar,
        LiteralT,
    )


@dataclass(frozen=True)
class Answer:
    """What the solver came back with: blocks (None where none was found), its lower bound in
    ticks, and whether it proved the answer best for the parts given."""

    blocks: list[Block] | None
    bound: int
    proven: bool
    impossible: bool = False


@dataclass
class _Part:
    """Some pieces of an operation, or a setup, as the model has them."""

    index: int
    size: int
    duration: int
    task: int
    station: int
    workers: tuple[int, ...]
    start: IntVar
    there: IntVar | Literal[True] = True  # not: it goes along with the part before, in its time
    who: dict[int, IntVar] = field(default_factory=dict)  # by worker; empty where nobody chooses


def solve(
    work: Work,
    parts: list[list[int]],
    horizon: int,
    bound: int,
    effort: float,
    *,
    incumbent: list[Block] | None = None,
    fewest_changes_at: int | None = None,
    stop: Callable[[], bool] | None = None,
    report: Callable[[int, int], None] | None = None,
) -> Answer:
    """Search for the shortest plan in which each batch is cut into `parts` (sizes, by batch).

    horizon: no longer than this. effort: deterministic seconds. fewest_changes_at: do not shorten;
    keep the elapsed ticks given and change task as little as possible.
    """
    model = _Model(work, parts, horizon, bound)
    model.build(with_circuit=fewest_changes_at is not None or _changes_cost(work))
    if incumbent is not None:
        model.hint(incumbent)
    if fewest_changes_at is None:
        model.model.minimize(model.span)
    else:
        model.model.add(model.span <= fewest_changes_at)
        model.model.minimize(sum(model.changes))
    return model.run(effort, stop, report if fewest_changes_at is None else None)


def _changes_cost(work: Work) -> bool:
    return bool(work.change or any(work.walks.values()))


class _Model:
    def __init__(self, work: Work, parts: list[list[int]], horizon: int, bound: int) -> None:
        from ortools.sat.python import cp_model  # half a second to import

        self.cp, self.work, self.sizes, self.horizon = cp_model, work, parts, horizon
        self.model = cp_model.CpModel()
        self.span = self.model.new_int_var(min(bound, horizon), horizon, "span")
        self.changes: list = []
        self.opens: dict[int, list] = {}  # of what is held in a station: does a part open a filling
        self.fillings: dict[int, list] = {}
        self.closed = [
            self.model.new_fixed_size_interval_var(begin, end - begin, "closed")
            for begin, end in work.hours.closed(horizon)
        ]

    def build(self, with_circuit: bool) -> None:
        """Put the rules into the solver's model; with_circuit: who goes from what to what, too."""
        self.rows = [self._operation_parts(i, o) for i, o in enumerate(self.work.operations)]
        self.setups = [
            self._part(i, 0, s.duration, s, f"setup{i}") for i, s in enumerate(self.work.setups)
        ]
        self.all = [part for row in self.rows for part in row] + self.setups
        self._precedence()
        for index, row in enumerate(self.rows):
            self._loads(index, row)
        self._people(with_circuit)
        self._stations()
        self._racks()
        for part in self.all:
            self.model.add(self.span >= part.start + part.duration)

    def _operation_parts(self, index: int, operation: Operation) -> list[_Part]:
        return [
            self._part(index, size, operation.duration * operation.goes(size), operation,
                       f"o{index}p{k}")
            for k, size in enumerate(self.sizes[operation.batch])
        ]  # fmt: skip

    def _part(
        self, index: int, size: int, duration: int, what: Operation | Setup, name: str
    ) -> _Part:
        start = self.model.new_int_var(0, max(0, self.horizon - duration), name)
        return _Part(index, size, duration, what.task, what.station, what.workers, start)

    def _precedence(self) -> None:
        for index, operation in enumerate(self.work.operations):
            row = self.rows[index]
            for one, other in zip(row, row[1:], strict=False):
                self.model.add(one.start <= other.start)
            if operation.setup >= 0:
                setup = self.work.setups[operation.setup]
                begun = self.setups[operation.setup].start
                self.model.add(row[0].start >= begun + setup.duration + setup.wait)
            for before, wait in operation.before:
                self._follow(before, index, wait)

    def _follow(self, before: int, index: int, wait: int) -> None:
        one, other = self.work.operations[before], self.work.operations[index]
        for first, then in zip(self.rows[before], self.rows[index], strict=True):
            pieces = range(first.size)
            lag = max(one.leaves(k) + wait - other.enters(k) for k in pieces)
            self.model.add(then.start >= first.start + lag)
            if one.max_wait is not None:
                most = min(one.leaves(k) + one.max_wait - other.enters(k) for k in pieces)
                self.model.add(then.start <= first.start + most)

    def _loads(self, index: int, row: list[_Part]) -> None:
        """Parts that go in one load start together; those that lie together follow at once."""
        operation = self.work.operations[index]
        goes: list = []  # of pieces one by one: does it begin a go
        if operation.pieces_at_once > 1 and all(part.size == 1 for part in row):
            goes = self._runs(row, operation.pieces_at_once, "there")
            for one, other, opened in zip(row, row[1:], goes[1:], strict=False):
                self.model.add(one.start == other.start).only_enforce_if(opened.negated())
                apart = other.start >= one.start + operation.duration
                self.model.add(apart).only_enforce_if(opened)
        if operation.holds:
            self._hold(index, row, goes)

    def _runs(self, row: list[_Part], most: int, name: str) -> list:
        """For each part whether it opens a new run; runs hold at most so many pieces."""
        opens = [self.model.new_constant(1)]
        opens += [self.model.new_bool_var(f"{name}{k}") for k in range(1, len(row))]
        for first in range(len(row)):
            pieces = row[first].size
            for last in range(first + 1, len(row)):
                pieces += row[last].size
                if pieces > most:
                    self.model.add_bool_or(opens[first + 1 : last + 1])
                    break
        if name == "there":
            for part, opened in zip(row[1:], opens[1:], strict=True):
                part.there = opened
        return opens

    def _hold(self, index: int, row: list[_Part], goes: list) -> None:
        """Each filling of a press holds it from its first piece to the end of its last's wait."""
        operation = self.work.operations[index]
        opens = self.opens[index] = self._runs(row, operation.holds, "fill")
        self._full_goes(row, operation.pieces_at_once, opens, goes)
        latest = self.horizon + operation.wait
        fillings, released = [], None
        for k in reversed(range(len(row))):
            part = row[k]
            own = part.start + part.duration + operation.wait
            until = self.model.new_int_var(0, latest, "until")
            if released is None:
                self.model.add(until == own)
            else:
                together = opens[k + 1].negated()
                self.model.add(until == own).only_enforce_if(opens[k + 1])
                self.model.add(until == released).only_enforce_if(together)
                self._at_once(part, row[k + 1], together, bool(goes))
            length = self.model.new_int_var(0, latest, "held")
            fillings.append(
                self.model.new_optional_interval_var(part.start, length, until, opens[k], "fill")
            )
            released = until
        self.fillings[index] = fillings

    def _full_goes(self, row: list[_Part], once: int, opens: list, goes: list) -> None:
        """A go that is not full ends its filling: what lies together went in load by load."""
        for k in range(1, len(row)):
            if not goes:
                if row[k - 1].size % once:
                    self.model.add_bool_or(opens[k])
                continue
            for before in range(max(k - once + 1, 0), k):
                self.model.add_bool_or(goes[k].negated(), opens[k], goes[before].negated())

    def _at_once(self, part: _Part, behind: _Part, together: LiteralT, loads: bool) -> None:
        """In one filling the next part follows at once, unless it goes along in the same load."""
        condition = [together]
        if loads and behind.there is not True:
            condition.append(behind.there)
        follows = self.model.add(behind.start == part.start + part.duration)
        follows.only_enforce_if(condition)

    def _people(self, with_circuit: bool) -> None:
        count = len(self.work.workers)
        # A step that takes no time still needs somebody between two other steps.
        everybody = all(len(part.workers) == count and part.duration for part in self.all)
        if with_circuit or not everybody:
            self._choose_workers()
        if count > 1:
            intervals = [self._interval(part, part.there) for part in self.all]
            needs = [1] * len(intervals) + [count] * len(self.closed)
            self.model.add_cumulative(intervals + self.closed, needs, count)
        if count == 1 and not with_circuit:
            intervals = [self._interval(p, p.there) for p in self.all]
            self.model.add_no_overlap(intervals + self.closed)
        if with_circuit or not everybody:
            for worker in range(count):
                self._one_worker(worker, with_circuit)

    def _choose_workers(self) -> None:
        for number, part in enumerate(self.all):
            part.who = {w: self.model.new_bool_var(f"w{number}_{w}") for w in part.workers}
            self.model.add_exactly_one(part.who.values())
        for index, row in enumerate(self.rows):
            opens = self.opens.get(index)
            for k, (one, other) in enumerate(zip(row, row[1:], strict=False), 1):
                if other.there is not True:
                    self._same_worker(one, other, other.there.negated())
                if opens:
                    self._same_worker(one, other, opens[k].negated())

    def _same_worker(self, one: _Part, other: _Part, condition: LiteralT) -> None:
        for worker in one.workers:
            same = self.model.add(one.who[worker] == other.who[worker])
            same.only_enforce_if(condition)

    def _interval(self, part: _Part, present: LiteralT) -> IntervalVar:
        if present is True:
            return self.model.new_fixed_size_interval_var(part.start, part.duration, "i")
        return self.model.new_optional_fixed_size_interval_var(
            part.start, part.duration, present, "i"
        )

    def _both(self, one: IntVar, other: IntVar | Literal[True]) -> IntVar:
        """A literal that is true where both are."""
        if other is True:
            return one
        both = self.model.new_bool_var("both")
        self.model.add_bool_and([one, other]).only_enforce_if(both)
        self.model.add_bool_or([one.negated(), other.negated(), both])
        return both

    def _one_worker(self, worker: int, with_circuit: bool) -> None:
        own = [part for part in self.all if worker in part.workers]
        here = [self._both(part.who[worker], part.there) for part in own]
        intervals = [self._interval(p, h) for p, h in zip(own, here, strict=True)]
        self.model.add_no_overlap(intervals + self.closed)
        if with_circuit:
            self._circuit(own, here)

    def _circuit(self, own: list[_Part], here: list) -> None:
        """The turn of one worker's work; between two tasks the change costs its time."""
        nobody = self.model.new_bool_var("idle")
        arcs = [(0, 0, nobody)]
        for i, part in enumerate(own, 1):
            first, last = self.model.new_bool_var("first"), self.model.new_bool_var("last")
            arcs += [(0, i, first), (i, 0, last), (i, i, here[i - 1].negated())]
            self.model.add_implication(nobody, here[i - 1].negated())
            for j, other in enumerate(own, 1):
                if i == j or self._backwards(part, other):
                    continue
                arc = self.model.new_bool_var("then")
                arcs.append((i, j, arc))
                lost = self.work.change_ticks(part.task, part.station, other.task, other.station)
                after = other.start >= part.start + part.duration + lost
                self.model.add(after).only_enforce_if(arc)
                if part.task != other.task:
                    self.changes.append(arc)
        self.model.add_circuit(arcs)

    def _backwards(self, part: _Part, other: _Part) -> bool:
        """Whether the other is an earlier part of the same operation."""
        if part.size == 0 or other.size == 0 or part.index != other.index:
            return False
        row = self.rows[part.index]
        return row.index(other) < row.index(part)

    def _stations(self) -> None:
        for station in range(len(self.work.stations)):
            intervals = []
            for index, row in enumerate(self.rows):
                if self.work.operations[index].station != station:
                    continue
                held = self.fillings.get(index)
                intervals += held or [self._interval(part, part.there) for part in row]
            intervals += [self._interval(p, True) for p in self.setups if p.station == station]
            self.model.add_no_overlap(intervals)

    def _racks(self) -> None:
        for rack in crowded_racks(self.work):
            intervals, pieces = [], []
            for index, row in enumerate(self.rows):
                operation = self.work.operations[index]
                if operation.rack != rack or not operation.wait:
                    continue
                for part in row:
                    length = part.duration - operation.duration + operation.wait
                    begun = part.start + operation.duration
                    intervals.append(self.model.new_fixed_size_interval_var(begun, length, "r"))
                    pieces.append(part.size)
            self.model.add_cumulative(intervals, pieces, self.work.rack_places[rack])

    def hint(self, blocks: list[Block]) -> None:
        """Tell the solver a plan to begin from."""
        taken: list[list[tuple[int, int]]] = [[] for _ in self.rows]
        for block in sorted(blocks):
            if block.is_setup:
                part = self.setups[block.index]
                self.model.add_hint(part.start, block.start)
                self._hint_worker(part, block.worker)
                continue
            operation = self.work.operations[block.index]
            taken[block.index] += [
                (block.start + operation.enters(k), block.worker) for k in range(block.units)
            ]
        for row, starts in zip(self.rows, taken, strict=True):
            starts.sort()
            first = 0
            for part in row:
                self.model.add_hint(part.start, starts[first][0])
                self._hint_worker(part, starts[first][1])
                first += part.size

    def _hint_worker(self, part: _Part, worker: int) -> None:
        for candidate, literal in part.who.items():
            self.model.add_hint(literal, candidate == worker)

    def run(
        self,
        effort: float,
        stop: Callable[[], bool] | None,
        report: Callable[[int, int], None] | None,
    ) -> Answer:
        """Search for `effort` (the solver's own count of seconds); the answer is in ticks.

        stop: asked now and then; report: told (best elapsed, bound) in ticks.
        """
        solver = self.cp.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.interleave_search = True
        solver.parameters.random_seed = 0
        solver.parameters.max_deterministic_time = effort
        watcher = None if report is None else _watcher(report)
        with _Stopper(solver, stop):
            status = solver.solve(self.model, watcher)
        proven = status == self.cp.OPTIMAL
        if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            nothing = status == self.cp.INFEASIBLE
            return Answer(None, 0, False, impossible=nothing)
        return Answer(self._blocks(solver), round(solver.best_objective_bound), proven)

    def _blocks(self, solver: CpSolver) -> list[Block]:
        rows: list[list] = []  # part, pieces, start, worker
        for part in self.all:
            if part.there is not True and not solver.value(part.there):
                rows[-1][1] += part.size  # goes along with the part before
                continue
            start = solver.value(part.start)
            who = next((w for w, here in part.who.items() if solver.value(here)), None)
            rows.append([part, part.size, start, who])
        free = [0] * len(self.work.workers)
        blocks = []
        for part, size, start, who in sorted(rows, key=lambda r: (r[2], r[0].duration, r[1] > 0)):
            if who is None:  # all can do all: whoever has been free longest, the first of them
                who = min(
                    (w for w in part.workers if free[w] <= start), key=lambda w: (-free[w], w)
                )
            duration = part.duration
            free[who] = max(free[who], start + duration)
            blocks.append(Block(start, start + duration, who, part.index, size))
        return sorted(blocks)


def _watcher(report: Callable[[int, int], None]) -> CpSolverSolutionCallback:
    """Passes on the best elapsed time and the bound as they improve."""
    from ortools.sat.python import cp_model

    class Told(cp_model.CpSolverSolutionCallback):
        def on_solution_callback(self) -> None:
            report(round(self.objective_value), round(self.best_objective_bound))

    return Told()


class _Stopper:
    """Ends the solver's search when `stop` says so."""

    def __init__(self, solver: CpSolver, stop: Callable[[], bool] | None) -> None:
        self.solver, self.stop, self.over = solver, stop, threading.Event()

    def __enter__(self) -> None:
        if self.stop is not None:
            threading.Thread(target=self._watch, args=(self.stop,), daemon=True).start()

    def _watch(self, stop: Callable[[], bool]) -> None:
        while not self.over.wait(0.1):
            if stop():
                self.solver.stop_search()

    def __exit__(self, *_: object) -> None:
        self.over.set()
