"""Work: what one session has to make, as the planners see it, in whole centiseconds.

`work_of` turns a checked routing and the batches to be made into a `Work`. Times inside the room
are integers of 0.01 s, so that a plan adds up exactly; results leave it as seconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from analysis.flow.hours import Hours
from analysis.problems import BadInput, Fault
from analysis.records.routing import precedence, route
from analysis.study.frames import Row
from analysis.study.route import topological

TICKS = 100  # per second
MOST_UNITS = 10_000
MOST_WORKERS = 100


@dataclass(frozen=True)
class Batch:
    """So many pieces of one product (and variant) made together."""

    product: str
    units: int
    variant: str = ""


@dataclass(frozen=True)
class Operation:
    """One operation of one batch; times in ticks.

    duration: one go of `pieces_at_once` pieces. before: (operation index, wait) of what must be
    complete on a piece. holds: pieces the station keeps while they wait, 0 where it keeps none.
    wait: the longest wait after a piece (what a rack or a holding station is taken for).
    """

    name: str
    batch: int
    row: int
    units: int
    duration: int
    pieces_at_once: int
    task: int  # operations of one name are one task: going on with it is no change
    setup: int  # index in Work.setups, -1 none
    station: int  # index in Work.stations, -1 none
    workers: tuple[int, ...]
    before: tuple[tuple[int, int], ...]
    wait: int = 0
    holds: int = 0
    rack: int = -1
    max_wait: int | None = None

    def goes(self, pieces: int) -> int:
        """How many goes so many pieces take."""
        return -(-pieces // self.pieces_at_once)

    def leaves(self, piece: int) -> int:
        """When the piece (from 0) of a block leaves, after the block's start."""
        return self.duration * (piece // self.pieces_at_once + 1)

    def enters(self, piece: int) -> int:
        """When the piece (from 0) of a block is taken up, after the block's start."""
        return self.duration * (piece // self.pieces_at_once)

    @property
    def load(self) -> int:
        """Attended ticks of the whole batch."""
        return self.duration * self.goes(self.units)


@dataclass(frozen=True)
class Setup:
    """Done once, before the first piece: attended `duration`, then `wait` that needs nobody."""

    name: str
    task: int
    station: int
    duration: int
    wait: int
    workers: tuple[int, ...]


@dataclass(frozen=True)
class Begun:
    """What is done already at moment 0 of a replanned session.

    left: for each operation, when the pieces done left it (ticks, 0 or before). setups: for each
    setup, when it is (was) ready, None where it is not done.
    """

    left: tuple[tuple[int, ...], ...]
    setups: tuple[int | None, ...]


@dataclass(frozen=True)
class Work:
    """All operations of a session in an order that keeps every `after` (that of the file, where
    free), who is there, what holds one worker at a time, and what a change of task costs."""

    batches: tuple[Batch, ...]
    operations: tuple[Operation, ...]
    setups: tuple[Setup, ...]
    workers: tuple[str, ...]
    stations: tuple[str, ...]
    racks: tuple[str, ...]
    rack_places: tuple[int, ...]
    tasks: tuple[str, ...]
    change: int = 0
    walks: Mapping[tuple[int, int], int] = field(default_factory=dict)
    hours: Hours = Hours()
    begun: Begun | None = None
    file: str = "routing"

    def change_ticks(self, task: int, station: int, next_task: int, next_station: int) -> int:
        """What a worker loses between two pieces of work: nothing on the same task."""
        if task == next_task:
            return 0
        return self.change + self.walks.get((station, next_station), 0)

    @property
    def after(self) -> tuple[tuple[tuple[int, int], ...], ...]:
        """For each operation, (operation index, wait) of what follows it."""
        following: list[list[tuple[int, int]]] = [[] for _ in self.operations]
        for index, operation in enumerate(self.operations):
            for before, wait in operation.before:
                following[before].append((index, wait))
        return tuple(map(tuple, following))

    @property
    def attended(self) -> int:
        """Ticks of hands' work: operations and setups, changes left aside."""
        return sum(o.load for o in self.operations) + sum(s.duration for s in self.setups)


def ticks(seconds: float) -> int:
    """Seconds as whole ticks, hundredths of a second."""
    return round(float(seconds) * TICKS)


def work_of(
    routing: pd.DataFrame,
    batches: Sequence[Batch],
    workers: int | Sequence[str] = 1,
    change_seconds: float = 0.0,
    *,
    seconds: Mapping[tuple[str, str], float] | None = None,
    walk_seconds: Mapping[tuple[str, str], float] | None = None,
    file: str = "routing",
) -> Work:
    """The work of making `batches` by the routing.

    workers: how many (named from the skill column in order of appearance, then `worker 2`, …) or
    their names. seconds: present seconds per piece by (product, operation), in place of the
    planned. walk_seconds: between two stations (both ways), on top of a change of task. Batches
    of one session share a setup where operation and station are the same. Raises BadInput naming
    row and column where no order of work can exist.
    """
    _check_counts(batches, workers, change_seconds, file)
    routes = [_checked_route(routing, batch, file) for batch in batches]
    names = _worker_names(routes, workers)
    builder = _Builder(names, seconds or {}, file)
    for index, (batch, rows) in enumerate(zip(batches, routes, strict=True)):
        builder.add(index, batch, rows, precedence(routing, batch.product, batch.variant))
    builder.stop_if_faulty()
    return builder.work(tuple(batches), ticks(change_seconds), walk_seconds or {})


def line_of(
    routing: pd.DataFrame, batch: Batch, workers: int | None, file: str = "routing"
) -> Work:
    """The work of a line on one piece: `workers` people, or (None) as many as could be of use."""
    if workers is None:
        rows = _checked_route(routing, batch, file)
        named = {name for text in rows.skill for name in skills(text)}
        workers = len(rows) + len(named)
    return work_of(routing, [batch], workers, file=file)


def whole_route(routing: pd.DataFrame, product: str, file: str = "routing") -> str:
    """The variant to plan for where none was named: "" where the rows for every variant make a
    whole route, else the first variant of the file (an `after` names what only variants have).

    Raises BadInput where the product is not in the routing.
    """
    own = routing[routing["product"] == product]
    if not len(own):
        raise _unknown_product(routing, product, file)
    variants = [variant for variant in own.variant if variant]
    if not variants:
        return ""
    common = set(own.operation[own.variant == ""])
    kept = len(precedence(routing, product))
    named = sum(
        len([part for part in after.split("|") if part.strip()])
        for after in own.after[own.variant == ""]
    )
    return "" if common and kept == named else variants[0]


def _check_counts(
    batches: Sequence[Batch], workers: int | Sequence[str], change_seconds: float, file: str
) -> None:
    for batch in batches:
        if not 1 <= batch.units <= MOST_UNITS:
            raise _fault(file, 0, "units", f"is not a number of pieces from 1 to {MOST_UNITS}",
                         batch.units, "say how many pieces the batch has")  # fmt: skip
    count = workers if isinstance(workers, int) else len(workers)
    if not 1 <= count <= MOST_WORKERS:
        raise _fault(file, 0, "workers", f"is not a number of people from 1 to {MOST_WORKERS}",
                     count, "at least one person must be there")  # fmt: skip
    if not 0 <= change_seconds < 1e6:
        raise _fault(file, 0, "change_seconds", "is not a number of seconds from 0 up",
                     change_seconds, "write 0 where a change costs nothing")  # fmt: skip


def _checked_route(routing: pd.DataFrame, batch: Batch, file: str) -> pd.DataFrame:
    own = routing[routing["product"] == batch.product]
    if not len(own):
        raise _unknown_product(routing, batch.product, file)
    variants = sorted(set(own.variant) - {""})
    if batch.variant and variants and batch.variant not in variants:
        raise _fault(file, 0, "variant", f"is no variant of {batch.product!r}", batch.variant,
                     "one of " + ", ".join(variants))  # fmt: skip
    rows = route(routing, batch.product, batch.variant)
    if not len(rows):
        raise _fault(file, 0, "variant", f"no row of {batch.product!r} is for every variant",
                     batch.variant, "name one of " + ", ".join(variants))  # fmt: skip
    return rows


def _unknown_product(routing: pd.DataFrame, product: str, file: str) -> BadInput:
    known = list(dict.fromkeys(routing["product"]))
    return _fault(file, 0, "product", "is not in the routing", product,
                  "one of " + ", ".join(known[:20]))  # fmt: skip


def _fault(file: str, row: int, column: str, problem: str, value: object, remedy: str) -> BadInput:
    return BadInput([Fault(file, row, column, problem, str(value), remedy)])


def skills(text: str) -> list[str]:
    """The workers a skill text names; none where anybody can do it."""
    return [name.strip() for name in text.split("|") if name.strip()]


def _worker_names(routes: list[pd.DataFrame], workers: int | Sequence[str]) -> tuple[str, ...]:
    if not isinstance(workers, int):
        return tuple(workers)
    named = dict.fromkeys(name for rows in routes for text in rows.skill for name in skills(text))
    names = list(named)[:workers]
    return tuple(names + [f"worker {place}" for place in range(len(names) + 1, workers + 1)])


class _Builder:
    """Gathers the operations of the batches, and the faults met on the way."""

    def __init__(self, workers: tuple[str, ...], seconds: Mapping, file: str):
        self.workers, self.seconds, self.file = workers, seconds, file
        self.operations: list[Operation] = []
        self.setups: dict[tuple, Setup] = {}
        self.stations: dict[str, int] = {}
        self.racks: dict[str, int] = {}
        self.places: dict[int, int] = {}
        self.tasks: dict[str, int] = {}
        self.faults: list[Fault] = []

    def add(
        self, index: int, batch: Batch, rows: pd.DataFrame, pairs: list[tuple[str, str, float]]
    ) -> None:
        """Put in the operations of one batch, each behind those it must follow."""
        first = len(self.operations)
        order = topological(list(rows.operation), pairs)
        place = {name: first + position for position, name in enumerate(order)}
        before: dict[str, list[tuple[int, int]]] = {name: [] for name in order}
        longest: dict[str, int] = {}
        for earlier, later, wait in pairs:
            before[later].append((place[earlier], ticks(wait)))
            longest[earlier] = max(longest.get(earlier, 0), ticks(wait))
        by_name = {row.operation: row for row in rows.itertuples(index=False)}
        for name in order:
            row = by_name[name]
            wait = longest.get(name, ticks(row.wait_seconds))
            self.operations.append(self._operation(index, batch, row, tuple(before[name]), wait))

    def _operation(
        self, index: int, batch: Batch, row: Row, before: tuple[tuple[int, int], ...], wait: int
    ) -> Operation:
        task = self.tasks.setdefault(row.operation, len(self.tasks))
        station = self.stations.setdefault(row.station, len(self.stations)) if row.station else -1
        seconds = self.seconds.get((batch.product, row.operation))
        once = min(int(row.pieces_at_once), batch.units)
        per_go = row.seconds if seconds is None else seconds * int(row.pieces_at_once)
        workers = self._workers(row)
        holds = self._holds(row, batch, once)
        return Operation(
            name=row.operation, batch=index, row=int(row.row), units=batch.units,
            duration=ticks(per_go), pieces_at_once=once, task=task,
            setup=self._setup(row, task, station, workers), station=station, workers=workers,
            before=before, wait=wait, holds=holds if wait and station >= 0 else 0,
            rack=-1 if holds else self._rack(row, once),
            max_wait=None if row.max_wait_seconds != row.max_wait_seconds
            else ticks(row.max_wait_seconds),
        )  # fmt: skip

    def _workers(self, row: Row) -> tuple[int, ...]:
        named = skills(row.skill)
        can = tuple(i for i, name in enumerate(self.workers) if not named or name in named)
        if not can:
            self._fault(
                row,
                "skill",
                "nobody here has the skill",
                row.skill,
                "more workers, or another name; here are " + ", ".join(self.workers),
            )
        return can

    def _holds(self, row: Row, batch: Batch, once: int) -> int:
        """Pieces that may lie in the station together: its places if given, else one go."""
        if not row.wait_holds_station:
            return 0
        places = row.rack_places
        if places == places and places < once:
            self._fault(
                row,
                "rack_places",
                "fewer places than pieces in one go",
                f"{places:g} for {once}",
                "make the goes smaller or the place larger",
            )
        return min(batch.units, once if places != places else max(int(places), 1))

    def _rack(self, row: Row, once: int) -> int:
        if not row.rack and row.rack_places != row.rack_places:
            return -1
        rack = self.racks.setdefault(row.rack or f"rack of {row.operation}", len(self.racks))
        if row.rack_places == row.rack_places:
            places = int(row.rack_places)
            self.places[rack] = min(self.places.get(rack, places), places)
            if places < once:
                self._fault(
                    row,
                    "rack_places",
                    "holds fewer pieces than leave in one go",
                    f"{places} for {once}",
                    "make the goes smaller or the rack larger",
                )
        return rack

    def _setup(self, row: Row, task: int, station: int, workers: tuple[int, ...]) -> int:
        if not row.setup_seconds and not row.setup_wait_seconds:
            return -1
        key = (task, station)
        known = self.setups.get(key)
        setup = Setup(
            row.operation, task, station, ticks(row.setup_seconds), ticks(row.setup_wait_seconds),
            workers,
        )  # fmt: skip
        if known:  # two products' own rows may differ: the longer setup serves both
            setup = max(known, setup, key=lambda one: (one.duration + one.wait, one.duration))
        self.setups[key] = setup
        return list(self.setups).index(key)

    def _fault(self, row: Row, column: str, problem: str, value: str, remedy: str) -> None:
        self.faults.append(Fault(self.file, int(row.row), column, problem, value, remedy))

    def stop_if_faulty(self) -> None:
        """Raises BadInput with every fault met, by row."""
        if self.faults:
            raise BadInput(sorted(self.faults, key=lambda fault: fault.row))

    def work(self, batches: tuple[Batch, ...], change: int, walk_seconds: Mapping) -> Work:
        """The work; change: ticks of a change of task; walk_seconds: by pair of stations' names."""
        walks = {}
        for (one, other), seconds in walk_seconds.items():
            if one in self.stations and other in self.stations:
                pair = self.stations[one], self.stations[other]
                walks[pair] = walks[pair[::-1]] = ticks(seconds)
        units = sum(batch.units for batch in batches)
        return Work(
            batches, tuple(self.operations), tuple(self.setups.values()), self.workers,
            tuple(self.stations), tuple(self.racks),
            tuple(self.places.get(rack, units * 1000) for rack in range(len(self.racks))),
            tuple(self.tasks), change, walks, file=self.file,
        )  # fmt: skip


def ancestors(work: Work) -> list[set[int]]:
    """Of each operation, the places of all that come before it, near or far."""
    reach: list[set[int]] = []
    for operation in work.operations:
        own = set()
        for before, _ in operation.before:
            own |= {before} | reach[before]
        reach.append(own)
    return reach
