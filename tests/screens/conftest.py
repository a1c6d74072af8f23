"""One screen run as Streamlit runs it, on the demo, an empty store, or laps put in by the test."""

import pytest
from streamlit.testing.v1 import AppTest

from analysis.records.laps import read_laps
from analysis.store.store import open_store
from tests.screens.driving import NEEDED_ONLY


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory):
    """Where the demo is made once for all tests of a run; no test may change it."""
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(autouse=True)
def one_demo(demo_folder, own_store, monkeypatch):
    monkeypatch.setenv("WORKSHOP_DEMO_FOLDER", str(demo_folder))


@pytest.fixture
def show():
    """Run one screen by its file's name, for `whose` workshop (None: as a newcomer finds it)."""

    def run(name: str, whose: str | None = None) -> AppTest:
        script = f"from analysis.screens import {name}\n{name}.show()\n"
        screen = AppTest.from_string(script, default_timeout=120)
        if whose:
            screen.session_state["workshop"] = whose
        screen.run()
        assert not screen.exception, screen.exception[0].message
        return screen

    return run


@pytest.fixture
def needed_only(own_store):
    """One's own store with laps that say only what they must."""
    store = open_store(own_store)
    store.import_laps(read_laps(NEEDED_ONLY.encode(), name="first.csv"))
    return store
