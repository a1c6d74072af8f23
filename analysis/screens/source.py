"""Which workshop is on screen: the maker's own store, or the demo bindery until there is one.

The demo is a store like any other, made from data_samples/ in the cache folder, so that every
screen, correction and undo can be tried on it without touching one's own records.
"""

import os
from dataclasses import dataclass
from pathlib import Path

import streamlit as st

SAMPLES = Path(__file__).parents[2] / "data_samples"
OWN, DEMO = "My workshop", "Demo bindery"


@dataclass(frozen=True)
class Source:
    """The store on screen, and whether it is the demo's."""

    store: object
    is_demo: bool

    @property
    def key(self) -> tuple[str, int]:
        """What the cached figures hang on: they are made anew when the store has changed."""
        return self.store.url, self.store.version()


def current() -> Source:
    """The store chosen in the sidebar; the demo while one's own store has no lap."""
    own = _own_store()
    if chosen() == DEMO:
        return Source(_demo_store(), is_demo=True)
    return Source(own, is_demo=False)


def chosen() -> str:
    """The sidebar's choice; before one is made, one's own workshop if it has laps."""
    if "workshop" not in st.session_state:
        st.session_state["workshop"] = OWN if _own_store().lap_count() else DEMO
    return st.session_state["workshop"]


def show_own() -> None:
    """Turn to one's own workshop, as after an import."""
    st.session_state["workshop"] = OWN


def figures(source: Source):
    """The study of everything in the store, kept until the store changes."""
    return _figures(*source.key, source.store)


@st.cache_resource(show_spinner="Adding up the laps …", max_entries=4)
def _figures(url: str, version: int, _store):
    from analysis.study.summary import study

    return study(_store.laps(), _store.routing(), _store.shop())


@st.cache_resource(show_spinner="Opening the records …")
def _own_store():
    from analysis.store.store import open_store

    return open_store()


@st.cache_resource(show_spinner="Setting out the demo bindery …")
def _demo_store():
    from analysis.store.demo import open_demo

    return open_demo(SAMPLES, _demo_folder())


def _demo_folder() -> Path:
    import platformdirs

    named = os.environ.get("WORKSHOP_DEMO_FOLDER")
    return Path(named) if named else platformdirs.user_cache_path("workshop-time-study")
