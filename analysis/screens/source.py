"""Which workshop is on screen: the maker's own store, or the demo bindery until there is one.

The demo is a store like any other, made from data_samples/ in the cache folder, so that every
screen, correction and undo can be tried on it without touching one's own records.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from analysis.store.glance import Unopened, default_url

if TYPE_CHECKING:
    from analysis.store.kept import Kept
    from analysis.store.store import Store  # slow to import, and only named here
    from analysis.study.putting_right import PuttingRight
    from analysis.study.summary import Study
    from analysis.study.this_week import WeekFigures

SAMPLES = Path(__file__).parents[2] / "data_samples"
OWN, DEMO = "My workshop", "Demo bindery"
LINKS = {"mine": OWN, "demo": DEMO}  # what ?workshop= may say in an address


@dataclass(frozen=True)
class Source:
    """The store on screen, opened once more than a glance is asked of it; is it the demo's?"""

    store: Unopened
    is_demo: bool
    at: int | None = None  # a version to keep to; None: as the store is now

    @property
    def key(self) -> tuple[str, int]:
        """What the cached figures hang on: they are made anew when the store has changed."""
        return self.store.url, self.store.version() if self.at is None else self.at

    @property
    def whose(self) -> str:
        """For the keys of widgets: Streamlit sends them to the browser, and the address of a store
        on a server holds its password."""
        return "demo" if self.is_demo else "own"


def current() -> Source:
    """The store chosen in the sidebar; the demo while one's own store has no lap."""
    if chosen() == DEMO:
        return Source(_demo_store(cache_folder()), is_demo=True)
    return Source(own_store(), is_demo=False)


def own_store() -> Unopened:
    """The maker's own store, whichever one is on screen."""
    return _own_store(default_url())


def choose() -> None:
    """The choice of workshop, for the sidebar.

    The choice stands under a key of its own: Streamlit forgets a widget's value when a run ends
    before the widget is drawn, as when somebody clicks while a page still loads.
    """
    st.session_state["workshop_radio"] = chosen()
    st.radio("Whose workshop", [DEMO, OWN], key="workshop_radio", on_change=_choose)


def _choose() -> None:
    st.session_state["workshop"] = st.session_state["workshop_radio"]


def heed_link() -> None:
    """Take the address's word for the workshop, before any link is drawn: a click drops it."""
    linked = LINKS.get(st.query_params.get("workshop", ""))
    if linked and "workshop" not in st.session_state:
        st.session_state["workshop"] = linked


def chosen() -> str:
    """The choice so far; before there is one, one's own workshop if it has laps."""
    if "workshop" not in st.session_state:
        st.session_state["workshop"] = OWN if own_store().lap_count() else DEMO
    return st.session_state["workshop"]


def show_own() -> None:
    """Turn to one's own workshop at the next run, as after an import."""
    st.session_state["workshop"] = OWN


def figures(source: Source) -> Study:
    """The study of everything in the store, kept until the store changes."""
    return _figures(*source.key, source.store)


@st.cache_resource(show_spinner=False, max_entries=4)
def _figures(url: str, version: int, _store: Unopened) -> Study:
    kept = _kept(url, version, _store)
    found = kept.get("figures")
    if found is None:
        found = _worked_out(_store)
        if version == _store.version():  # while laps come in, no file would be read again
            kept.put("figures", found)
    _standing()[url] = max(version, _standing().get(url, version))
    return found


def standing(url: str) -> int | None:
    """The newest version of a store whose study is there; None where none was worked out yet."""
    return _standing().get(url)


@st.cache_resource(show_spinner=False)
def _standing() -> dict[str, int]:
    return {}


def _worked_out(store: Unopened) -> Study:
    from analysis.study.summary import study

    # The study takes the stock book as plain movements of pieces, whatever the store calls them.
    movements = store.stock_events().rename(columns={"at": "moved_at", "units": "pieces"})
    return study(store.laps(), store.routing(), store.shop(), movements=movements)


def kept(source: Source) -> Kept:
    """What was worked out of the store at an earlier start, while the store is still the same."""
    return _kept(*source.key, source.store)


@st.cache_resource(show_spinner=False, max_entries=4)
def _kept(url: str, version: int, _store: Unopened) -> Kept:
    from analysis.store.kept import Kept

    return Kept(cache_folder(), _store)


def fault_figures(source: Source) -> PuttingRight:
    """What Putting right reads out of the study, kept as long as the study."""
    return _fault_figures(*source.key, figures(source))


# Each holds its study: that before a change, that after it, and the demo's.
@st.cache_resource(show_spinner=False, max_entries=3)
def _fault_figures(url: str, version: int, _study: Study) -> PuttingRight:
    import numpy as np

    from analysis.study.putting_right import putting_right

    # The same laps give the same figures to the last digit.
    return putting_right(_study, np.random.default_rng(0))


def week_figures(source: Source) -> WeekFigures:
    """What the first screen reads out of the study, kept as long as the study."""
    return _week_figures(*source.key, figures(source))


@st.cache_resource(show_spinner=False, max_entries=4)
def _week_figures(url: str, version: int, _study: Study) -> WeekFigures:
    from analysis.study.this_week import week_figures

    return week_figures(_study)


def make_figures(source: Source) -> None:
    """What takes longest of what the screens show first of the study, made beforehand."""
    week_figures(source)
    _ = fault_figures(source).cost


@cache
def _own_store(url: str) -> Unopened:
    def open_it() -> Store:
        from analysis.store.store import open_store

        return open_store(url)

    return Unopened(url, open_it)


@st.cache_resource(show_spinner="Setting out the demo bindery …")
def _demo_store(folder: Path) -> Unopened:
    from analysis.store.demo import open_demo

    return open_demo(SAMPLES, folder)


def cache_folder() -> Path:
    """Where the demo stands, and what can be made again."""
    if named := os.environ.get("WORKSHOP_DEMO_FOLDER"):
        return Path(named)
    import platformdirs  # only where no other place is named

    return platformdirs.user_cache_path("workshop-time-study")
