"""What a tap saves, and the word of it: nothing twice, and nothing untold.

A tap while a page is still drawn breaks it off, and Streamlit begins the next page at once beside
what is left of the first: a save may be under way there, and what it was to tell is not read yet.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from itertools import count
from typing import TYPE_CHECKING, Any, NoReturn

import streamlit as st

from analysis.problems import Problem
from analysis.screens import words

if TYPE_CHECKING:
    from analysis.store.glance import Unopened

READ_AFTER_SECONDS = 1.0  # taps of an impatient finger are closer together


def once(act: Callable[..., None]) -> Callable[..., None]:
    """An `on_click` of a button that is drawn now: acts on its first tap. A second one that comes
    before the page is drawn anew is the same wish, told again by somebody who waits."""
    taps = count()

    def tap(*args: object) -> None:
        if not next(taps):
            act(*args)

    return tap


@dataclass
class Notes:
    """What a session is still to be told, by its name. A page broken off no longer reaches the
    session's state, but it reaches this object, which it took from there before."""

    saves: Any = field(default_factory=threading.RLock)  # held by whatever changes the records
    unread: dict[str, Any] = field(default_factory=dict)
    on_page: dict[str, Any] = field(default_factory=dict)  # told by the page that is being drawn
    told: dict[str, Any] = field(default_factory=dict)  # by the last page that was drawn whole
    stands_since: float = 0.0
    files: dict[str, int] = field(default_factory=dict)  # taken in, by the place to drop them


_HELD: ContextVar[Notes | None] = ContextVar("notes", default=None)


def notes_of_session() -> Notes:
    """The notes of the session that this page belongs to, also where it is broken off."""
    return _HELD.get() or st.session_state.setdefault("notes", Notes())


@contextmanager
def saving() -> Iterator[None]:
    """Around what changes the records, up to the note of it. The page of the next tap waits for it
    (`page_begins`): it then shows what has become of the records, and does not change them twice.
    """
    notes = notes_of_session()
    with notes.saves:
        held = _HELD.set(notes)
        try:
            yield
        finally:
            _HELD.reset(held)


def page_begins() -> None:
    """Wait for what the page before still saves. What that one told is told again, unless it was
    drawn whole and stood long enough to be read."""
    notes = notes_of_session()
    with notes.saves:
        if time.monotonic() - notes.stands_since >= READ_AFTER_SECONDS:
            for name, said in notes.told.items():
                if notes.unread.get(name) is said:
                    del notes.unread[name]
        notes.on_page = {}


def page_stands() -> None:
    """The page is drawn whole."""
    notes = notes_of_session()
    notes.told, notes.stands_since = notes.on_page, time.monotonic()


def tell(name: str) -> Any:
    """What is to be told once, None where there is nothing."""
    notes = notes_of_session()
    said = notes.unread.get(name)
    if said is not None:
        notes.on_page[name] = said
    return said


def just_saved() -> bool:
    """Whether what was saved is still to be read: then this tap is a second one."""
    return "saved" in notes_of_session().unread


def note_change(store: Unopened, change_id: int | None, saved: str, unchanged: str) -> None:
    """Draw the page anew, saying what a save came to. Where a second tap found nothing different
    since the first had saved it, that one's word stands, with its undo."""
    if change_id is None and just_saved():
        st.rerun()
    if change_id is None:
        note_saved(unchanged)
    note_saved(saved, (store, change_id))


def note_saved(text: str, change: tuple[Unopened, int] | None = None) -> NoReturn:
    """Draw the page anew, saying what was saved, with its undo where something changed."""
    notes_of_session().unread["saved"] = text, change
    st.rerun()


def saved_line(store: Unopened) -> None:
    """What was just saved, shown once, with its undo beside it."""
    text, change = notes_of_session().unread.get("saved", (None, None))
    if text is None or (change and change[0] is not store):
        return  # of the other workshop: a tap has turned to this one meanwhile
    tell("saved")
    with st.container(horizontal=True, vertical_alignment="center"):
        st.success(words.plain(text), width="stretch")
        if change:
            st.button("Undo that", on_click=once(_take_back), args=change)


@saving()
def _take_back(store: Unopened, change_id: int) -> None:
    try:
        store.undo(change_id)
    except Problem as problem:  # somebody changed the same since
        notes_of_session().unread["saved"] = str(problem), None
        return
    notes_of_session().unread["saved"] = "Taken back.", None
