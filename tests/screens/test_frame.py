"""The frame: every screen opens, and the choice of workshop is kept from screen to screen."""

import pytest
from streamlit.testing.v1 import AppTest

from analysis.records.laps import read_laps
from analysis.screens import source
from analysis.screens.frame import SCREENS
from analysis.store.store import open_store
from tests.screens.driving import NEEDED_ONLY, said


@pytest.fixture
def app():
    return AppTest.from_file("../../app.py", default_timeout=120)


def test_the_program_opens_on_this_week_of_the_demo(app):
    app.run()
    assert not app.exception
    assert app.title[0].value == "This week"
    assert app.sidebar.radio(key="workshop_radio").value == source.DEMO


def test_whoever_has_laps_opens_on_their_own_workshop(app, first_file):
    app.run()
    assert app.sidebar.radio(key="workshop_radio").value == source.OWN
    assert "Demo bindery" not in said(app)


def test_choosing_ones_own_empty_workshop_stays_there(app):
    app.run()
    app.sidebar.radio(key="workshop_radio").set_value(source.OWN).run()
    assert "No laps yet" in said(app)
    app.run()
    assert app.sidebar.radio(key="workshop_radio").value == source.OWN


def test_the_choice_outlives_a_run_that_ended_before_the_sidebar_was_drawn(own_store):
    """As when somebody clicks while a page still loads: the run begins anew, half drawn."""
    screen = AppTest.from_string(
        "import streamlit as st\n"
        "from analysis.screens import source\n"
        "if not st.session_state.get('cut short'):\n"
        "    source.choose()\n"
    )
    screen.session_state["workshop"] = source.OWN
    screen.run()
    screen.session_state["cut short"] = True
    screen.run()
    screen.session_state["cut short"] = False
    assert screen.run().radio[0].value == source.OWN


def test_a_link_names_the_workshop_even_if_a_click_cuts_its_page_short(own_store):
    """A click on another screen drops what the address said; by then it must be noted."""
    screen = AppTest.from_string(
        "import streamlit as st\n"
        "from analysis.screens import frame, source\n"
        "def cut_short(pages):\n"
        "    st.stop()\n"
        "if st.query_params:\n"
        "    navigation, st.navigation = st.navigation, cut_short\n"
        "    try:\n"
        "        frame.show()\n"
        "    finally:\n"
        "        st.navigation = navigation\n"
        "source.choose()\n"
    )
    screen.query_params["workshop"] = "mine"
    screen.run()
    screen.query_params.clear()
    assert screen.run().radio[0].value == source.OWN


def test_a_link_can_name_the_workshop(app, first_file):
    app.query_params["workshop"] = "demo"
    app.run()
    assert app.sidebar.radio(key="workshop_radio").value == source.DEMO


@pytest.mark.parametrize("whose", [source.DEMO, source.OWN])
@pytest.mark.parametrize("name", [module for _, module, _, _ in SCREENS])
def test_every_screen_opens_with_the_demo_and_with_nothing(show, name, whose):
    screen = show(name, whose)
    assert screen.title
    assert "nan" not in said(screen).lower().split()


@pytest.mark.parametrize("name", [module for _, module, _, _ in SCREENS])
def test_every_screen_opens_with_a_first_small_file(show, name, first_file):
    assert show(name).title


def test_a_store_that_cannot_be_opened_is_said_in_plain_words(app, tmp_path, monkeypatch):
    (tmp_path / "no.sqlite").write_bytes(b"this is no database, but long enough to look at" * 99)
    monkeypatch.setenv("WORKSHOP_STORE", f"sqlite:///{tmp_path / 'no.sqlite'}")
    app.run()
    assert not app.exception
    [notice] = app.error
    assert "damaged" in notice.value
    assert any("no.sqlite" in said.value for said in app.markdown), "which file to keep"


def test_a_correction_shows_in_the_figures_at_once(show, three_laps):
    before = said(show("this_week"))
    lap = three_laps.laps().iloc[-1]
    three_laps.correct_lap(lap.lap_id, {"units": "11"})
    after = said(show("this_week"))
    assert "3 good pieces" in before and "13 good pieces" in after


def test_another_handle_on_the_same_store_is_seen(show, three_laps):
    show("this_week")
    open_store(three_laps.url).remove_laps([three_laps.laps().lap_id.iloc[-1]])
    assert "2 good pieces" in said(show("this_week"))


def test_laps_put_in_by_hand_are_not_said_to_come_from_the_bench(app, own_store):
    app.session_state["workshop"] = source.DEMO
    app.run()
    app.sidebar.radio(key="workshop_radio").set_value(source.OWN).run()
    open_store(own_store).import_laps(read_laps(NEEDED_ONLY.encode(), name="first.csv"))
    app.run()
    app.sidebar.radio(key="workshop_radio").set_value(source.DEMO).run()
    assert not app.exception and "from the bench. They are" not in said(app)
    open_store(own_store).undo(1)
    assert "from the bench. They are" in said(app.run())  # what changes now is told
