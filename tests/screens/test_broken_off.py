"""A tap while a page is still drawn: it is broken off, and the next begins beside what is left of
it. Nothing is saved twice then, and nothing that was saved goes untold."""

import threading

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from analysis.records.shop import read_shop
from analysis.screens import saves, source
from analysis.screens.source import DEMO, OWN
from analysis.store.store import open_store
from tests.screens.driving import NEEDED_ONLY, said, turn_to
from tests.screens.test_what_if import press

A_PAGE = """
import streamlit as st
from analysis.screens import live, parts, saves, source

class Page:
    url_path = "laps"

    def run(self):
        st.session_state["events"].append("drawn")
        saves.saved_line(source.own_store())
        parts.import_line()
        if st.session_state["cut short"]:
            st.stop()

live.draw(Page())
"""


@pytest.fixture
def page(own_store):
    """A page within the frame; it is broken off half drawn where "cut short" says so."""
    screen = AppTest.from_string(A_PAGE, default_timeout=60)
    screen.session_state["workshop"] = OWN
    screen.session_state["events"], screen.session_state["cut short"] = [], False
    return screen


def note(screen, text, change):
    """As a page left it that was broken off since."""
    screen.session_state["notes"] = saves.Notes(unread={"saved": (text, change)})


def test_what_was_saved_is_told_until_a_page_that_tells_it_has_stood(page, monkeypatch):
    monkeypatch.setattr(saves, "READ_AFTER_SECONDS", 0.0)
    note(page, "Saved: costs.", (source.own_store(), 7))
    page.session_state["cut short"] = True
    assert "Saved: costs." in said(page.run())
    page.session_state["cut short"] = False
    assert "Saved: costs." in said(page.run())
    assert [button.label for button in page.button] == ["Undo that"]
    assert "Saved: costs." not in said(page.run())


def test_what_stood_for_a_moment_is_told_again(page, monkeypatch):
    monkeypatch.setattr(saves, "READ_AFTER_SECONDS", 600.0)
    note(page, "Saved: costs.", (source.own_store(), 7))
    page.run()
    assert "Saved: costs." in said(page.run())


def test_the_undo_of_one_workshop_is_not_offered_in_the_other():
    script = (
        "from analysis.screens import saves, source\nsaves.saved_line(source.current().store)\n"
    )
    screen = AppTest.from_string(script, default_timeout=60)
    note(screen, "Saved: costs.", (source.own_store(), 7))
    screen.session_state["workshop"] = DEMO
    assert not screen.run().button
    screen.session_state["workshop"] = OWN
    assert screen.run().button[0].label == "Undo that"


def test_a_page_waits_for_what_the_one_before_it_still_saves(page):
    events, begun, notes = page.session_state["events"], threading.Event(), saves.Notes()
    page.session_state["notes"] = notes

    def save():
        with notes.saves:
            begun.set()
            begun.clear()
            begun.wait(0.5)  # as long as a slow disk takes
            events.append("saved")

    before = threading.Thread(target=save)
    before.start()
    begun.wait(1)
    page.run()
    before.join()
    assert events == ["saved", "drawn"]


def test_a_page_broken_off_while_it_saves_still_leaves_word_of_it(page, monkeypatch):
    """Streamlit lets such a page no longer reach the state of its session."""
    with monkeypatch.context() as patched:
        patched.setattr(st, "session_state", {"notes": (notes := saves.Notes())})
        with saves.saving():
            patched.delattr(st, "session_state")
            patched.setattr(st, "rerun", lambda: None)
            saves.note_saved("Saved: costs.")
    page.session_state["notes"] = notes
    assert "Saved: costs." in said(page.run())


def test_a_second_tap_that_finds_nothing_different_leaves_the_firsts_word_and_undo(
    show, needed_only
):
    screen = turn_to(show("shop", OWN), "Costs")
    press(screen, "Save costs")
    press(screen, "Save costs")  # before a page that told it has stood
    assert "Saved: costs." in said(screen) and "Nothing to save" not in said(screen)
    assert "Undo that" in [button.label for button in screen.button]


def test_a_second_tap_on_the_form_of_the_shelf_is_asked_for_no_pieces(show, needed_only):
    needed_only.save_shop(read_shop(b'[products."card box"]\nprice = 9\n', "shop.toml"), "shop")
    screen = turn_to(show("shop", OWN), "Shelf")
    assert "Say how many pieces." in press(screen, "Note it")
    note(screen, "Noted: sold, 3 card box.", None)
    assert "Say how many pieces." not in press(screen, "Note it")


def test_a_file_taken_in_by_a_page_that_is_then_broken_off_is_told_and_not_read_again(
    show, own_store, monkeypatch
):
    screen = turn_to(show("laps", OWN), "Take in")

    class Bar:  # a tap comes as the last that the import draws goes away
        def progress(self, *_):
            """Moves on."""

        def empty(self):
            st.stop()

    monkeypatch.setattr(st, "progress", lambda *_: Bar())
    screen.file_uploader[0].upload("first.csv", NEEDED_ONLY.encode(), "text/csv").run()
    assert open_store(own_store).lap_count() == len(NEEDED_ONLY.splitlines()) - 1
    assert "24 new laps, 0 already there" in said(screen.run())
    assert not screen.file_uploader[0].value
