"""New laps reach an open dashboard by themselves: a small part of the page looks every second.

It asks only for the store's version, one look-up by index. When that has grown, the page is drawn
again, at once where that is quick; where the figures take long it says so and waits, so that a
bench in full swing does not keep the computer adding up and nothing else. On screens where
someone may be typing or has a row chosen it says what has come and leaves the drawing to them.
"""

from __future__ import annotations

import gc
import time
from typing import TYPE_CHECKING

import streamlit as st

from analysis.screens import saves, source, up_to_date

if TYPE_CHECKING:
    from streamlit.navigation.page import StreamlitPage

LOOK_EVERY_SECONDS = 1.0
REST_AFTER_DRAWING = 4  # drawing takes at most a fifth of the time
HANDS_OFF = frozenset({"laps", "shop", "order-of-work", "what-if"})


def draw(page: StreamlitPage) -> None:
    """Draw a page, and draw it again when the store on screen has changed."""
    saves.page_begins()
    here = source.current()
    st.session_state["live_seen"] = _shown(here, page.url_path)
    st.session_state[up_to_date.HANDS_OFF] = page.url_path in HANDS_OFF
    began = time.monotonic()
    page.run()
    saves.page_stands()
    ended = time.monotonic()
    st.session_state["live_rest_until"] = ended + REST_AFTER_DRAWING * (ended - began)
    st.session_state["live_looks"] = 0
    _look(here, page.url_path)


def _shown(here: source.Source, path: str) -> tuple[str, int]:
    """The store and the version that a page shows: of a large one, that of its last figures."""
    return here.key if path in HANDS_OFF else up_to_date.following(here.store.url).shown(here).key


@st.cache_resource(show_spinner=False)
def _settle(path: str) -> None:
    """Take what a page has loaded out of the garbage collector's rounds, once a page.

    Streamlit collects all garbage after every run, also after each small look. Going through the
    thousands of objects of the loaded libraries took most of a look's time. It is done at the
    first quiet look, when the page is there.
    """
    gc.collect()
    gc.freeze()


@st.fragment(run_every=LOOK_EVERY_SECONDS)
def _look(here: source.Source, path: str) -> None:
    st.session_state["live_looks"] += 1
    if st.session_state["live_looks"] == 2:
        _settle(path)
    if here.is_demo:
        _say_own_has_laps()
    else:  # whoever looks at their own sees its laps come in
        st.session_state.pop("live_own_laps", None)
    if _shown(here, path) == st.session_state["live_seen"]:
        return
    if path in HANDS_OFF:
        if st.button("The records have changed. Show them", icon=":material/refresh:"):
            st.rerun()
        return
    rest = st.session_state["live_rest_until"] - time.monotonic()
    if rest <= 0:
        st.rerun()
    st.caption(f"New laps have come in; the figures follow in {max(1, round(rest))} s.")


def _say_own_has_laps() -> None:
    """While the demo is on screen: laps from the bench go to one's own workshop."""
    began_with = st.session_state.setdefault("live_own_laps", source.own_store().lap_count())
    if source.own_store().lap_count() == began_with:
        return
    st.info("Laps have come in from the bench. They are in your own workshop, not in the demo.")
    if st.button("Show my workshop"):
        source.show_own()
        st.rerun()
