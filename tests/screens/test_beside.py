"""Work beside the page makes way for a page being made, and gets on all the same."""

import threading
from collections.abc import Callable

import pytest

from analysis.screens import beside

A_WHILE_SECONDS = 0.2  # in which work that makes no way would long have gone on


@pytest.fixture
def begun():
    """Call with a list: a thread whose work asks once whether to go on, and then joins the list."""
    threads: list[threading.Thread] = []

    def begin(done: list[str], job: beside.Job) -> threading.Thread:
        def work() -> None:
            done.append("stopped" if job._stop() else "work")

        threads.append(threading.Thread(target=work))
        threads[-1].start()
        return threads[-1]

    yield begin
    for thread in threads:
        thread.join()


def test_work_waits_until_every_page_is_made(begun: Callable, monkeypatch):
    monkeypatch.setattr(beside, "MOST_WAY_SECONDS", 60)
    done: list[str] = []
    with beside.page_first():
        with beside.page_first():
            thread = begun(done, beside.Job())
        thread.join(A_WHILE_SECONDS)
        done.append("page")
    thread.join()
    assert done == ["page", "work"]


def test_a_page_that_could_not_be_made_holds_nothing_up(begun: Callable, monkeypatch):
    monkeypatch.setattr(beside, "MOST_WAY_SECONDS", 60)
    with pytest.raises(ZeroDivisionError), beside.page_first():
        raise ZeroDivisionError
    done: list[str] = []
    begun(done, beside.Job()).join(A_WHILE_SECONDS * 50)
    assert done == ["work"]


def test_work_gets_on_where_pages_never_end(begun: Callable, monkeypatch):
    monkeypatch.setattr(beside, "MOST_WAY_SECONDS", 0.01)
    done: list[str] = []
    with beside.page_first():
        begun(done, beside.Job()).join()
    assert done == ["work"]


def test_work_stopped_while_it_makes_way_ends(begun: Callable):
    job, done = beside.Job(), []
    with beside.page_first():
        thread = begun(done, job)
        job.stop()
    thread.join()
    assert done == ["stopped"]
