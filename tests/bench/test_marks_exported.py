"""What the bench page marked of a lap goes out with it, and comes in again as a note."""

import csv
import io

import pytest

from analysis.problems import BadInput
from analysis.records.export import MARKS
from analysis.records.laps import COLUMNS, read_laps
from analysis.store.store import open_store
from analysis.study.trial import noted_ways
from tests.bench.serving import lap


@pytest.fixture
def store(server):
    store = open_store(f"sqlite:///{server.store}")
    yield store
    store.close()


@pytest.fixture
def fresh(tmp_path):
    fresh = open_store(str(tmp_path / "fresh.sqlite"))
    yield fresh
    fresh.close()


def exported(store) -> bytes:
    file = io.BytesIO()
    store.export_laps(file)
    return file.getvalue()


def rows(file: bytes) -> list[dict]:
    return list(csv.DictReader(io.StringIO(file.decode(), newline="")))


def taken_in(store, file: bytes) -> tuple[int, int]:
    report = store.import_laps(read_laps(file, store.shop()))
    return report.new, report.already_there


def test_what_the_bench_marked_is_in_the_export_and_in_the_note_of_who_takes_it_in(
    server, store, fresh
):
    plain = lap(note="thin glue")
    fixed = lap(note="thin glue", flags=["trial:A", "fixed_here"], units=5, rework_units=1)
    turned = lap(note="", flags=["trial:A"])
    odd = lap(note="", flags=["=1+1"])
    server.post_laps(plain, fixed, turned, odd)
    server.post_laps(turned | {"revision": 1, "flags": ["trial:B"]})
    file = exported(store)
    written = {row["lap_id"]: row for row in rows(file)}
    assert [written[one["lap_id"]][MARKS] for one in (plain, fixed, turned, odd)] == [
        "", "fixed_here, trial:A", "trial:B", "'=1+1"]  # fmt: skip
    assert written[fixed["lap_id"]]["note"] == "thin glue"
    assert taken_in(fresh, file) == (len(written), 0)
    notes = fresh.laps().set_index("lap_id").note
    assert [notes[one["lap_id"]] for one in (plain, fixed, turned, odd)] == [
        "thin glue", "thin glue; marks: fixed_here, trial:A", "marks: trial:B", "marks: =1+1",
    ]  # fmt: skip
    ways = noted_ways(fresh.laps()).set_index("lap_id").way
    assert (ways[fixed["lap_id"]], ways[turned["lap_id"]]) == ("A", "B")


def test_an_export_with_marks_adds_nothing_and_is_refused_nowhere(server, store, fresh):
    kept, turned = lap(note="thin glue", flags=["trial:A"]), lap(note="", flags=["trial:A"])
    server.post_laps(kept, turned, lap())
    early = exported(store)
    server.post_laps(turned | {"revision": 1, "flags": ["trial:B", "mended"], "seconds": 77})
    store.correct_lap(kept["lap_id"], {"seconds": "50"})
    late = exported(store)
    laps = store.lap_count()
    for file in (early, late):
        assert taken_in(store, file) == (0, laps)
    assert taken_in(fresh, late) == (laps, 0)
    assert taken_in(fresh, late) == (0, laps)
    again = exported(fresh)
    assert taken_in(fresh, again) == (0, laps)
    assert taken_in(store, again) == (0, laps)


def test_a_lap_whose_note_says_something_else_is_still_refused(server, store):
    server.post_laps(lap(note="thin glue", flags=["trial:C"]))
    changed = exported(store).replace(b"trial:C", b"trial:D")
    with pytest.raises(BadInput, match="is in the store with other content"):
        taken_in(store, changed)


def test_an_export_without_marks_has_the_columns_of_the_contract_alone(fresh):
    line = "2026-03-02T09:15:00+01:00,75.5,pocket notebook,sew"
    taken_in(fresh, f"started_at,seconds,product,operation\n{line}\n".encode())
    assert tuple(rows(exported(fresh))[0]) == COLUMNS[1:]
