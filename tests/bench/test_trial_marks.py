"""A trial of two ways, from the phone's mark to the comparison: over HTTP, store and study."""

import pandas as pd
import pytest

from analysis.store.store import open_store
from analysis.store.trials import trial_ways
from analysis.study.summary import study
from analysis.study.trial import compare_ways
from tests.bench.serving import lap


@pytest.fixture
def store(server):
    return open_store(f"sqlite:///{server.store}")


def ways_of(store, *laps: dict) -> list[str]:
    ways = trial_ways(store.engine).set_index("lap_id")["way"]
    return [ways.get(one["lap_id"], "") for one in laps]


def test_halves_marked_at_the_bench_are_compared_by_the_study(server, store):
    start = pd.Timestamp("2026-03-02T08:00:00Z")
    sent = [
        lap(operation="tie ribbons", batch="t1", seconds=60 if way == "A" else 40 + number % 3,
            started_at=(start + pd.Timedelta(minutes=number)).isoformat(), flags=[f"trial:{way}"],
            units=1, rework_units=0)
        for number, way in enumerate("AAAAABBBBBAAAAABBBBBAAAAABBBBB")
    ]  # fmt: skip
    server.post_laps(*sent)
    assert ways_of(store, *sent) == list("AAAAABBBBBAAAAABBBBBAAAAABBBBB")
    found = study(store.laps(), store.routing(), store.shop())
    table = compare_ways(found.laps, trial_ways(store.engine))
    row = table.set_index("operation").loc["tie ribbons"]
    assert (row["laps_a"], row["laps_b"], row["runs"]) == (15, 15, 6)
    assert row["verdict"] == "B better"


def test_a_mark_goes_with_its_lap_through_corrections_and_removals(server, store):
    kept, turned, gone, ended = sent = [lap(flags=["trial:A", "mended"]) for _ in range(4)]
    server.post_laps(*sent)
    server.post_laps(
        turned | {"revision": 1, "flags": ["trial:B"]},
        {"lap_id": gone["lap_id"], "revision": 1, "removed": True},
        ended | {"revision": 1, "flags": []},
    )
    assert ways_of(store, kept, turned, gone, ended) == ["A", "B", "", ""]
    store.correct_lap(kept["lap_id"], {"seconds": "77"})
    assert ways_of(store, kept) == ["A"]


def test_without_a_trial_there_is_nothing_to_compare(tmp_path):
    empty = open_store(f"sqlite:///{tmp_path / 'shop.sqlite'}")
    table = trial_ways(empty.engine)
    assert table.empty and list(table.columns) == ["lap_id", "way"]
