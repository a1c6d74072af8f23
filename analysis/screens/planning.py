"""Plans worked out beside the page: a first answer at once, the rest in a thread, kept by content.

The same work is planned once for everybody who looks at it. A search that no page has asked about
for some seconds ends by itself, with the best plan so far. The search counts its own work, not a
clock, so the same work always gives the same plan, however busy the computer is.
"""

from __future__ import annotations

import hashlib
from concurrent.futures import ThreadPoolExecutor

import streamlit as st

from analysis.flow import frontier, order, why
from analysis.flow.by_hand import polished
from analysis.flow.plan import Plan
from analysis.flow.search import RulesTried
from analysis.flow.work import Work
from analysis.screens import beside

FIRST_EFFORT = 0.25  # seconds' worth of rules: the answer the page opens with
FULL_EFFORT = 8.0
WHY_EFFORT = 1.0
FIRST_WORTH_SECONDS = (3600,)  # a first look for plans of few blocks
FIRST_TRIES = 40
FULL_WORTH_SECONDS, FULL_TRIES = frontier.WORTH_SECONDS, frontier.TRIES
FEW_BLOCKS_SHARE = 0.05  # common practice, no source: what a maker gives for fewer changes
MOST_POINTS = 5


class Job(beside.Job):
    """The planning of one piece of work; `stage` says what is being done, "" when it is over."""

    def __init__(self, work: Work) -> None:
        super().__init__()
        self.work = work
        rules = RulesTried(work)
        self.first = order.order(work, FIRST_EFFORT, rules=rules)
        # A maker can follow a handful of blocks: such plans stand there from the first picture on.
        self.points = frontier.frontier(
            work, self.first, tries=FIRST_TRIES, worth_seconds=FIRST_WORTH_SECONDS,
            rules=rules,
        )  # fmt: skip
        self.quickest: Plan = self.points[-1].plan
        self.changes: tuple[why.Change, ...] = ()
        self.best_seconds = self.quickest.makespan_seconds
        self.bound_seconds = self.first.lower_bound_seconds
        self.stage = "waiting for its turn"

    def run(self) -> None:
        """The whole search: quickest plan, fewer blocks, and what each change saves."""
        try:
            self._search()
        finally:
            self.stage = ""
            self.over.set()

    def _search(self) -> None:
        self.stage = "looking for a quicker order"
        rules = RulesTried(self.work)  # anew: hundreds of plans are not kept while a job waits
        found = order.order(
            self.work, FULL_EFFORT, rules=rules, stop=self._stop, report=self._heard
        )
        self._take(found)
        self.stage = "looking for fewer changes of task"
        points = frontier.frontier(
            self.work, self.quickest, tries=FULL_TRIES, worth_seconds=FULL_WORTH_SECONDS,
            rules=rules, stop=self._stop,
        )  # fmt: skip
        better = [polished(self.work, point.plan, stop=self._stop) for point in points]
        for plan in better:
            self._take(plan)
        self.points = frontier.undominated([*better, self.quickest])
        self.stage = "asking why"
        self.changes = why.reasons(self.work, self.quickest, WHY_EFFORT, stop=self._stop)

    def _take(self, plan: Plan) -> None:
        if plan.makespan_seconds <= self.quickest.makespan_seconds:
            self.quickest = plan
            self.best_seconds, self.bound_seconds = plan.makespan_seconds, plan.lower_bound_seconds
            self.points = frontier.undominated([*(point.plan for point in self.points), plan])

    def _heard(self, progress: order.Progress) -> None:
        self.best_seconds = min(self.best_seconds, progress.best_seconds)
        self.bound_seconds = max(self.bound_seconds, progress.bound_seconds)

    @property
    def choices(self) -> tuple[frontier.Point, ...]:
        """A few plans to choose from, fewest blocks first, the quickest last."""
        points = self.points
        if len(points) <= MOST_POINTS:
            return points
        last = len(points) - 1
        places = {round(k * last / (MOST_POINTS - 1)) for k in range(MOST_POINTS)}
        places.add(points.index(self.sensible(points)))
        return tuple(points[place] for place in sorted(places))

    def sensible(self, points: tuple[frontier.Point, ...] = ()) -> frontier.Point:
        """Of the plans hardly slower than the quickest, the one with fewest blocks."""
        points = points or self.choices
        open_hours = max(points[-1].plan.attended_seconds, 1.0)
        most = points[-1].makespan_seconds + FEW_BLOCKS_SHARE * open_hours
        return next(point for point in points if point.makespan_seconds <= most)


class Jobs(beside.Jobs[Job]):
    """All plannings there are; one is worked on at a time."""

    def __init__(self) -> None:
        super().__init__()
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="planning")

    def of(self, work: Work, name: str) -> Job:
        """The planning of this work, named by its digest; begun if nobody has asked before."""

        def begun(_: Job | None) -> Job:
            job = Job(work)
            self._thread.submit(job.run)
            return job

        return self._kept(name, lambda job: job.over.is_set() and job.left, begun)


def digest(work: Work) -> str:
    """A short name that is the same for the same work."""
    return hashlib.sha256(repr(work).encode()).hexdigest()[:16]


@st.cache_resource(show_spinner=False)
def jobs() -> Jobs:
    """The plannings of this server."""
    return Jobs()
