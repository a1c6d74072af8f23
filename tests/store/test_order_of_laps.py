"""Laps of one moment keep the order in which they came: it says which piece was the next one."""

import pytest

from analysis.records.laps import check_laps
from analysis.store.store import open_store

FOUR = [
    {"started_at": "2026-03-02T09:00", "seconds": str(30 + n), "product": "notebook",
     "operation": "sew", "lap_id": f"lap-{'dbca'[n]}"}
    for n in range(4)
]  # fmt: skip


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request, tmp_path):
    server = request.param == "postgresql"
    url = request.getfixturevalue("postgres_url") if server else str(tmp_path / "w.sqlite")
    store = open_store(url)
    store.import_laps(check_laps(FOUR, "laps.csv"))
    yield store
    store.close()


def order(store):
    return store.laps()["lap_id"].tolist()


AS_THEY_CAME = ["lap-d", "lap-b", "lap-c", "lap-a"]


def test_a_lap_that_was_corrected_and_put_back_keeps_its_place(store):
    assert order(store) == AS_THEY_CAME
    store.correct_lap("lap-b", {"seconds": "99"})
    store.correct_lap("lap-d", {"note": "the first one"})
    assert order(store) == AS_THEY_CAME
    removal = store.remove_laps(["lap-c"])
    assert order(store) == ["lap-d", "lap-b", "lap-a"]
    store.undo(removal)
    assert order(store) == AS_THEY_CAME


def test_a_lap_moved_in_time_stands_where_it_was_moved_to(store):
    store.correct_lap("lap-d", {"started_at": "2026-03-02T09:01"})
    assert order(store) == ["lap-b", "lap-c", "lap-a", "lap-d"]


def test_the_page_of_laps_is_the_study_s_order_from_the_newest_on(store):
    store.correct_lap("lap-b", {"seconds": "99"})
    store.correct_lap("lap-d", {"note": "the first one"})
    removal = store.remove_laps(["lap-c"])
    store.undo(removal)
    newest_first = AS_THEY_CAME[::-1]
    assert store.page()[0]["lap_id"].tolist() == newest_first == order(store)[::-1]
    one_by_one = [store.page(place, 1)[0]["lap_id"].item() for place in range(4)]
    assert one_by_one == newest_first
    sewing = store.page(0, 9, {"operation": "sew", "text": "lap-"})
    assert sewing[0]["lap_id"].tolist() == newest_first
