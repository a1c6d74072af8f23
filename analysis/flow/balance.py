"""Line balance: which operations each person of a line does, in the order in which work passes.

    every operation to one person;  place(a) <= place(b) for a before b
    with a cycle: the fewest people such that nobody's seconds per piece exceed it
    with people:  the shortest cycle

Setups and waits are left aside. A station holds one worker at a time, so what is done in it must
fit in the cycle. A place in the line is filled by one person with every skill it asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING

from analysis.flow.work import TICKS, Work
from analysis.problems import BadInput, Fault

if TYPE_CHECKING:
    from ortools.sat.python.cp_model import CpModel, CpSolver, IntVar

EFFORT_SECONDS = 20.0


@dataclass(frozen=True)
class Place:
    """One person's share of the line: operations, and seconds per piece."""

    worker: str
    operations: tuple[str, ...]
    seconds: float


@dataclass(frozen=True)
class Balance:
    """People used, cycle in seconds per piece, lower bound (of people or seconds), proven or not.

    balance_loss: share of the line's time in which somebody waits, 1 - work / (people x cycle).
    """

    workers: int
    cycle_seconds: float
    lower_bound: float
    optimal: bool
    balance_loss: float
    assignment: tuple[Place, ...]


@dataclass(frozen=True)
class _Answer:
    places: list[tuple[int, list[int]]] | None  # (worker, operation indices) along the line
    cycle: int
    bound: int
    proven: bool


def balance_for_cycle(work: Work, cycle_seconds: float, effort: float = EFFORT_SECONDS) -> Balance:
    """The fewest people that keep a cycle; `work.workers` are those who may be asked.

    cycle_seconds: a piece must come so often; effort: seconds of the solver's own count for each
    number of people tried. Raises BadInput where an operation, or what must be done in one station,
    is longer than the cycle, or no line of these people keeps it.
    """
    times = _times(work)
    cycle = round(cycle_seconds * TICKS) if cycle_seconds < 1e9 else 0
    if not cycle > 0:
        raise _fault(work, 0, "cycle", "is not a number of seconds above 0", cycle_seconds,
                     "say how often a piece must come")  # fmt: skip
    _check_fits(work, times, cycle)
    least, proven = max(1, ceil(sum(times) / cycle)), True
    for count in range(least, len(work.workers) + 1):
        answer = _solve(work, times, count, cycle, effort)
        if answer.places is not None:
            bound = count if proven else least
            return _balance(work, times, answer.places, cycle, bound, count, bound == count)
        proven = proven and answer.proven
        least = count + 1 if proven else least
    raise _fault(work, 0, "skill", "no line of these people keeps the cycle", cycle_seconds,
                 "allow a longer cycle, or more people with the skills")  # fmt: skip


def balance_for_workers(work: Work, effort: float = EFFORT_SECONDS) -> Balance:
    """The shortest cycle of a line of `work.workers`; nobody need have work.

    effort: seconds of the solver's own count, after which the best line found is given with its
    bound (seconds per piece). Raises BadInput where no line of these people can be formed.
    """
    times = _times(work)
    answer = _solve(work, times, len(work.workers), None, effort)
    if answer.places is None:
        raise _fault(work, 0, "skill", "no line of these people can be formed", len(work.workers),
                     "more people with the skills")  # fmt: skip
    count = len(work.workers)
    bound = answer.bound / TICKS
    return _balance(work, times, answer.places, answer.cycle, bound, count, answer.proven)


def _times(work: Work) -> list[int]:
    """Ticks per piece."""
    return [round(o.duration / o.pieces_at_once) for o in work.operations]


def _check_fits(work: Work, times: list[int], cycle: int) -> None:
    for operation, time in zip(work.operations, times, strict=True):
        if time > cycle:
            raise _fault(work, operation.row, "seconds", f"is longer than the cycle of "
                         f"{cycle / TICKS:g}", f"{time / TICKS:g}",
                         "allow a longer cycle, or split the operation")  # fmt: skip
    for station, name in enumerate(work.stations):
        own = [i for i, o in enumerate(work.operations) if o.station == station]
        load = sum(times[i] for i in own)
        if load > cycle:
            raise _fault(
                work,
                work.operations[own[0]].row,
                "station",
                f"is needed {load / TICKS:g} s a piece, longer than the cycle of {cycle / TICKS:g}",
                name,
                "allow a longer cycle, or a second one",
            )


def _fault(work: Work, row: int, column: str, problem: str, value: object, remedy: str) -> BadInput:
    return BadInput([Fault(work.file, row, column, problem, str(value), remedy)])


def _solve(work: Work, times: list[int], count: int, cycle: int | None, effort: float) -> _Answer:
    """A line of `count` places: within `cycle` if given, else with the shortest."""
    from ortools.sat.python import cp_model  # half a second to import

    model = cp_model.CpModel()
    at = _in_order(model, work, count)
    least = _least_cycle(work, times, count)
    longest = model.new_int_var(least, max(sum(times), least), "cycle")
    for p in range(count):
        model.add(sum(t * own[p] for t, own in zip(times, at, strict=True)) <= longest)
    who = _skills(model, work, at, count)
    if cycle is None:
        model.minimize(longest)
    else:
        model.add(longest <= cycle)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.interleave_search = True
    solver.parameters.max_deterministic_time = effort
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return _Answer(None, 0, least, status == cp_model.INFEASIBLE)
    places = [
        (_worker(solver, who, p), [o for o in range(len(times)) if solver.value(at[o][p])])
        for p in range(count)
    ]
    reached = max(sum(times[o] for o in own) for _, own in places)
    bound = round(solver.best_objective_bound) if cycle is None else least
    return _Answer(places, reached, max(least, bound), status == cp_model.OPTIMAL)


def _in_order(model: CpModel, work: Work, count: int) -> list[list[IntVar]]:
    """at[operation][place], each operation at one place and never before what it follows."""
    operations = range(len(work.operations))
    at = [[model.new_bool_var(f"x{o}_{p}") for p in range(count)] for o in operations]
    place = [model.new_int_var(0, count - 1, f"p{o}") for o in operations]
    for own, where in zip(at, place, strict=True):
        model.add_exactly_one(own)
        model.add(where == sum(p * x for p, x in enumerate(own)))
    for after, operation in enumerate(work.operations):
        for before, _ in operation.before:
            model.add(place[before] <= place[after])
    return at


def _least_cycle(work: Work, times: list[int], count: int) -> int:
    """No cycle is shorter: an even share of the work, the longest operation, the fullest place."""
    stations = [
        sum(t for t, o in zip(times, work.operations, strict=True) if o.station == station)
        for station in range(len(work.stations))
    ]
    return max([ceil(sum(times) / count), *times, *stations])


def _skills(
    model: CpModel, work: Work, at: list[list[IntVar]], count: int
) -> list[list[IntVar]] | None:
    """who[place][worker], where skills matter: one place a person, with every skill asked for."""
    everybody = len(work.workers)
    if all(len(operation.workers) == everybody for operation in work.operations):
        return None
    who = [[model.new_bool_var("who") for _ in range(everybody)] for _ in range(count)]
    for own in who:
        model.add_exactly_one(own)
    for worker in range(everybody):
        model.add_at_most_one(own[worker] for own in who)
    for operation, places in zip(work.operations, at, strict=True):
        for worker in set(range(everybody)) - set(operation.workers):
            for p in range(count):
                model.add_bool_or(places[p].negated(), who[p][worker].negated())
    return who


def _worker(solver: CpSolver, who: list[list[IntVar]] | None, place: int) -> int:
    if who is None:
        return place
    return next(w for w, here in enumerate(who[place]) if solver.value(here))


def _balance(
    work: Work,
    times: list[int],
    places: list[tuple[int, list[int]]],
    cycle: int,
    bound: float,
    count: int,
    proven: bool,
) -> Balance:
    assignment = tuple(
        Place(
            work.workers[worker],
            tuple(work.operations[o].name for o in own),
            sum(times[o] for o in own) / TICKS,
        )
        for worker, own in places
    )
    loss = 1 - sum(times) / (count * cycle) if cycle else 0.0
    return Balance(count, cycle / TICKS, bound, proven, loss, assignment)
