"""Lower bounds: the elapsed time that no order of work can beat, however clever.

For the work S of those operations that cannot begin before r and leave at least q behind them,
done by m people (or in one station):

    elapsed >= r + (work of S) / m + q

(heads and tails, after Carlier 1982, "The one-machine sequencing problem", EJOR 11). With r = q =
0 it is the load of the people; with one piece of one operation it is the longest path.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.flow.hours_bounds import hours_bound
from analysis.flow.work import Operation, Work

MOST_FILLINGS = 3


def lower_bound(work: Work) -> int:
    """Ticks that every order of work takes at least."""
    heads, tails = heads_of(work), tails_of(work)
    best = _bound(work, heads, tails)
    for index, operation in enumerate(work.operations):
        if operation.holds > 1 and len(operation.workers) == 1:
            best = max(best, _fillings_bound(work, index, heads, tails))
    return max(best, hours_bound(work, _groups(work))) if work.hours.spans else best


def _bound(work: Work, heads: list[int], tails: list[int]) -> int:
    best = max((h + o.duration + t for h, t, o in _rows(work, heads, tails)), default=0)
    best = max(best, _last_piece_bound(work, heads, tails))
    for people in _groups(work):
        best = max(best, _people_bound(work, heads, tails, people))
    for station in range(len(work.stations)):
        best = max(best, _station_bound(work, heads, tails, station))
    return best


def _rows(work: Work, heads: list[int], tails: list[int]) -> Iterator[tuple[int, int, Operation]]:
    return zip(heads, tails, work.operations, strict=True)


def _fillings_bound(work: Work, index: int, heads: list[int], tails: list[int]) -> int:
    """What one person fills (a press), and then takes up again.

    Let the last filling hold m pieces of N and begin at S, and g(m) goes of d ticks put in m
    pieces. All else that person does before it is done by then: S >= W - g(m) d. With f fillings,
    f - 1 waits lie before: S >= head + g(N - m) d + (f - 1) wait. With two or more, the filling
    before has waited: a wait before S all the other N - m pieces were made and put in,
    S >= setups + (N - m)(work before) + g(N - m) d + wait. Behind it that person still has all
    that follows on m pieces: elapsed >= S + d + wait + m D. The bound is the least of this over m,
    and over one, two, or three and more fillings.
    """
    own = work.operations[index]
    before, per_piece, setups = _own_work(work, index)
    behind = _own_work_behind(work, index)
    whole = before + own.load
    best = None
    for fillings in range(1, MOST_FILLINGS + 1):
        for last in [own.units] if fillings == 1 else range(1, own.units):
            if last > own.holds:
                continue
            earlier = own.units - last
            put_in, put_in_earlier = (own.duration * own.goes(part) for part in (last, earlier))
            begun = max(heads[index], whole - put_in)
            if fillings > 1:
                waits = (fillings - 1) * own.wait
                begun = max(begun, heads[index] + put_in_earlier + waits,
                            setups + earlier * per_piece + put_in_earlier + own.wait)  # fmt: skip
            ends = begun + put_in + tails[index]
            if behind:  # else nobody's work waits for what lies there
                ends = max(ends, begun + own.duration + own.wait + last * behind)
            best = ends if best is None else min(best, ends)
    return best or 0


def _own_work(work: Work, index: int) -> tuple[int, int, int]:
    """(all ticks, ticks per piece, setups) of what this operation's one worker alone can do, and
    must, before it; goes of several pieces count in the whole only."""
    worker = work.operations[index].workers
    earlier: set[int] = set()
    for place in range(index, -1, -1):
        if place == index or place in earlier:
            earlier |= {before for before, _ in work.operations[place].before}
    own = [work.operations[place] for place in sorted(earlier)]
    mine = [o for o in own if o.workers == worker]
    numbers = {o.setup for o in [*own, work.operations[index]] if o.setup >= 0}
    setups = sum(work.setups[n].duration for n in numbers if work.setups[n].workers == worker)
    per_piece = sum(o.duration for o in mine if o.pieces_at_once == 1)
    return setups + sum(o.load for o in mine), per_piece, setups


def _own_work_behind(work: Work, index: int) -> int:
    """Ticks a piece of what the same worker alone can do, and must, after this operation."""
    worker, behind = work.operations[index].workers, {index}
    ticks = 0
    for place, operation in enumerate(work.operations):
        if any(before in behind for before, _ in operation.before):
            behind.add(place)
            if operation.workers == worker and operation.pieces_at_once == 1:
                ticks += operation.duration
    return ticks


def heads_of(work: Work) -> list[int]:
    """The earliest an operation can begin on its first piece: the longest path before it."""
    heads: list[int] = []
    for operation in work.operations:
        head = 0
        if operation.setup >= 0:
            setup = work.setups[operation.setup]
            head = max(head, setup.duration + setup.wait)
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


def _last_piece_bound(work: Work, heads: list[int], tails: list[int]) -> int:
    """The last piece of a batch: no operation lets its pieces through faster than those who may
    do it, or its station, can; and what still follows on it."""
    best, last = 0, list[int]()
    for index, operation in enumerate(work.operations):
        at_once = 1 if operation.station >= 0 else len(operation.workers)
        leaves = heads[index] + -(-operation.load // at_once)
        for before, wait in operation.before:
            leaves = max(leaves, last[before] + wait + operation.duration)
        if operation.holds:
            leaves = max(leaves, _filled(work, operation, heads[index], last))
        last.append(leaves)
        best = max(best, leaves + tails[index])
    return best


def _filled(work: Work, operation: Operation, head: int, last: list[int]) -> int:
    """When the last piece of a batch is put into what holds it: in one filling, whose pieces
    follow at once upon each other, or in several, a wait between them."""
    several = head + operation.load + operation.wait
    if operation.holds < operation.units:
        return several
    one = 0
    for before, _ in operation.before:
        earlier = work.operations[before]
        if len(operation.workers) == 1 and earlier.workers == operation.workers:
            # The one who fills it must have done all that comes before, and cannot do it meanwhile.
            one = max(one, last[before] + operation.load)
    return min(one, several)


def _lag(work: Work, one: Operation, other: Operation, wait: int) -> int:
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


def _people_bound(work: Work, heads: list[int], tails: list[int], people: frozenset[int]) -> int:
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
                best = max(best, work.hours.advance(head, -(-load // len(people))) + tail)
    return best


def _setup_tail(work: Work, number: int, tails: list[int]) -> int:
    """What must follow the attended part of a setup."""
    return work.setups[number].wait + max(
        operation.duration + tail
        for operation, tail in zip(work.operations, tails, strict=True)
        if operation.setup == number
    )


def _station_bound(work: Work, heads: list[int], tails: list[int], station: int) -> int:
    """What one station is taken for, with what lies in it while it waits."""
    parts = [
        (
            head,
            tail - (o.wait if o.holds else 0),
            o.load + (_held(o) if o.holds else 0),
            bool(o.holds),
        )
        for head, tail, o in _rows(work, heads, tails)
        if o.station == station
    ]
    parts += [
        (0, _setup_tail(work, number, tails), setup.duration, False)
        for number, setup in enumerate(work.setups)
        if setup.station == station
    ]
    best = 0
    for head in {part[0] for part in parts}:
        for tail in {part[1] for part in parts}:
            chosen = [part for part in parts if part[0] >= head and part[1] >= tail]
            loads, held = [part[2] for part in chosen], any(part[3] for part in chosen)
            if loads:
                best = max(best, _occupied(work, head, sum(loads), held) + tail)
    return best


def _occupied(work: Work, head: int, load: int, held: bool) -> int:
    """Waits in a station run on after hours; hands on it do not."""
    return head + load if held else work.hours.advance(head, load)


def _held(operation: Operation) -> int:
    """The least ticks a batch's pieces wait in the station: one wait for each filling."""
    return operation.wait * -(-operation.units // operation.holds)
