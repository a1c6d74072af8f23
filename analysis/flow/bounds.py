"""Lower bounds: the elapsed time that no order of work can beat, however clever.

For the work S of those operations that cannot begin before r and leave at least q behind them,
done by m people (or in one station):

    elapsed >= r + (work of S) / m + q

(heads and tails, after Carlier 1982, "The one-machine sequencing problem", EJOR 11). With r = q =
0 it is the load of the people; with one piece of one operation it is the longest path.
"""

from __future__ import annotations

from analysis.flow.work import Work


def lower_bound(work: Work) -> int:
    """Ticks that every order of work takes at least."""
    heads, tails = heads_of(work), tails_of(work)
    best = max((h + o.duration + t for h, t, o in _rows(work, heads, tails)), default=0)
    for people in _groups(work):
        best = max(best, _people_bound(work, heads, tails, people))
    for station in range(len(work.stations)):
        best = max(best, _station_bound(work, heads, tails, station))
    return best


def _rows(work: Work, heads: list[int], tails: list[int]):
    return zip(heads, tails, work.operations, strict=True)


def heads_of(work: Work) -> list[int]:
    """The earliest an operation can begin on its first piece: the longest path before it."""
    heads: list[int] = []
    for operation in work.operations:
        head = 0
        if operation.setup >= 0:
            setup = work.setups[operation.setup]
            head = setup.duration + setup.wait
        for before, wait in operation.before:
            own = work.operations[before]
            head = max(head, heads[before] + own.duration + _lag(work, own, operation, wait))
        heads.append(head)
    return heads


def tails_of(work: Work) -> list[int]:
    """What must still follow on a piece when an operation leaves it, to the last attended work."""
    tails = [0] * len(work.operations)
    for index in reversed(range(len(work.operations))):
        operation = work.operations[index]
        for before, wait in operation.before:
            lag = _lag(work, work.operations[before], operation, wait)
            tails[before] = max(tails[before], lag + operation.duration + tails[index])
    return tails


def _lag(work: Work, one, other, wait: int) -> int:
    """The wait; a lone worker must also change task in it."""
    if len(work.workers) > 1:
        return wait
    return max(wait, work.change_ticks(one.task, one.station, other.task, other.station))


def _groups(work: Work) -> list[frozenset[int]]:
    """Sets of people worth looking at: everybody, and those who share a skill, and unions."""
    skilled = {frozenset(o.workers) for o in work.operations}
    everybody = frozenset(range(len(work.workers)))
    unions = {one | other for one in skilled for other in skilled}
    return sorted(unions | {everybody}, key=sorted)


def _people_bound(work: Work, heads, tails, people: frozenset[int]) -> int:
    """Work only these people can do, between its least head and its least tail."""
    parts = [
        (head, tail, operation.load, operation.task)
        for head, tail, operation in _rows(work, heads, tails)
        if people >= set(operation.workers)
    ]
    parts += [
        (0, _setup_tail(work, number, tails), setup.duration, setup.task)
        for number, setup in enumerate(work.setups)
        if people >= set(setup.workers)
    ]
    best = 0
    for head in {part[0] for part in parts}:
        for tail in {part[1] for part in parts}:
            chosen = [part for part in parts if part[0] >= head and part[1] >= tail]
            if chosen:
                changes = max(0, len({part[3] for part in chosen}) - len(people)) * work.change
                load = sum(part[2] for part in chosen) + changes
                best = max(best, head + -(-load // len(people)) + tail)
    return best


def _setup_tail(work: Work, number: int, tails: list[int]) -> int:
    """What must follow the attended part of a setup."""
    return work.setups[number].wait + max(
        operation.duration + tail
        for operation, tail in zip(work.operations, tails, strict=True)
        if operation.setup == number
    )


def _station_bound(work: Work, heads, tails, station: int) -> int:
    """What one station is taken for, with what lies in it while it waits."""
    parts = [
        (head, tail - (o.wait if o.holds else 0), o.load + (_held(o) if o.holds else 0))
        for head, tail, o in _rows(work, heads, tails)
        if o.station == station
    ]
    parts += [
        (0, _setup_tail(work, number, tails), setup.duration)
        for number, setup in enumerate(work.setups)
        if setup.station == station
    ]
    best = 0
    for head in {part[0] for part in parts}:
        for tail in {part[1] for part in parts}:
            loads = [part[2] for part in parts if part[0] >= head and part[1] >= tail]
            if loads:
                best = max(best, head + sum(loads) + tail)
    return best


def _held(operation) -> int:
    """The least ticks a batch's pieces wait in the station: one wait for each filling."""
    return operation.wait * -(-operation.units // operation.holds)
