"""The order of work: the quickest plan found, the bound it is measured by, and how sure it is.

`order` is the main path: bound -> rules tried and improved (a good answer at once) -> the model
(the proof, or a better plan) -> the fewest changes of task at that elapsed time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analysis.flow import model
from analysis.flow.bounds import lower_bound
from analysis.flow.listed import as_listed
from analysis.flow.plan import Block, Plan, make_plan
from analysis.flow.search import Found, RulesTried, found, improve, least_changes
from analysis.flow.work import TICKS, Work
from analysis.problems import BadInput, Fault

EFFORT_SECONDS = 8.0
PIECES_PER_SECOND = 60_000  # pieces x operations a second that rules are tried on, measured
SOLVER_PER_SECOND = 0.7  # the solver's deterministic seconds in a second, measured
MOST_SECONDS = 86_400
COARSE_LEEWAY = 1.015
SMALL_PARTS = 60  # searched piece by piece at once
FREE_PARTS = 330  # parts the model can be searched with; fewer where changes of task cost
CIRCUIT_PARTS = 64


@dataclass(frozen=True)
class Progress:
    """How far the search is: the best plan's elapsed seconds and the bound."""

    best_seconds: float
    bound_seconds: float


def order(
    work: Work,
    effort_seconds: float = EFFORT_SECONDS,
    *,
    rules: RulesTried | None = None,
    stop: Callable[[], bool] | None = None,
    report: Callable[[Progress], None] | None = None,
) -> Plan:
    """The quickest order of work found with about so many seconds of effort.

    Effort is counted in work done, not by a clock, so the same work gives the same plan. rules:
    those of this work, where they are wanted again. `stop` is asked now and then and ends the
    search with the best plan so far. Raises BadInput where nothing can keep every
    `max_wait_seconds` and rack.
    """
    return _Search(work, effort_seconds, rules, stop or (lambda: False), report).run()


class _Search:
    def __init__(
        self,
        work: Work,
        effort: float,
        rules: RulesTried | None,
        stop: Callable[[], bool],
        report: Callable[[Progress], None] | None,
    ) -> None:
        if not 0 <= effort <= MOST_SECONDS:
            raise BadInput(
                [
                    Fault(
                        work.file,
                        0,
                        "seconds_limit",
                        f"is not a number of seconds from 0 to {MOST_SECONDS}",
                        f"{effort:g}",
                        "8 is a good start",
                    )
                ]
            )
        self.work, self.effort, self.stop, self.report = work, effort, stop, report
        self.rules = rules or RulesTried(work)
        self.bound = lower_bound(work)
        self.best: Found | None = None
        self.cuts = self._partitions() if self._can_model() else []

    def run(self) -> Plan:
        """The best plan found, with its bound; BadInput where no order of work is possible."""
        listed, possible = as_listed(self.work)
        if possible:
            self._keep(found(self.work, listed))
        self._try_rules()
        self._prove()
        if self.best is None:
            raise self._impossible()
        self._fewest_changes(self.best)
        return make_plan(
            self.work, list(self.best.blocks), self.bound, max(b.end for b in listed),
            stopped=self.stop(), as_listed_possible=possible,
        )  # fmt: skip

    @property
    def closed(self) -> bool:
        """Whether the best plan reaches the bound, so that none can be quicker."""
        return self.best is not None and self.best.span <= self.bound

    def _keep(self, plan: Found | None) -> None:
        if plan and (self.best is None or plan.score() < self.best.score()):
            self.best = plan
            self._tell()

    def _tell(self) -> None:
        if self.report and self.best:
            bound = min(self.bound, self.best.span)
            self.report(Progress(self.best.span / TICKS, bound / TICKS))

    def _try_rules(self) -> None:
        size = sum(operation.units for operation in self.work.operations)
        # Where the model soon proves the answer, rules need only give it a start; where it cannot
        # be asked, they have its share of the effort, too, in a second and longer run.
        most = 200 if size <= SMALL_PARTS and self.cuts else 3000
        for share in (0.25,) if self.cuts else (0.25, 0.5):
            tries = int(min(share * self.effort * PIECES_PER_SECOND / max(size, 1), most))
            self._keep(improve(self.work, tries, self.bound, rules=self.rules, stop=self.stop,
                               report=self._keep))  # fmt: skip

    def _prove(self) -> None:
        """Coarse parts first, each plan the start of the next; piece by piece where that is few
        enough: only then does the model's bound hold for every order."""
        guide = list(self.best.blocks) if self.best else None
        for share, sizes in self.cuts:
            if self.closed or self.stop():
                return
            exact = all(size == 1 for row in sizes for size in row)
            answer = self._solve(sizes, share * self.effort * SOLVER_PER_SECOND, guide, exact)
            guide = answer.blocks or guide
            if exact:
                if answer.impossible and self.best is None:
                    raise self._impossible()
                self.bound = max(self.bound, answer.bound)
                self._tell()

    def _partitions(self) -> list[tuple[float, list[list[int]]]]:
        """(share of the effort, sizes of the parts of each batch), coarse to fine."""
        ones = [[1] * batch.units for batch in self.work.batches]
        if self._parts(ones) <= SMALL_PARTS and self._few(ones):
            return [(0.75, ones)]
        cuts = [
            [_even(batch.units, count) for batch in self.work.batches] for count in (3, 6, 12, 24)
        ]
        cuts = [cut for cut in cuts if self._few(cut) and self._parts(cut) < self._parts(ones) / 2]
        cuts += [ones] if self._few(ones) else []
        if not cuts:
            cuts = [[[batch.units] for batch in self.work.batches]]
        cuts = [cut for cut in cuts if self._fits(cut)]
        # The finer the parts, the more there is to search.
        whole = sum(range(1, len(cuts) + 1))
        return [(0.75 * rank / whole, cut) for rank, cut in enumerate(cuts, 1)]

    def _parts(self, sizes: list[list[int]]) -> int:
        return sum(len(sizes[o.batch]) for o in self.work.operations) + len(self.work.setups)

    def _fits(self, sizes: list[list[int]]) -> bool:
        """Whether each part goes whole into every press it has to lie in."""
        held = [o for o in self.work.operations if o.holds]
        return all(max(sizes[o.batch]) <= o.holds for o in held)

    def _can_model(self) -> bool:
        """Within working hours the model knows single pieces and changes that cost nothing."""
        ones = [[1] * batch.units for batch in self.work.batches]
        return not self.work.hours.spans or (not self._costs and self._few(ones))

    @property
    def _costs(self) -> bool:
        return bool(self.work.change or any(self.work.walks.values()))

    def _few(self, sizes: list[list[int]]) -> bool:
        """Whether the model can be searched with so many parts."""
        return self._parts(sizes) <= (CIRCUIT_PARTS if self._costs else FREE_PARTS)

    def _solve(
        self, parts: list[list[int]], effort: float, guide: list[Block] | None, exact: bool
    ) -> model.Answer:
        # A coarse plan may be longer than the best and still show the next, finer one the way.
        leeway = 1.0 if exact else COARSE_LEEWAY
        horizon = int(self.best.span * leeway) if self.best else _generous(self.work)
        answer = model.solve(
            self.work, parts, horizon, self.bound, effort, incumbent=guide, stop=self.stop,
            report=self._told,
        )  # fmt: skip
        if answer.blocks is not None:
            self._keep(found(self.work, answer.blocks))
        return answer

    def _told(self, best: int, _bound: int) -> None:
        if self.report and (self.best is None or best < self.best.span):
            self.report(Progress(best / TICKS, min(self.bound, best) / TICKS))

    def _fewest_changes(self, best: Found) -> None:
        """Among plans of the best elapsed time, one with fewer changes, where few parts allow."""
        parts = sum(o.units for o in self.work.operations) + len(self.work.setups)
        if (
            parts > CIRCUIT_PARTS
            or self.stop()
            or not self._can_model()
            or best.changes <= least_changes(self.work)
        ):
            return
        answer = model.solve(
            self.work, [[1] * b.units for b in self.work.batches], best.span, self.bound,
            0.2 * self.effort * SOLVER_PER_SECOND, incumbent=list(best.blocks),
            fewest_changes_at=best.span, stop=self.stop,
        )  # fmt: skip
        if answer.blocks is not None:
            self._keep(found(self.work, answer.blocks))

    def _impossible(self) -> BadInput:
        hasty = ((o.row, o.max_wait) for o in self.work.operations if o.max_wait is not None)
        row, value = next(((row, f"{wait / TICKS:g}") for row, wait in hasty), (0, ""))
        return BadInput([Fault(
            self.work.file, row, "max_wait_seconds", "no order of work keeps it", value,
            "allow a longer wait, or more people",
        )])  # fmt: skip


def _even(units: int, count: int) -> list[int]:
    """So many parts of nearly the same size."""
    count = min(count, units)
    return [units * (k + 1) // count - units * k // count for k in range(count)]


def _generous(work: Work) -> int:
    """Longer than any sensible plan: everything one after another, every wait awaited."""
    waits = sum(o.units * o.wait for o in work.operations) + sum(s.wait for s in work.setups)
    changes = sum(o.units for o in work.operations) * (
        work.change + max(work.walks.values(), default=0)
    )
    return work.hours.advance(0, work.attended + waits + changes + 1)
