"""The frame around every screen: its name, the list of screens, and whose workshop is shown."""

import importlib

import streamlit as st

from analysis.screens import source

# (group, module, title, path): a screen is named by what it shows, and loaded when opened,
# so that the first page does not wait for the others.
SCREENS = (
    ("Look", "this_week", "This week", "this-week"),
    ("Look", "batch_minutes", "A batch's minutes", "batch-minutes"),
    ("Look", "getting_faster", "Getting faster", "getting-faster"),
    ("Look", "keeping_pace", "Keeping pace", "keeping-pace"),
    ("Records", "laps", "Laps", "laps"),
    ("Records", "shop", "Shop", "shop"),
)


def show() -> None:
    """Draw the frame and the screen asked for."""
    st.set_page_config(page_title="Workshop time study", page_icon="⏱", layout="wide")
    groups: dict[str, list] = {}
    for group, module, title, path in SCREENS:
        page = st.Page(_opener(module), title=title, url_path=path, default=module == "this_week")
        groups.setdefault(group, []).append(page)
    page = st.navigation(groups)
    with st.sidebar:
        source.chosen()
        st.radio("Whose workshop", [source.DEMO, source.OWN], key="workshop")
    page.run()


def _opener(module: str):
    """A function that loads a screen's file and shows it."""

    def open_screen() -> None:
        importlib.import_module(f"analysis.screens.{module}").show()

    return open_screen
