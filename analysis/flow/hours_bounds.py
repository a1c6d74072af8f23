"""Lower bounds on the shop's hours: work stops at closing time, so every chain of steps and every
heap of work is carried through the hours, and not only added up.

    earliest start of an operation  = the first open moment at which it fits, after what precedes
    a heap of work S of m people    ends no sooner than T = hours(head of S, S / m)
    elapsed                        >= the least, over what of S may end last, of its chain from T

The heads and tails of bounds.py (after Carlier 1982), tails being chains through the hours.
"""

from __future__ import annotations

from collections.abc import Iterable

from analysis.flow.work import Work


class HoursBound:
    """The bounds of one work with hours. `heads`: earliest starts in ticks."""

    def __init__(self, work: Work):
        self.work, self.after = work, work.after
        self.heads = self._heads()

    def fits(self, moment: int, duration: int) -> int:
        """The first open moment from `moment` on in which so long a piece of work fits."""
        begun = self.work.hours.fit(moment, duration)
        return moment if begun is None else begun

    def _heads(self) -> list[int]:
        heads: list[int] = []
        for own in self.work.operations:
            head = 0
            if own.setup >= 0:
                setup = self.work.setups[own.setup]
                head = self.fits(0, setup.duration) + setup.duration + setup.wait
            for before, wait in own.before:
                head = max(head, heads[before] + self.work.operations[before].duration + wait)
            heads.append(self.fits(head, own.duration))
        return heads

    def chain(self, index: int, leaves: int) -> int:
        """When the last attended work ends on a piece that leaves an operation at `leaves`."""
        left = {index: leaves}
        for place in range(index + 1, len(self.work.operations)):
            own = self.work.operations[place]
            ready = [left[before] + wait for before, wait in own.before if before in left]
            if ready:
                left[place] = self.fits(max(ready), own.duration) + own.duration
        return max(left.values())

    def chain_of_setup(self, number: int, ends: int) -> int:
        """The same after a setup that ends then."""
        begins = ends + self.work.setups[number].wait
        return max(
            self.chain(i, self.fits(begins, own.duration) + own.duration)
            for i, own in enumerate(self.work.operations)
            if own.setup == number
        )

    def paths(self) -> int:
        """The longest chain of steps and waits."""
        return max(
            (self.chain(i, head + own.duration)
             for i, (head, own) in enumerate(zip(self.heads, self.work.operations, strict=True))),
            default=0,
        )  # fmt: skip

    def last_pieces(self) -> int:
        """The last piece of a batch: nothing passes faster than those who do it let it."""
        best, last = 0, list[int]()
        for index, own in enumerate(self.work.operations):
            at_once = 1 if own.station >= 0 else len(own.workers)
            leaves = self.work.hours.advance(self.heads[index], -(-own.load // at_once))
            for before, wait in own.before:
                start = self.fits(last[before] + wait, own.duration)
                leaves = max(leaves, start + own.duration)
            last.append(leaves)
            best = max(best, self.chain(index, leaves))
        return best

    def heap(
        self, operations: Iterable[int], setups: Iterable[int], at_once: int, people: bool
    ) -> int:
        """A heap of work that so many do at once, from when the first of it can begin; people also
        change task, at least once from each task to the next."""
        operations, setups = list(operations), list(setups)
        if not operations:
            return 0
        load = sum(self.work.operations[i].load for i in operations)
        load += sum(self.work.setups[n].duration for n in setups)
        if people:
            tasks = {self.work.operations[i].task for i in operations}
            tasks |= {self.work.setups[n].task for n in setups}
            load += max(0, len(tasks) - at_once) * self.work.change
        head = 0 if setups else min(self.heads[i] for i in operations)
        ends = self.work.hours.advance(head, -(-load // at_once))
        chains = [self.chain(i, ends) for i in operations]
        return min(chains + [self.chain_of_setup(n, ends) for n in setups])


def hours_bound(work: Work, groups: Iterable[frozenset[int]]) -> int:
    """Ticks that every order of work on the shop's hours takes at least.

    groups: sets of people worth looking at.
    """
    bounds = HoursBound(work)
    best = max(bounds.paths(), bounds.last_pieces())
    for people in groups:
        own = [i for i, o in enumerate(work.operations) if people >= set(o.workers)]
        setups = [n for n, s in enumerate(work.setups) if people >= set(s.workers)]
        best = max(best, _heaps(bounds, own, setups, len(people), True))
    for station in range(len(work.stations)):
        own = [i for i, o in enumerate(work.operations) if o.station == station]
        setups = [n for n, s in enumerate(work.setups) if s.station == station]
        best = max(best, _heaps(bounds, own, setups, 1, False))
    return best


def _heaps(
    bounds: HoursBound, own: list[int], setups: list[int], at_once: int, people: bool
) -> int:
    """The best heap: all of it; what begins no sooner than each head; what must come before each
    long chain. A heap cut to later heads leaves setups out, since they may begin at once."""
    best = bounds.heap(own, setups, at_once, people)
    lengths = {i: bounds.chain(i, 0) for i in own}
    for head in sorted({bounds.heads[i] for i in own}):
        late = [i for i in own if bounds.heads[i] >= head]
        for length in sorted({lengths[i] for i in late}):
            long = [i for i in late if lengths[i] >= length]
            best = max(best, bounds.heap(long, [], at_once, people))
    for length in sorted(set(lengths.values())):
        long = [i for i in own if lengths[i] >= length]
        with_setups = {bounds.work.operations[i].setup for i in long} & set(setups)
        best = max(best, bounds.heap(long, sorted(with_setups), at_once, people))
    return best
