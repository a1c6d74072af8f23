"""The figures of a large store follow its changes beside the page, which shows the last meanwhile.

A study of half a million laps takes a quarter of a minute. Whoever opens a screen after a change is
not kept waiting so long: the figures before the change stand there at once, said to be so, until
the new ones do.
"""

from __future__ import annotations

import logging
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime

import streamlit as st

from analysis.screens import order_now, source
from analysis.screens.source import Source

MOST_WAITED_FOR = 50_000  # laps; the figures of so many stand within about two seconds
REST_AFTER_ADDING_UP = 1  # adding up takes at most half the time, however fast laps come in
LOOK_EVERY_SECONDS = 1.0
HANDS_OFF = "live_hands_off"  # in the session: the page is one that is not drawn again by itself
_log = logging.getLogger(__name__)


class Following:
    """The newest figures there are of one store, and the work on those after its last change."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._work: threading.Thread | None = None
        self._meanwhile = 0  # the version that is shown while the work goes on
        self._failed_at = -1  # a version: the page then works it out itself, and says what is wrong
        self._rest_until = 0.0

    def shown(self, here: Source) -> Source:
        """The store as it was at the version whose figures are to be shown now."""
        url, newest = here.key
        is_small = here.store.lap_count() <= MOST_WAITED_FOR
        with self._lock:
            working = self._work is not None and self._work.is_alive()
            stands = self._meanwhile if working else source.standing(url)
            if is_small or stands is None or stands >= newest or self._failed_at > stands:
                return replace(here, at=newest)
            if not working and time.monotonic() >= self._rest_until:
                self._meanwhile = stands
                self._work = threading.Thread(target=self._add_up, args=(here, newest), daemon=True)
                self._work.start()
        return replace(here, at=stands)

    def _add_up(self, here: Source, version: int) -> None:
        began = time.monotonic()
        try:
            there = replace(here, at=version)
            source.make_figures(there)
            order_now.tasks(there, datetime.now(UTC))  # what takes longest there beside them
        except Exception:  # whatever it is, the page meets it too
            _log.exception("the figures of version %s could not be made", version)
            self._failed_at = version
        ended = time.monotonic()
        self._rest_until = ended + REST_AFTER_ADDING_UP * (ended - began)

    def wait(self) -> None:
        """Until the work that goes on is over."""
        if self._work is not None:
            self._work.join()


@st.cache_resource(show_spinner=False)
def following(url: str) -> Following:
    """That of the store at this address."""
    return Following()


def shown(here: Source) -> Source:
    """The store as it was at the newest version whose figures are there, or are waited for; where
    later ones are on their way, the page says so, and is drawn again when they are there."""
    found = following(here.store.url).shown(here)
    if found.key != here.key:
        st.session_state["follow_looks"] = 0
        _say_they_follow(here, found)
    return found


@st.fragment(run_every=LOOK_EVERY_SECONDS)
def _say_they_follow(here: Source, drawn: Source) -> None:
    st.session_state["follow_looks"] += 1
    begun = st.session_state["follow_looks"] == 1  # the rest of the page is still being drawn
    stand = not begun and following(here.store.url).shown(here).key != drawn.key
    if not stand:
        st.caption("The records have changed. These figures are from before; the new ones follow.")
    elif not st.session_state.get(HANDS_OFF) or st.button(
        "The figures after the change stand. Show them", icon=":material/refresh:"
    ):
        st.rerun()
