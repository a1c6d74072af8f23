"""One screen run as Streamlit runs it, on the demo, an empty store, or laps put in by the test."""

import shutil
from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import AppTest

from analysis.decisions import break_even, tornado
from analysis.records.laps import read_laps
from analysis.screens import planning, what_if_jobs
from analysis.store.store import open_store
from tests.screens.driving import NEEDED_ONLY, end_what_is_beside_the_page


@pytest.fixture(scope="session", autouse=True)
def packages_read_once():
    """Each AppTest reads what every installed package says of itself, as a server does once."""
    with pytest.MonkeyPatch.context() as patch:
        once = cache(manifest_scanner.scan_component_manifests)
        patch.setattr(manifest_scanner, "scan_component_manifests", once)
        yield


@pytest.fixture(scope="session")
def demo_folder(shared_folder):
    """Where the demo is made once for all tests of a run; no test may change it."""
    return shared_folder("demo of the screens")


@pytest.fixture(autouse=True)
def one_demo(demo_folder, own_store, monkeypatch):
    monkeypatch.setenv("WORKSHOP_DEMO_FOLDER", str(demo_folder))


@pytest.fixture(autouse=True)
def briefly(one_demo, monkeypatch):
    """Few runs and short searches beside the page, which end with the test as with a page that is
    left: what is done stands, and whoever asks again goes on from there."""
    for name, runs in (("FIRST_RUNS", 4), ("MORE_RUNS", 5), ("ALL_RUNS", 6)):
        monkeypatch.setattr(what_if_jobs, name, runs)
    for name, effort in (("FIRST_EFFORT", 0.1), ("FULL_EFFORT", 0.2), ("WHY_EFFORT", 0.05)):
        monkeypatch.setattr(planning, name, effort)
    monkeypatch.setattr(tornado, "MOST_AGAIN", 1)
    for name, values in (("UPWARD", (4.0,)), ("DOWNWARD", (0.05,)), ("STEPS", 1)):
        monkeypatch.setattr(break_even, name, values)
    yield
    end_what_is_beside_the_page()


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


@pytest.fixture(scope="session")
def first_store(tmp_path_factory):
    """The store that `first_file` shows and `needed_only` is a copy of."""
    store = open_store(f"sqlite:///{tmp_path_factory.mktemp('first') / 'workshop.sqlite'}")
    store.import_laps(read_laps(NEEDED_ONLY.encode(), name="first.csv"))
    store.close()  # so that all of it is in the file
    return store.url


@pytest.fixture
def first_file(first_store, own_store, monkeypatch):
    """Laps that say only what they must, in one store for all tests that only look at it: what is
    worked out of it is worked out once. A test that changes its records fails; what the store only
    remembers (drafts, names apart) is not looked at."""
    store = open_store(first_store)
    version = store.version()
    monkeypatch.setenv("WORKSHOP_STORE", first_store)
    yield store
    assert store.version() == version, "use needed_only"


@pytest.fixture
def needed_only(first_store, own_store):
    """One's own store with laps that say only what they must."""
    place = "sqlite:///"
    shutil.copy(first_store.removeprefix(place), own_store.removeprefix(place))
    return open_store(own_store)


@pytest.fixture
def three_laps(own_store):
    """One's own store with three laps of one operation: soon worked out anew after a change."""
    store = open_store(own_store)
    header, *rows = NEEDED_ONLY.splitlines(keepends=True)
    laps = header + "".join([row for row in rows if "fold" in row][-3:])
    store.import_laps(read_laps(laps.encode(), name="first.csv"))
    return store
