"""Scenarios worked out beside the page: a first answer from a few runs, then better ones.

Each answer is kept by its content: shop, version of the records, scenario. A page that has gone
ends its work after some seconds. All answers use the same seed, so that scenarios stand side by
side with the same random numbers, and the same question has the same answer.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import streamlit as st

from analysis.decisions.answer import Answer, SoFar
from analysis.problems import Problem
from analysis.records.scenario import Scenario
from analysis.screens import beside

if TYPE_CHECKING:
    from analysis.decisions.shop_model import ShopModel

FIRST_RUNS, MORE_RUNS, ALL_RUNS = 8, 40, 200
FIRST_WAIT_SECONDS = 0.6  # the page waits so long for the first answer, then says it is coming


_marks = itertools.count()


class Job(beside.Job):
    """One scenario being answered; `answered` is the best answer so far with a number that no
    other answer has, to keep its words and charts by; None before the first."""

    UNASKED_SECONDS = 30.0

    def __init__(
        self,
        model: ShopModel,
        scenario: Scenario,
        currency: str,
        answered: tuple[Answer, int] | None = None,
    ) -> None:
        super().__init__()
        self.model, self.scenario, self.currency = model, scenario, currency
        self.answered: tuple[Answer, int] | None = answered
        self.so_far: SoFar | None = None
        self.problem = ""
        self.first = threading.Event()

    @property
    def answer(self) -> Answer | None:
        """The best answer so far."""
        return self.answered[0] if self.answered else None

    def _stop_early(self) -> bool:
        """Where the simulation is still being compiled, one slow run is the first answer."""
        from analysis.decisions.warm import machine_code_is_there

        return self._ended() or not machine_code_is_there()

    def begin(self) -> None:
        """The first answer, from few runs and without simulating again at other values."""
        try:
            if self.answered is None:
                with beside.page_first():
                    self._take(FIRST_RUNS, quick=True, stop=self._stop_early)
        finally:
            self.first.set()

    def go_on(self) -> None:
        """Better answers, until all runs are done or somebody stops it; the last one twice, before
        and after other values are simulated."""
        try:
            for runs, quick in ((MORE_RUNS, True), (ALL_RUNS, False)):
                if not self._stop() and not self.problem:
                    self._take(runs, quick, self._stop)
        finally:
            self.over.set()

    def _take(self, runs: int, quick: bool, stop: Callable[[], bool]) -> None:
        from analysis.decisions.what_if import what_if

        try:
            (found,) = what_if(
                self.model, [self.scenario], runs=runs, currency=self.currency, quick=quick,
                report=self._heard, stop=stop, early=self._put,
            )  # fmt: skip
        except (Problem, ValueError) as problem:
            self.problem = str(problem)
            return
        self._put(found)

    def _put(self, found: Answer) -> None:
        """Take an answer, unless a better one is there."""
        if self.answer is None or found.runs >= self.answer.runs:
            self.answered = found, next(_marks)

    def _heard(self, so_far: SoFar) -> None:
        self.so_far = so_far


class Jobs(beside.Jobs[Job]):
    """All scenarios being answered or answered.

    First answers have a thread of their own, so that none waits for another's last runs.
    """

    def __init__(self) -> None:
        super().__init__()
        self._first = ThreadPoolExecutor(1, thread_name_prefix="what-if-first")
        self._rest = ThreadPoolExecutor(1, thread_name_prefix="what-if")

    def of(self, name: Hashable, model: ShopModel, scenario: Scenario, currency: str) -> Job:
        """The answering of a scenario, by a name of its content; begun if nobody asked before."""

        def begun(left: Job | None) -> Job:
            job = Job(model, scenario, currency, left.answered if left else None)
            self._first.submit(job.begin).add_done_callback(lambda _: self._rest.submit(job.go_on))
            return job

        return self._kept(
            name, lambda job: job.over.is_set() and job.left and not job.stopped, begun
        )


@st.cache_resource(show_spinner=False)
def jobs() -> Jobs:
    """The scenarios of this server."""
    return Jobs()
