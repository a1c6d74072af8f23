"""The frame around every screen: its name, the list of screens, and whose workshop is shown."""

import importlib
from collections.abc import Callable
from subprocess import Popen

import streamlit as st

from analysis.problems import Problem
from analysis.screens import live, parts, source, words
from analysis.screens.style import STYLE

# (group, module, title, path): a screen is named by what it shows, and loaded when opened,
# so that the first page does not wait for the others.
SCREENS = (
    ("Look", "this_week", "This week", "first"),
    ("Look", "batch_minutes", "A batch's minutes", "batch-minutes"),
    ("Look", "getting_faster", "Getting faster", "getting-faster"),
    ("Look", "keeping_pace", "Keeping pace", "keeping-pace"),
    ("Look", "putting_right", "Putting right", "putting-right"),
    ("Look", "piece_cost", "What a piece costs", "piece-cost"),
    ("Plan", "order_of_work", "Order of work", "order-of-work"),
    ("Plan", "what_if", "What if", "what-if"),
    ("Records", "laps", "Laps", "laps"),
    ("Records", "shop", "Shop", "shop"),
)

FIRST = "this-week"


def show() -> None:
    """Draw the frame and the screen asked for; say in plain words what stands in its way."""
    # The icon is app.py's: one named here would load the list of all emoji at every start.
    st.set_page_config(page_title="Workshop time study", layout="wide")
    source.heed_link()
    st.html(STYLE)
    page = st.navigation(_pages())
    try:
        with st.sidebar:
            source.choose()
            parts.start_timing("sidebar")
        live.draw(page)
    except Problem as problem:
        _tell(problem)
    _ready_for_what_if()


@st.cache_resource(show_spinner=False)
def _ready_for_what_if() -> Popen | None:
    """Once a server, after its first page is drawn: where simulated weeks have not been compiled on
    this machine yet, another process does so, before somebody asks What if."""
    from analysis.decisions import warm

    return warm.begin()


def _tell(problem: Problem) -> None:
    """What stands in a screen's way; where the store is damaged, that and the way back instead."""
    from analysis.screens import backups  # with the database toolkit, which few starts need

    told = st.empty()
    told.error(words.plain(str(problem)))  # at once: looking for damage may take a while
    if backups.offer_where_damaged():
        told.empty()


def _pages() -> dict[str, list]:
    """The screens by group, the first of them the one a newcomer sees.

    Streamlit answers for that one at `/` alone; `/this-week` leads there by a hidden page.
    """
    groups: dict[str, list] = {}
    for group, module, title, path in SCREENS:
        page = st.Page(_opener(module), title=title, url_path=path, default=module == "this_week")
        groups.setdefault(group, []).append(page)
    pages = {page.url_path or FIRST: page for page in _flat(groups)}
    st.session_state["pages"] = pages
    named = st.Page(
        lambda: st.switch_page(pages[FIRST]), title="This week", url_path=FIRST, visibility="hidden"
    )
    return {**groups, "": [named]}


def _flat(groups: dict[str, list]) -> list:
    return [page for pages in groups.values() for page in pages]


def _opener(module: str) -> Callable[[], None]:
    """A function that loads a screen's file and shows it."""

    def open_screen() -> None:
        importlib.import_module(f"analysis.screens.{module}").show()

    return open_screen
