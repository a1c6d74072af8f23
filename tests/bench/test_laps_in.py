"""Laps that phones send: each taken once, mended where the phone says so, undoable, refused with
the reason; over HTTP to a real server, and read back from its store."""

import json
import sqlite3
from datetime import UTC, datetime

import pytest

from analysis.records.laps import read_laps
from analysis.store.store import open_store
from tests.bench.serving import at_clock, body_of, lap


@pytest.fixture
def store(server):
    return open_store(f"sqlite:///{server.store}")


def kept(store, *ids: str) -> dict[str, dict]:
    """The laps of these ids that count, by id."""
    frame = store.laps()
    return {row["lap_id"]: row for row in frame[frame.lap_id.isin(ids)].to_dict("records")}


def test_a_lap_arrives_as_it_was_tapped(server, store):
    sent = lap(
        units=25, rework_units=2, scrap_units=1, cause="loose thread", cause_operation="punch",
        note="a note", rating=110, seconds=1234.567891, activity="inspection",
    )  # fmt: skip
    answer = server.post_laps(sent)
    assert answer.status == 200
    told = answer.json
    assert told["acknowledged"] == [{"lap_id": sent["lap_id"], "revision": 0}]
    assert told["refused"] == [] and told["clock_corrected"] is False
    row = kept(store, sent["lap_id"])[sent["lap_id"]]
    assert row["started_at"].isoformat() == "2026-03-02T08:15:00+00:00"
    same = set(sent) - {"lap_id", "revision", "removed", "started_at", "flags"}
    assert {name: row[name] for name in same} == {name: sent[name] for name in same}


def test_the_same_lap_sent_again_counts_once_and_is_acknowledged_each_time(server, store):
    sent = lap()
    before = store.lap_count()
    for _ in range(3):
        answer = server.post_laps(sent)
        assert answer.json["acknowledged"] == [{"lap_id": sent["lap_id"], "revision": 0}]
    twice_in_one = lap()
    server.post_laps(twice_in_one, twice_in_one)
    assert store.lap_count() == before + 2


def test_a_correction_takes_the_lap_s_place_and_the_old_is_kept(server, store):
    sent = lap()
    server.post_laps(sent)
    server.post_laps(sent | {"revision": 1, "operation": "glue spine", "seconds": 30})
    row = kept(store, sent["lap_id"])[sent["lap_id"]]
    assert (row["operation"], row["seconds"]) == ("glue spine", 30)
    assert list(store.history(sent["lap_id"]).operation) == ["sew", "glue spine"]


def test_a_lap_taken_back_on_the_phone_is_gone_and_comes_back_when_that_is_undone(server, store):
    sent = lap()
    server.post_laps(sent)
    answer = server.post_laps({"lap_id": sent["lap_id"], "revision": 1, "removed": True})
    assert answer.json["acknowledged"] == [{"lap_id": sent["lap_id"], "revision": 1}]
    assert kept(store, sent["lap_id"]) == {}
    store.undo(int(store.changes(1).change_id[0]))
    assert sent["lap_id"] in kept(store, sent["lap_id"])


def test_revisions_in_any_order_end_at_the_newest(server, store):
    sent = lap()
    for revision, seconds in ((2, 22), (0, 20), (1, 21)):
        answer = server.post_laps(sent | {"revision": revision, "seconds": seconds})
        assert answer.json["acknowledged"] == [{"lap_id": sent["lap_id"], "revision": revision}]
    assert kept(store, sent["lap_id"])[sent["lap_id"]]["seconds"] == 22


def test_a_lap_tapped_and_mended_before_the_network_came_back_keeps_both_revisions(server, store):
    sent = lap()
    server.post_laps(sent, sent | {"revision": 1, "units": 2}, sent | {"revision": 2, "units": 3})
    assert kept(store, sent["lap_id"])[sent["lap_id"]]["units"] == 3
    assert list(store.history(sent["lap_id"]).units) == [1, 2, 3]
    store.undo(int(store.changes(1).change_id[0]))
    assert kept(store, sent["lap_id"])[sent["lap_id"]]["units"] == 2


def test_undoing_the_arrival_on_the_screen_is_not_undone_by_the_phone_sending_again(server, store):
    sent = lap()
    server.post_laps(sent)
    store.undo(int(store.changes(1).change_id[0]))
    assert server.post_laps(sent).json["acknowledged"]
    assert kept(store, sent["lap_id"]) == {}


def test_day_totals_stay_what_the_laps_add_up_to(server, store):
    one, two = lap(units=5), lap(seconds=0.1, started_at="2026-03-02T23:59:59.999999+00:00")
    server.post_laps(one, two, lap(scrap_units=1))
    moved, gone = {"revision": 1, "operation": "trim"}, {"revision": 1, "removed": True}
    server.post_laps(one | moved, two | gone)
    connection = sqlite3.connect(server.store)
    query = "SELECT * FROM day_total ORDER BY 1, 2, 3, 4, 5, 6"
    before = connection.execute(query).fetchall()
    from analysis.store import totals
    from analysis.store.connection import writing

    with writing(store.engine) as working:
        totals.rebuild(working)
    assert connection.execute(query).fetchall() == before


def test_good_laps_of_a_batch_are_taken_and_bad_ones_come_back_with_the_reason(server, store):
    good, bad = lap(), lap(seconds=-3)
    answer = server.post_laps(bad, good, "nonsense", {"lap_id": 7})
    told = answer.json
    assert [one["lap_id"] for one in told["acknowledged"]] == [good["lap_id"]]
    assert good["lap_id"] in kept(store, good["lap_id"])
    assert [one["index"] for one in told["refused"]] == [0, 2, 3]
    assert told["refused"][0] == {
        "index": 0, "lap_id": bad["lap_id"], "revision": 0, "column": "seconds",
        "problem": "is not more than 0", "value": "-3", "remedy": "give the time the lap took",
    }  # fmt: skip


REFUSED = [
    ("lap_id", "short"), ("lap_id", "x" * 65), ("lap_id", "with space 1"), ("lap_id", None),
    ("lap_id", 12345678), ("lap_id", "../../etc/passwd"), ("revision", -1), ("revision", 1.5),
    ("revision", "0"), ("revision", True), ("revision", 10**9), ("removed", "no"),
    ("started_at", ""), ("started_at", None), ("started_at", "2026-03-02T09:15:00"),
    ("started_at", "yesterday"), ("started_at", "2026-02-30T00:00:00Z"), ("started_at", 5),
    ("started_at", "1800-01-01T00:00:00Z"), ("started_at", "9999-12-31T23:59:59-23:59"),
    ("seconds", 0), ("seconds", -1), ("seconds", 86400.5), ("seconds", None), ("seconds", "60"),
    ("seconds", True), ("seconds", 10**400), ("seconds", [1]),
    ("units", 0), ("units", 1.5), ("units", 10**7), ("units", "1"), ("units", False),
    ("rework_units", -1), ("rework_units", 2), ("scrap_units", 2), ("rating", 49), ("rating", 151),
    ("rating", "100"), ("activity", "sleeping"), ("activity", 1), ("product", ""),
    ("operation", "  "), ("operation", 5), ("worker", ["a"]), ("product", "x" * 201),
    ("note", "x" * 2001), ("note", {"a": 1}), ("cause", "\ud800"), ("batch", "a\0b"),
    ("flags", "reload"), ("flags", ["x" * 41]), ("flags", [1]), ("flags", ["a"] * 21),
]  # fmt: skip


@pytest.mark.parametrize(("column", "value"), REFUSED)
def test_what_is_no_lap_is_refused_and_said_why(server, store, column, value):
    before = store.version()
    answer = server.post_laps(lap(**{column: value}))
    assert answer.status == 200, answer.body
    [refused] = answer.json["refused"]
    also = {"rework_units": "scrap_units"}  # the two are judged together
    assert refused["column"] in (column, also.get(column))
    assert refused["problem"] and len(refused["value"]) <= 80
    assert answer.json["acknowledged"] == [] and store.version() == before


@pytest.mark.parametrize("body", [
    b"", b"{", b"[]", b"null", b"7", b"\xff\xfe", b'{"laps": []}', b'{"device": "phone-0001"}',
    b'{"device": "phone-0001", "sent_at": "2026-03-02T09:15:00Z", "laps": {}}',
    b'{"device": "phone-0001", "sent_at": "now", "laps": []}',
    b'{"device": "", "sent_at": "2026-03-02T09:15:00Z", "laps": []}',
    b'{"device": "phone-0001", "sent_at": "2026-03-02T09:15:00Z", "laps": [{"seconds": NaN}]}',
    b'{"device": "phone-0001", "sent_at": "2026-03-02T09:15:00Z", "laps": [{"seconds": 1e999}',
    b'{"device": "phone-0001", "sent_at": "2026-03-02T09:15:00Z", "laps": [' + b"[" * 100_000,
    b'{"laps": [' + b"9" * 5000 + b"]}",
    json.dumps({"device": "phone-0001", "sent_at": "2026-03-02T09:15:00Z",
                "laps": [{}] * 1001}).encode(),
])  # fmt: skip
def test_a_body_that_is_no_delivery_is_refused_as_a_whole(server, store, body):
    before = store.version()
    answer = server.ask("POST", "/laps", body)
    assert answer.status == 400
    assert answer.json["error"]
    assert store.version() == before


def test_an_infinite_number_is_no_number(server):
    body = body_of(lap()).replace("61.25", "1e999")
    [refused] = server.ask("POST", "/laps", body).json["refused"]
    assert refused["column"] == "seconds"


def test_a_body_that_is_too_long_is_refused_before_it_is_read(server):
    assert server.ask("POST", "/laps", b" " * 2_000_001).status == 413
    claimed = server.ask("POST", "/laps", b"", Content_Length="99999999999")
    assert claimed.status == 413


def test_a_body_in_pieces_is_cut_off_when_it_grows_too_long(server):
    piece = b"%x\r\n" % 100_000 + b" " * 100_000 + b"\r\n"
    answer = server.ask("POST", "/laps", piece * 30 + b"0\r\n\r\n", Transfer_Encoding="chunked")
    assert answer.status == 413


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "", None,
                                  "multipart/form-data; boundary=x"])  # fmt: skip
def test_a_form_of_another_page_cannot_pass_for_a_delivery(server, kind):
    answer = server.ask("POST", "/laps", body_of(lap()), Content_Type=kind)
    assert answer.status == 415


@pytest.mark.parametrize(("method", "path"), [
    ("PUT", "/bench/lists"), ("POST", "/bench"), ("DELETE", "/bench/lists"), ("GET", "/bench/pair"),
    ("GET", "/bench/put-away"), ("POST", "/bench/lists"), ("PATCH", "/bench/batches"),
])  # fmt: skip
def test_a_wrong_method_is_told_the_right_one(server, method, path):
    answer = server.ask(method, path)
    assert answer.status == 405
    assert "only" in answer.json["error"]


def test_script_in_every_text_is_kept_as_the_text_it_is(server, store):
    script = "<script>alert('x')</script>"
    columns = ("product", "operation", "worker", "variant", "batch", "cause", "cause_operation",
               "note")  # fmt: skip
    sent = lap(**dict.fromkeys(columns, script), flags=["<b>x</b>"])
    assert server.post_laps(sent).json["refused"] == []
    row = kept(store, sent["lap_id"])[sent["lap_id"]]
    assert {row[column] for column in columns} == {script}
    answer = server.ask("GET", "/bench/lists")
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert script in json.dumps(answer.json)


@pytest.mark.parametrize("hours", [-3, 5])
def test_a_phone_hours_off_is_put_right_and_told(server, store, hours):
    sent = lap(started_at=at_clock(hours=hours, minutes=-1))
    body = json.loads(body_of(sent)) | {"sent_at": at_clock(hours=hours)}
    told = server.ask("POST", "/laps", json.dumps(body)).json
    assert told["clock_corrected"] is True
    assert abs(told["clock_difference_seconds"] + 3600 * hours) < 5
    started = kept(store, sent["lap_id"])[sent["lap_id"]]["started_at"]
    assert abs((datetime.now(UTC) - started).total_seconds() - 60) < 5


def test_a_clock_a_minute_off_is_left_alone(server, store):
    started_at = at_clock(minutes=-10)
    sent = lap(started_at=started_at)
    body = json.loads(body_of(sent)) | {"sent_at": at_clock(minutes=1)}
    told = server.ask("POST", "/laps", json.dumps(body)).json
    assert told["clock_corrected"] is False and -62 < told["clock_difference_seconds"] < -57
    kept_at = kept(store, sent["lap_id"])[sent["lap_id"]]["started_at"]
    assert kept_at == datetime.fromisoformat(started_at)


def test_a_correction_sent_after_the_clock_was_set_right_keeps_the_lap_in_its_place(server, store):
    sent = lap(started_at=at_clock(hours=4))
    wrong = json.loads(body_of(sent)) | {"sent_at": at_clock(hours=4)}
    server.ask("POST", "/laps", json.dumps(wrong))
    first = kept(store, sent["lap_id"])[sent["lap_id"]]["started_at"]
    server.post_laps(sent | {"revision": 1, "seconds": 5})
    row = kept(store, sent["lap_id"])[sent["lap_id"]]
    assert (row["started_at"], row["seconds"]) == (first, 5)


def test_what_the_phone_said_about_a_lap_can_be_read_beside_it(server, store):
    from analysis.store.bench_notes import notes

    sent = lap(started_at=at_clock(hours=-2), flags=["reload", "trial:A"])
    body = json.loads(body_of(sent)) | {"sent_at": at_clock(hours=-2)}
    server.ask("POST", "/laps", json.dumps(body))
    row = notes(store.engine).set_index("lap_id").loc[sent["lap_id"]]
    assert bool(row.clock_corrected) and row["flags"] == "reload\ntrial:A"
    assert abs(row.clock_difference_seconds - 7200) < 5


def put_away(**changes) -> str:
    entry = {"id": "put-away-0001", "at": at_clock(), "product": "desk journal",
             "variant": "linen", "batch": "012", "pieces": 24} | changes  # fmt: skip
    return json.dumps({"device": "phone-0001", "sent_at": at_clock(), "put_away": [entry]})


def test_pieces_put_into_stock_are_counted_once(server, store):
    for _ in range(2):
        answer = server.ask("POST", "/bench/put-away", put_away())
        assert answer.json["acknowledged"] == [{"id": "put-away-0001"}]
    events = store.stock_events()
    own = events[events.note == "batch 012"]
    assert list(zip(own.kind, own["product"], own.variant, own.units, strict=True)) == [
        ("put_away", "desk journal", "linen", 24)
    ]


@pytest.mark.parametrize("changes", [{"pieces": 0}, {"pieces": None}, {"product": ""}, {"id": "x"},
                                     {"at": "noon"}, {"pieces": 2.5}])  # fmt: skip
def test_putting_nothing_away_is_refused(server, store, changes):
    before = store.version()
    answer = server.ask("POST", "/bench/put-away", put_away(**{"id": "put-away-0002"} | changes))
    [refused] = answer.json["refused"]
    assert refused["column"] == next(iter(changes))
    assert store.version() == before


NEEDED = ("lap_id", "started_at", "seconds", "product", "operation", "note")


def saved_copy(sent, only=()):
    """The file of waiting laps that a phone saves, read: one lap as it was to be sent, or of that
    some columns alone."""
    columns = only or [name for name in sent if name not in ("revision", "removed", "flags")]
    values = ",".join(str(sent[name]) for name in columns)
    copy = f'{",".join(columns)},marks\n{values},"{", ".join(sent.get("flags", ()))}"\n'
    return read_laps(copy.encode(), name="waiting laps.csv")


def test_a_saved_copy_imported_and_then_delivered_counts_once(server, store):
    sent = lap(note="from the copy")
    store.import_laps(saved_copy(sent, NEEDED))
    before = store.lap_count()
    assert server.post_laps(sent).json["acknowledged"]
    assert store.lap_count() == before
    store.remove_laps([sent["lap_id"]])
    again = lap(lap_id=sent["lap_id"], revision=1, note="mended on the phone")
    server.post_laps(again)
    assert kept(store, sent["lap_id"])[sent["lap_id"]]["note"] == "mended on the phone"


@pytest.mark.parametrize("flags", [[], ["fixed_here", "trial:A"]])
def test_a_saved_copy_of_laps_whose_clock_was_put_right_adds_nothing(server, store, flags):
    sent = lap(note="by a slow clock", flags=flags)
    answer = server.ask("POST", "/laps", body_of(sent, sent_at=at_clock(hours=-3)))
    assert answer.json["clock_corrected"]
    before = store.lap_count()
    report = store.import_laps(saved_copy(sent))
    assert (report.new, report.already_there) == (0, 1)
    assert store.lap_count() == before


def test_a_saved_copy_by_a_wrong_clock_is_moved_when_its_phone_delivers(server, store):
    sent = lap(note="by a slow clock")
    store.import_laps(saved_copy(sent, NEEDED))
    store.correct_lap(sent["lap_id"], {"note": "mended on the dashboard"})
    before = kept(store, sent["lap_id"])[sent["lap_id"]]
    for _ in range(2):
        server.ask("POST", "/laps", body_of(sent, sent_at=at_clock(hours=-3)))
    after = kept(store, sent["lap_id"])[sent["lap_id"]]
    moved = (after["started_at"] - before["started_at"]).total_seconds()
    assert moved == pytest.approx(3 * 3600, abs=60)
    assert after["note"] == "mended on the dashboard"
    assert store.import_laps(saved_copy(sent, NEEDED)).new == 0
