"""A store seen from the door: the two numbers a page of kept answers needs, without opening it."""

import pytest

from analysis.problems import StoreProblem
from analysis.records.laps import read_laps
from analysis.records.shop import Shop
from analysis.store.glance import Unopened, last_change
from analysis.store.store import open_store

LAPS = b"started_at,seconds,product,operation\n2026-11-02T08:00:00Z,300,card box,cut\n"


def never():
    raise AssertionError("a glance was enough")


@pytest.fixture
def store(tmp_path):
    return open_store(str(tmp_path / "a # odd 100% name.sqlite"))


def test_what_a_glance_tells_is_what_the_store_tells(store):
    seen = Unopened(store.url, never)
    assert (seen.version(), seen.lap_count(), seen.last_change()) == (0, 0, ())
    store.import_laps(read_laps(LAPS, name="laps.csv"))
    store.save_shop(Shop(overhead_per_week=10.0))
    assert (seen.version(), seen.lap_count()) == (store.version(), store.lap_count()) == (2, 1)
    latest = store.changes(limit=1)["at"].astype("int64").iloc[0]
    assert seen.last_change() == last_change(store) == (2, latest)


def test_a_path_is_named_as_the_opened_store_names_it(tmp_path):
    path = str(tmp_path / "ü # 100%.sqlite")
    assert Unopened(path, never).url == open_store(path).url


def test_where_nothing_is_stored_yet_nothing_is_made(tmp_path):
    seen = Unopened(str(tmp_path / "new" / "own.sqlite"), never)
    assert (seen.version(), seen.lap_count(), seen.last_change()) == (0, 0, ())
    assert not (tmp_path / "new").exists()


def test_what_a_screen_remembered_is_told_at_a_glance(store, tmp_path):
    seen = Unopened(store.url, never)
    assert seen.remembered("names") == "" == Unopened(str(tmp_path / "no"), never).remembered("x")
    for text in ("['a']", "['b', 'ü']"):
        store.remember("names", text)
        assert seen.remembered("names") == text == store.remembered("names")


def test_a_store_made_after_the_first_glance_is_seen(tmp_path):
    seen = Unopened(str(tmp_path / "own.sqlite"), never)
    assert seen.lap_count() == 0
    open_store(seen.url).import_laps(read_laps(LAPS, name="laps.csv"))
    assert seen.lap_count() == 1


def test_a_damaged_store_says_what_is_wrong_with_it(tmp_path):
    file = tmp_path / "own.sqlite"
    file.write_bytes(b"this is no database, but long enough to look at" * 99)
    with pytest.raises(StoreProblem, match="not a store"):
        Unopened(str(file), lambda: open_store(str(file))).lap_count()


def test_more_than_a_glance_opens_the_store_once(store):
    opened = []
    seen = Unopened(store.url, lambda: opened.append(1) or store)
    assert seen.shop() == store.shop() and seen.names("worker") == []
    assert opened == [1]


def test_another_database_is_opened_at_once(store):
    assert Unopened("postgresql://workshop@server/laps", lambda: store).lap_count() == 0
