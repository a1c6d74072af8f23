"""After a change the figures of a large store stand at once, first the last ones, then the new."""

import threading
import time
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from streamlit.testing.v1 import AppTest

from analysis.bench.next_task import NextTask
from analysis.screens import order_now, source, up_to_date
from tests.screens.driving import said, turn_to

FOLLOW = "These figures are from before; the new ones follow."


@pytest.fixture
def large(three_laps, monkeypatch):
    """A store of a few laps that counts as one too large to wait for."""
    monkeypatch.setattr(up_to_date, "MOST_WAITED_FOR", 0)
    return three_laps


def _corrected(store, pieces: int) -> None:
    store.correct_lap(store.laps().iloc[-1].lap_id, {"units": str(pieces)})


def _followed() -> None:
    up_to_date.following(source.current().store.url).wait()


@pytest.mark.parametrize(
    "name",
    [
        "this_week",
        *(pytest.param(n, marks=pytest.mark.slow) for n in ("getting_faster", "piece_cost")),
    ],
)
def test_a_screen_of_a_large_store_says_that_newer_figures_are_on_their_way(show, large, name):
    assert FOLLOW not in said(show(name))
    _corrected(large, 11)
    assert FOLLOW in said(show(name))
    _followed()
    assert FOLLOW not in said(show(name))


def test_a_large_store_shows_its_last_figures_until_those_after_a_correction_stand(show, large):
    assert "3 good pieces" in said(show("this_week"))
    _corrected(large, 11)
    assert "3 good pieces" in said(show("this_week"))
    _followed()
    assert "13 good pieces" in said(show("this_week"))


def test_new_figures_are_shown_once_all_that_takes_long_of_them_is_made(show, large, monkeypatch):
    go_on, fault_figures = threading.Event(), source.fault_figures

    def waits(here):
        go_on.wait(30)
        return fault_figures(here)

    show("this_week")
    _corrected(large, 11)
    monkeypatch.setattr(source, "fault_figures", waits)
    assert FOLLOW in said(show("this_week"))
    for _ in range(3000):  # the study stands before the rest
        if source.standing(large.url) == large.version():
            break
        time.sleep(0.01)
    assert source.standing(large.url) == large.version()
    assert FOLLOW in said(show("this_week"))
    go_on.set()
    _followed()
    assert "13 good pieces" in said(show("this_week"))


def test_the_next_tasks_are_planned_beside_the_new_figures(show, large, monkeypatch):
    planned, tasks = [], NextTask.tasks

    def counted(self, moment, worker=""):
        planned.append(self.store.version())
        return tasks(self, moment, worker)

    monkeypatch.setattr(NextTask, "tasks", counted)
    monkeypatch.setattr(order_now, "_slot", lambda now: now.replace(2026, 1, 1, 0, 0, 0, 0))
    show("this_week")
    _corrected(large, 11)
    show("this_week")
    _followed()
    assert planned == [large.version()]
    order_now.tasks(replace(source.current(), at=large.version()), datetime.now(UTC))
    assert len(planned) == 1


def test_a_page_with_answers_of_its_own_is_drawn_again_when_asked(large):
    """What if and the like would begin their simulated weeks anew under the reader's eyes."""

    def page():
        from dataclasses import replace

        import streamlit as st

        from analysis.screens import source, up_to_date

        st.session_state["drawings"] = st.session_state.get("drawings", 0) + 1
        st.session_state["follow_looks"] = 1
        st.session_state[up_to_date.HANDS_OFF] = True
        here = source.current()
        up_to_date._say_they_follow(here, replace(here, at=-1))

    drawn = AppTest.from_function(page).run()
    assert not drawn.exception and drawn.session_state["drawings"] == 1
    (button,) = drawn.button
    assert button.label == "The figures after the change stand. Show them"
    button.click().run()
    assert drawn.session_state["drawings"] == 3  # the click's own, and the one it asks for


def test_an_order_of_work_is_planned_on_the_last_figures_until_the_new_ones_stand(show, large):
    large.save_routing("product,operation,after,seconds\nbox,glue,,60\n")
    show("this_week")
    _corrected(large, 11)
    assert FOLLOW in said(show("order_of_work"))
    _followed()
    assert FOLLOW not in said(show("order_of_work"))


@pytest.mark.parametrize(("name", "part"), [("shop", "Products"), ("laps", "Set aside")])
def test_records_of_a_large_store_are_shown_without_waiting_for_new_figures(
    show, large, monkeypatch, name, part
):
    show("this_week")
    monkeypatch.setattr(up_to_date.Following, "_add_up", lambda *_: None)  # never done
    _corrected(large, 11)
    turn_to(show(name), part)
    assert source.standing(large.url) < large.version()


def test_a_large_store_that_is_opened_for_the_first_time_is_waited_for(show, large):
    after = said(show("this_week"))
    assert "3 good pieces" in after and FOLLOW not in after


def test_of_corrections_that_come_faster_than_figures_the_last_one_shows_in_the_end(
    show, large, monkeypatch
):
    monkeypatch.setattr(up_to_date, "REST_AFTER_ADDING_UP", 0)
    show("this_week")
    for pieces in (5, 7, 11):
        _corrected(large, pieces)
        show("this_week")
    _followed()
    show("this_week")  # asks for the newest, where an earlier one had been begun
    _followed()
    assert "13 good pieces" in said(show("this_week"))


def test_while_records_are_being_followed_no_old_answer_is_kept_for_the_next_start(show, large):
    import streamlit as st

    show("this_week")
    _corrected(large, 11)
    show("this_week")
    _followed()
    st.cache_resource.clear()  # as a start does
    assert "13 good pieces" in said(show("this_week"))


def test_a_study_that_fails_is_no_note_for_ever_but_a_fault_that_is_told(show, large, monkeypatch):
    def fails(_):
        raise MemoryError("no room for the study")

    show("this_week")
    _corrected(large, 11)
    monkeypatch.setattr(source, "_worked_out", fails)
    show("this_week")
    _followed()
    _corrected(large, 12)  # laps come in meanwhile
    with pytest.raises(AssertionError, match="no room for the study"):
        show("this_week")


def test_a_store_put_back_to_an_earlier_day_is_not_shown_as_it_was_later(large):
    follow, here = up_to_date.Following(), source.current()
    source.figures(here)
    later = here.key[1] + 5
    source._standing()[here.store.url] = later
    assert follow.shown(here).key == here.key
