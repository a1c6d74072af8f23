"""Scenarios worked out beside the page: a first answer from a few runs, then better ones.

Each answer is kept by its content: shop, version of the records, scenario. A page that has gone
ends its work after some seconds. All answers use the same seed, so that scenarios stand side by
side with the same random numbers, and the same question has the same answer.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections import OrderedDict
from collections.abc import Hashable
from concurrent.futures import ThreadPoolExecutor

import streamlit as st

from analysis.decisions.answer import Answer, SoFar
from analysis.problems import Problem
from analysis.records.scenario import Scenario

FIRST_RUNS, MORE_RUNS, ALL_RUNS = 8, 40, 200
FIRST_WAIT_SECONDS = 0.8  # the page waits so long for the first answer, then says it is coming
UNASKED_SECONDS = 30.0
MOST_KEPT = 60


_marks = itertools.count()


class Job:
    """One scenario being answered; `answered` is the best answer so far with a number that no
    other answer has, to keep its words and charts by; None before the first."""

    def __init__(self, model, scenario: Scenario, currency: str, answered=None):
        self.model, self.scenario, self.currency = model, scenario, currency
        self.answered: tuple[Answer, int] | None = answered
        self.so_far: SoFar | None = None
        self.problem = ""
        self.stopped = False  # by somebody's tap
        self.left = False  # nobody looked any more
        self.first, self.over = threading.Event(), threading.Event()
        self._asked_at = time.monotonic()

    @property
    def answer(self) -> Answer | None:
        """The best answer so far."""
        return self.answered[0] if self.answered else None

    def asked(self) -> None:
        """A page still looks at it."""
        self._asked_at = time.monotonic()

    def stop(self) -> None:
        """End it with what is done."""
        self.stopped = True

    def _stop(self) -> bool:
        self.left = self.left or time.monotonic() - self._asked_at > UNASKED_SECONDS
        return self.stopped or self.left

    def _stop_early(self) -> bool:
        """Where the simulation is still being compiled, one slow run is the first answer."""
        from analysis.decisions.warm import machine_code_is_there

        return self._stop() or not machine_code_is_there()

    def begin(self) -> None:
        """The first answer, from few runs and without looking at other levels of demand."""
        try:
            if self.answered is None:
                self._take(FIRST_RUNS, quick=True, stop=self._stop_early)
        finally:
            self.first.set()

    def go_on(self) -> None:
        """Better answers, until all runs are done or somebody stops it."""
        try:
            for runs, quick in ((MORE_RUNS, True), (ALL_RUNS, False)):
                if not self._stop() and not self.problem:
                    self._take(runs, quick, self._stop)
        finally:
            self.over.set()

    def _take(self, runs: int, quick: bool, stop) -> None:
        from analysis.decisions.what_if import what_if

        try:
            (found,) = what_if(
                self.model, [self.scenario], runs=runs, currency=self.currency, quick=quick,
                report=self._heard, stop=stop,
            )  # fmt: skip
        except (Problem, ValueError) as problem:
            self.problem = str(problem)
            return
        if self.answer is None or found.runs >= self.answer.runs:
            self.answered = found, next(_marks)

    def _heard(self, so_far: SoFar) -> None:
        self.so_far = so_far


class Jobs:
    """All scenarios being answered or answered, the oldest forgotten first.

    First answers have a thread of their own, so that none waits for another's last runs.
    """

    def __init__(self):
        self._jobs: OrderedDict[Hashable, Job] = OrderedDict()
        self._lock = threading.Lock()
        self._first = ThreadPoolExecutor(1, thread_name_prefix="what-if-first")
        self._rest = ThreadPoolExecutor(1, thread_name_prefix="what-if")

    def of(self, name: Hashable, model, scenario: Scenario, currency: str) -> Job:
        """The answering of a scenario, by a name of its content; begun if nobody asked before."""
        with self._lock:
            job = self._jobs.get(name)
            if job is None or (job.over.is_set() and job.left and not job.stopped):
                done = job.answered if job else None  # by then nobody looked any more
                job = self._jobs[name] = Job(model, scenario, currency, done)
                self._first.submit(job.begin).add_done_callback(
                    lambda _: self._rest.submit(job.go_on)
                )
            self._jobs.move_to_end(name)
            while len(self._jobs) > MOST_KEPT:
                self._jobs.popitem(last=False)[1].stop()
        job.asked()
        return job

    def again(self, name: Hashable) -> None:
        """Forget a scenario's answer, so that it is worked out anew, as after a stop."""
        with self._lock:
            self._jobs.pop(name, None)

    def all(self) -> list[Job]:
        """Those kept, the one asked for last at the end."""
        with self._lock:
            return list(self._jobs.values())


@st.cache_resource(show_spinner=False)
def jobs() -> Jobs:
    """The scenarios of this server."""
    return Jobs()
