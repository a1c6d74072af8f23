"""The store: what goes in comes out, what is changed can be undone, what fails changes nothing."""

import dataclasses
import datetime as dt
import io
import sqlite3
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa

from analysis.problems import BadInput, NotFound, Problem, StoreProblem
from analysis.records.laps import check_laps, read_laps
from analysis.records.shop import Shop
from analysis.records.zones import local_days
from analysis.store import bench_tables, tables
from analysis.store.connection import open_engine
from analysis.store.schema import VERSION, bring_up_to_date, version_of
from analysis.store.store import open_store
from analysis.store.totals import TOTALS_BY_WEEK
from tests.properties.test_names import NAMED

OPERATIONS = ("sew", "trim", "glue spine")


def laps_file(count=60, seed=1, prefix="lap", name="laps.csv", start="2026-03-02T08:00:00"):
    rng = np.random.default_rng(seed)
    most = max(count, 200)  # so that a longer file begins with the same laps
    starts = pd.Timestamp(start) + pd.to_timedelta(np.cumsum(rng.integers(60, 90_000, most)), "s")
    units, seconds = rng.integers(1, 6, most), rng.lognormal(4, 1, most)
    rows = [
        {
            "lap_id": f"{prefix}-{n}",
            "started_at": starts[n].isoformat() + "Z",
            "seconds": repr(float(round(seconds[n], 3))),
            "product": ("pocket notebook", "desk journal")[n % 2],
            "operation": OPERATIONS[n % 3],
            "variant": ("linen", "")[n % 2],
            "worker": ("maker", "helper")[n % 5 == 0],
            "batch": f"{n // 10:03d}",
            "units": str(units[n]),
            "scrap_units": str(int(units[n] > 4)),
            "note": "" if n % 7 else f"=note {n}\nsecond line",
        }
        for n in range(count)
    ]
    return dataclasses.replace(check_laps(rows, name), name=name)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request, tmp_path):
    """Where the store of a test is: the same is asked of both databases."""
    if request.param == "postgresql":
        return request.getfixturevalue("postgres_url")
    return str(tmp_path / "deep" / "workshop.sqlite")


@pytest.fixture
def store(url):
    moments = iter(range(1_770_000_000_000_000, 1_780_000_000_000_000, 1_000_000))
    store = open_store(url, lambda: next(moments))
    yield store
    check_totals(store)
    store.close()


def content(frame):
    return frame.drop(columns="row").sort_values(["started_at", "lap_id"], ignore_index=True)


def same_laps(store, frame):
    pd.testing.assert_frame_equal(content(store.laps()), content(frame))


def check_totals(store):
    """The kept totals equal those worked out from the laps, whatever has happened to the store."""
    laps = store.laps().astype(dict.fromkeys(TOTALS_BY_WEEK[1:], "str"))
    days = local_days(laps.started_at.astype("int64").to_numpy(), store.shop().timezone)
    laps["week_start"] = (days - (days + 3) % 7).astype("M8[D]").astype("M8[s]")
    laps["laps"] = 1
    sums = ["laps", "units", "rework_units", "scrap_units", "seconds"]
    wanted = laps.groupby(list(TOTALS_BY_WEEK), as_index=False)[sums].sum()
    pd.testing.assert_frame_equal(store.weeks(), wanted, rtol=0, atol=1e-6 * max(len(laps), 1))


def test_laps_come_out_of_the_store_as_they_went_in(store):
    file = laps_file()
    report = store.import_laps(file)
    assert (report.new, report.already_there) == (60, 0)
    same_laps(store, file.frame)
    frame = store.laps()
    assert frame.started_at.is_monotonic_increasing and frame.row.tolist() == list(range(2, 62))


def test_an_empty_store_gives_an_empty_frame_of_the_same_columns_and_types(store):
    pd.testing.assert_frame_equal(
        store.laps(), laps_file(1).frame.iloc[:0].reset_index(drop=True), check_categorical=False
    )
    assert store.version() == 0 and store.weeks().empty and store.stock_events().empty
    assert store.shop() == Shop() and store.routing() is None


def test_importing_the_same_file_again_adds_nothing_and_makes_no_change(store):
    store.import_laps(laps_file())
    version = store.version()
    report = store.import_laps(laps_file())
    assert (report.new, report.already_there, report.change_id) == (0, 60, None)
    assert str(report).startswith("laps.csv: 0 laps new, 60 already there, 0 refused.")
    assert store.version() == version


def test_a_file_that_has_grown_adds_only_what_is_new(store):
    store.import_laps(laps_file(40))
    report = store.import_laps(laps_file(60))
    assert (report.new, report.already_there) == (20, 40)
    same_laps(store, laps_file(60).frame)


def test_a_lap_without_an_id_is_not_added_twice(store):
    data = b"started_at,seconds,product,operation\n" + b"2026-03-02T09:15Z,5,journal,sew\n" * 3
    assert store.import_laps(read_laps(data)).new == 3
    assert store.import_laps(read_laps(data)).new == 0


LOCAL = (
    b"started_at,seconds,product,operation\n"
    b"2026-03-02T09:15,5,journal,sew\n"  # 08:15Z in Vienna
    b"2026-03-29T02:30,5,journal,sew\n"  # an hour that never came in Vienna
    b"2026-07-01T00:30:00+00:00,5,journal,sew\n"
)


def starts(store):
    return store.laps().started_at.dt.strftime("%m-%dT%H:%M").tolist()


def test_laps_without_an_offset_move_with_the_shops_zone_and_their_file_adds_nothing(store):
    """The newcomer's way: take the laps in, look, then say where the shop is."""
    imported = store.import_laps(read_laps(LOCAL, store.shop()))
    assert any("zone, UTC; if" in n and "page Shop" in n for n in imported.notices)
    in_utc, in_vienna = ["03-02T09:15", "03-29T02:30", "07-01T00:30"], [
        "03-02T08:15", "03-29T01:30", "07-01T00:30"]  # fmt: skip
    assert starts(store) == in_utc
    exported = io.BytesIO()
    store.export_laps(exported)
    change = store.save_shop(Shop(timezone="Europe/Vienna"), "costs")
    assert store.changes().what[0] == (
        "costs (2 laps without an offset moved to Europe/Vienna)")  # fmt: skip
    assert starts(store) == in_vienna
    for file in (LOCAL, exported.getvalue()):
        for shop in (store.shop(), Shop()):  # also where it was read before the zone was saved
            report = store.import_laps(read_laps(file, shop))
            assert (report.new, report.already_there, report.refused) == (0, 3, 0)
    store.undo(change)
    assert starts(store) == in_utc
    store.undo(store.version())
    assert starts(store) == in_vienna
    store.undo(imported.change_id)
    assert store.laps().empty


def test_laps_taken_out_while_the_zone_changes_come_back_where_it_has_them(store):
    imported = store.import_laps(read_laps(LOCAL, store.shop())).change_id
    undo = store.undo(imported)
    store.save_shop(Shop(timezone="Pacific/Auckland"))
    store.undo(undo)
    assert starts(store)[0] == "03-01T20:15"
    check_totals(store)
    store.save_shop(Shop())  # to and fro loses nothing, skipped hours included
    assert starts(store) == ["03-02T09:15", "03-29T02:30", "07-01T00:30"]


def test_a_corrected_lap_moves_with_the_zone_unless_its_time_was_given_with_an_offset(store):
    store.import_laps(read_laps(LOCAL, store.shop()))
    first, second = store.laps().lap_id[:2]
    store.correct_lap(first, {"seconds": "7"})
    store.correct_lap(second, {"started_at": "2026-03-29T04:00Z"})
    store.save_shop(Shop(timezone="Europe/Vienna"))
    assert starts(store)[:2] == ["03-02T08:15", "03-29T04:00"]
    report = store.import_laps(read_laps(LOCAL, store.shop()))
    assert (report.new, report.already_there) == (0, 3)


def test_a_batch_given_to_many_laps_is_one_change_that_moves_no_time_and_is_undone_whole(store):
    store.import_laps(read_laps(LOCAL, store.shop()))
    before, version = store.laps(), store.version()
    change = store.correct_laps(before.lap_id.tolist(), {"batch": "001"})
    assert store.version() == version + 1 and set(store.laps().batch) == {"001"}
    rest = [name for name in before if name not in ("batch", "row")]
    assert store.laps()[rest].equals(before[rest])
    assert store.correct_laps(before.lap_id.tolist(), {"batch": "001"}) is None
    store.save_shop(Shop(timezone="Europe/Vienna"))
    assert starts(store)[0] == "03-02T08:15"  # still by the clock on the wall
    store.undo(store.version())
    store.undo(change)
    assert content(store.laps()).equals(content(before))


RENAMED = b"""started_at,seconds,product,operation,worker,activity,cause,cause_operation,batch
2026-03-02T09:15,5,old,old,old,operation,old,,old
2026-03-02T09:25,6,new,new,new,operation,,,new
2026-03-02T09:35,7,new,trim,new,rework,old,old,new
2026-03-02T09:45,8,new,trim,new,rework,new,new,new
"""


@pytest.mark.parametrize("kind", sorted(NAMED.keys() - {"variant"}))
def test_a_name_is_renamed_in_every_column_of_its_kind_and_in_no_other_and_back(store, kind):
    store.import_laps(read_laps(RENAMED, store.shop()))
    before, version = store.laps(), store.version()
    change = store.rename(kind, "old", "new")
    after = store.laps()
    for columns in NAMED.values():
        for column in columns:
            renamed = before[column].astype(str).replace("old", "new")
            wanted = renamed if column in NAMED[kind] else before[column].astype(str)
            assert after[column].astype(str).tolist() == wanted.tolist(), column
    assert store.version() == version + 1 and after.seconds.equals(before.seconds)
    assert store.rename(kind, "old", "new") is None
    store.save_shop(Shop(timezone="Europe/Vienna"))
    assert starts(store)[0] == "03-02T08:15"  # still by the clock on the wall
    store.undo(store.version())
    store.undo(change)
    assert content(store.laps()).equals(content(before))


def test_all_laps_of_a_name_are_renamed_and_the_totals_with_them(store):
    store.import_laps(laps_file(1500))
    trimmed = int((store.laps().operation == "trim").sum())
    store.rename("operation", "trim", "sew")
    assert store.names("operation") == ["glue spine", "sew"]
    assert store.page(0, 1, {"operation": "sew"})[1] == 2 * trimmed == 1000
    assert "operation trim renamed to sew" in store.changes(1).what[0]


def test_what_cannot_be_given_to_many_laps_changes_none(store):
    store.import_laps(laps_file(10))
    before = store.laps()
    with pytest.raises(BadInput, match="seconds: cannot be given to several laps"):
        store.correct_laps(before.lap_id.tolist(), {"seconds": "7"})
    with pytest.raises(NotFound, match="no-such-lap"):
        store.correct_laps([before.lap_id[0], "no-such-lap"], {"batch": "1"})
    assert store.laps().equals(before)


def test_another_lap_under_the_id_of_one_without_an_offset_is_still_refused(store):
    header = b"lap_id,started_at,seconds,product,operation\n"
    store.import_laps(read_laps(header + b"a,2026-03-02T09:15,5,journal,sew\n"))
    store.save_shop(Shop(timezone="Europe/Vienna"))
    with pytest.raises(BadInput, match="other content"):
        store.import_laps(read_laps(header + b"a,2026-03-02T09:16,5,journal,sew\n", store.shop()))


def test_a_file_with_other_content_under_a_stored_id_is_refused_whole(store):
    store.import_laps(laps_file(30))
    before = store.laps()
    changed = laps_file(60)
    changed.frame.loc[[3, 7], "seconds"] = 1.0
    with pytest.raises(BadInput) as refused:
        store.import_laps(changed)
    assert [(fault.row, fault.value) for fault in refused.value.faults] == [
        (5, "lap-3"), (9, "lap-7")]  # fmt: skip
    pd.testing.assert_frame_equal(store.laps(), before)


def test_a_correction_keeps_the_old_lap_and_an_undo_brings_it_back(store):
    file = laps_file()
    store.import_laps(file)
    change = store.correct_lap("lap-5", {"seconds": "12.5", "note": "watch ran on"})
    lap = store.laps().set_index("lap_id").loc["lap-5"]
    assert (lap.seconds, lap.note) == (12.5, "watch ran on")
    past = store.history("lap-5")
    assert past.kind.tolist() == ["import", "correction"]
    assert past.seconds.tolist() == [file.frame.seconds[5], 12.5]
    assert past.until.isna().tolist() == [False, True]
    check_totals(store)
    store.undo(change)
    same_laps(store, file.frame)


def test_a_correction_that_breaks_a_rule_changes_nothing(store):
    store.import_laps(laps_file())
    version = store.version()
    with pytest.raises(BadInput, match="lap lap-5:2: seconds: is not more than 0"):
        store.correct_lap("lap-5", {"seconds": "0"})
    with pytest.raises(BadInput, match="cannot be corrected"):
        store.correct_lap("lap-5", {"lap_id": "lap-6"})
    with pytest.raises(NotFound, match="no lap 'lap-99'"):
        store.correct_lap("lap-99", {"seconds": "5"})
    assert store.correct_lap("lap-5", {"worker": "helper"}) is None  # it is the helper's already
    assert store.version() == version


def test_the_file_of_a_corrected_lap_is_still_known(store):
    store.import_laps(laps_file())
    store.correct_lap("lap-5", {"seconds": "12.5"})
    report = store.import_laps(laps_file())
    assert (report.new, report.already_there) == (0, 60)
    assert store.laps().set_index("lap_id").seconds["lap-5"] == 12.5


def test_a_lap_removed_by_hand_stays_removed_when_its_file_comes_again(store):
    file = laps_file()
    store.import_laps(file)
    change = store.remove_laps(["lap-5", "lap-6"])
    assert len(store.laps()) == 58
    report = store.import_laps(file)
    assert (report.new, report.already_there, report.removed_before) == (0, 58, 2)
    store.undo(store.undo(change))  # undone, and removed once more
    assert store.import_laps(file).removed_before == 2
    with pytest.raises(NotFound):
        store.remove_laps(["lap-5"])


def test_an_import_is_undone_whole_and_can_come_back(store):
    first, second = laps_file(), laps_file(40, 2, "more")
    store.import_laps(first)
    change = store.import_laps(second).change_id
    undo = store.undo(change)
    same_laps(store, first.frame)
    assert store.changes().undone.tolist() == [False, True, False]
    store.undo(undo)
    same_laps(store, pd.concat([first.frame, second.frame]).astype(first.frame.dtypes.to_dict()))
    assert store.changes().undone.tolist() == [False, True, False, False]


def test_an_import_undone_can_be_imported_again(store):
    store.undo(store.import_laps(laps_file()).change_id)
    assert store.laps().empty
    changed = laps_file()
    changed.frame.loc[3, "seconds"] = 1.0  # mended in the file meanwhile
    assert store.import_laps(changed).new == 60


def test_older_changes_can_be_undone_while_nothing_later_touched_the_same(store):
    file = laps_file()
    imported = store.import_laps(file).change_id
    one = store.correct_lap("lap-1", {"seconds": "1"})
    two = store.correct_lap("lap-2", {"seconds": "2"})
    again = store.correct_lap("lap-1", {"seconds": "11"})
    with pytest.raises(StoreProblem, match=f"later change touched the same: {again} "):
        store.undo(one)
    with pytest.raises(StoreProblem, match="Undo the later one first"):
        store.undo(imported)
    store.undo(two)
    with pytest.raises(StoreProblem, match="undone already"):
        store.undo(two)
    store.undo(again)
    assert store.laps().set_index("lap_id").seconds["lap-1"] == 1
    store.undo(one)
    same_laps(store, file.frame)
    store.undo(imported)
    assert store.laps().empty
    with pytest.raises(NotFound, match="no change 999"):
        store.undo(999)


def test_a_removal_cannot_be_undone_over_a_lap_that_took_the_place(store):
    store.import_laps(laps_file(5))
    removal = store.remove_laps(["lap-1"])
    undo = store.undo(removal)
    store.correct_lap("lap-1", {"seconds": "3"})
    with pytest.raises(StoreProblem, match="later change"):
        store.undo(undo)


@pytest.mark.parametrize("steps", [12, pytest.param(40, marks=pytest.mark.slow)])
def test_any_walk_of_changes_and_undos_leads_back(store, steps):
    """Random changes, then all undone from the newest: the store is as it was."""
    rng = np.random.default_rng(7)
    file = laps_file(30)
    start = store.import_laps(file).change_id
    for step in range(steps):
        some = rng.choice(store.laps().lap_id, 2, replace=False).tolist()
        move = rng.integers(4)
        if move == 0:
            store.correct_lap(some[0], {"seconds": str(step + 1)})
        elif move == 1 and len(store.laps()) > 10:
            store.remove_laps(some)
        elif move == 2:
            store.import_laps(laps_file(3, step, f"walk{step}"))
        elif store.version() > start:
            store.undo(store.version())
        check_totals(store)
    for change in range(store.version(), start, -1):
        try:
            store.undo(change)
        except StoreProblem as refused:
            assert "undone already" in str(refused)
    same_laps(store, file.frame)


def test_two_openings_of_one_store_see_each_others_laps(store):
    other = open_store(store.place)
    other.import_laps(laps_file(5, prefix="other"))
    store.import_laps(laps_file(5))
    assert len(other.laps()) == len(store.laps()) == 10
    assert other.version() == store.version() == 2
    other.close()


def test_a_page_of_laps_is_the_newest_and_filters_narrow_it(store):
    file = laps_file()
    store.import_laps(file)
    newest = content(file.frame).iloc[::-1].lap_id.tolist()
    page, count = store.page(10, 5)
    assert (page.lap_id.tolist(), count) == (newest[10:15], 60)
    helpers, count = store.page(0, 100, {"worker": "helper", "operation": ["sew", "trim"]})
    assert set(helpers.worker) == {"helper"} and count == len(helpers) == 8
    assert store.page(0, 10, {"text": "NOTE 14"})[0].lap_id.tolist() == ["lap-14"]
    assert store.page(0, 10, {"text": "100%"})[1] == 0
    day = pd.Timestamp("2026-03-10", tz="Europe/Vienna")
    since, _ = store.page(0, 100, {"from": day, "to": day + pd.Timedelta(days=5)})
    assert len(since) and since.started_at.between(day, day + pd.Timedelta(days=5)).all()
    with pytest.raises(NotFound, match="filtered by 'colour'"):
        store.page(0, 10, {"colour": "red"})


def test_a_weeks_figures_are_the_sums_of_its_laps_in_the_shops_zone(store):
    """A lap late on Sunday in UTC is on Monday in Auckland, and moves with the shop's zone."""
    rows = [{"started_at": "2026-03-01T12:30:00Z", "seconds": "60.25", "product": "p",
             "operation": "sew", "units": "3", "scrap_units": "1"}]  # fmt: skip
    store.import_laps(check_laps(rows, "laps"))
    assert store.week_figures(dt.date(2026, 3, 2)).empty
    change = store.save_shop(Shop(timezone="Pacific/Auckland"))
    week = store.week_figures(dt.date(2026, 3, 2))
    assert week[["laps", "units", "scrap_units", "seconds"]].values.tolist() == [[1, 3, 1, 60.25]]
    store.undo(change)
    assert store.week_figures(dt.date(2026, 3, 2)).empty


def test_totals_of_laps_before_1970_fall_in_their_own_week(store):
    store.import_laps(laps_file(20, start="1965-03-02T08:00:00"))
    check_totals(store)


def test_shop_and_routing_are_kept_with_their_past(store):
    shop = Shop(name="Bindery", timezone="Europe/Vienna")
    first = store.save_shop(shop)
    assert store.shop() == shop and store.save_shop(shop) is None
    second = store.save_shop("[shop]\nname = 'Other'\n")
    assert store.shop().name == "Other"
    with pytest.raises(StoreProblem, match="later change"):
        store.undo(first)
    store.undo(second)
    assert store.shop() == shop
    with pytest.raises(BadInput, match="the shop:1"):
        store.save_shop("[shap]")
    assert store.save_routing("product,operation,seconds\nnotebook,sew,60\n")
    routing = store.routing()
    assert store.save_routing(routing.assign(seconds=50.0))
    store.undo(store.version())
    pd.testing.assert_frame_equal(store.routing(), routing)


def test_stock_events_are_kept_in_order_of_time_and_undone(store):
    day = dt.datetime(2026, 3, 2, 9, tzinfo=dt.UTC)
    store.add_stock_event("sale", "journal", 2, "linen", day + dt.timedelta(days=1))
    count = store.add_stock_event("count", "journal", 0, "linen", day, "on the shelf")
    events = store.stock_events()
    assert events.kind.tolist() == ["count", "sale"] and events.units.tolist() == [0, 2]
    undo = store.undo(count)
    assert store.stock_events().kind.tolist() == ["sale"]
    store.undo(undo)
    assert len(store.stock_events()) == 2
    for kind, units, product in (("sale", 0, "p"), ("gift", 1, "p"), ("sale", 1.5, "p"),
                                 ("sale", 1, "")):  # fmt: skip
        with pytest.raises(BadInput):
            store.add_stock_event(kind, product, units)


def test_an_export_read_into_a_fresh_store_and_out_again_is_the_same_file(store, tmp_path):
    store.save_shop(Shop(timezone="Europe/Vienna"))
    store.import_laps(laps_file(200))
    store.correct_lap("lap-3", {"note": "'@SUM(A1)", "seconds": "0.1234567890123"})
    first, second = io.BytesIO(), io.BytesIO()
    assert store.export_laps(first) == 200
    fresh = open_store(str(tmp_path / "fresh.sqlite"))
    fresh.save_shop(store.shop())
    fresh.import_laps(read_laps(first.getvalue(), fresh.shop()))
    fresh.export_laps(second)
    assert first.getvalue() == second.getvalue()
    fresh.close()


def test_progress_is_told_from_nothing_to_all(store):
    told = []
    store.import_laps(laps_file(), lambda done, total: told.append((done, total)))
    assert told[0] == (0, 60) and told[-1] == (60, 60)


# --- places that cannot be used ---


def test_a_store_that_is_not_to_be_made_is_said_to_be_missing(tmp_path):
    (tmp_path / "empty.sqlite").touch()
    for name in ("typo.sqlite", "no/folder.sqlite", "empty.sqlite"):
        with pytest.raises(NotFound, match="There is no store"):
            open_store(str(tmp_path / name), create=False)
    assert [place.name for place in tmp_path.iterdir()] == ["empty.sqlite"]


@pytest.mark.parametrize("place", ["place/x", "place:port/x", "pl@ce/x"])
def test_a_password_in_the_stores_address_is_never_repeated(place):
    for kind in ("nosuch", "postgresql+nosuch"):
        with pytest.raises(StoreProblem) as said:
            open_store(f"{kind}://me:se@cret@{place}")
        assert "cret" not in str(said.value) and "me:***@" in str(said.value)


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_a_file_that_is_written_anew_is_whole_or_as_it_was(store, tmp_path, monkeypatch):
    store.import_laps(laps_file(5))
    target = tmp_path / "out.csv"
    target.write_text("what was there")
    (tmp_path / "link.csv").symlink_to(target)

    def full_disk(_handle):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr("os.fsync", full_disk)
        with pytest.raises(Problem, match="No space left"):
            store.export_laps(target)
    assert target.read_text() == "what was there"
    store.export_laps(tmp_path / "link.csv")
    assert len(target.read_text().splitlines()) > 5 and (tmp_path / "link.csv").is_symlink()
    assert {place.name for place in tmp_path.iterdir()} == {"deep", "link.csv", "out.csv"}


def test_a_file_that_is_no_store_is_named_and_left_alone(tmp_path):
    place = tmp_path / "notes.sqlite"
    place.write_bytes(b"these are my notes, not a store" * 100)
    with pytest.raises(StoreProblem, match="notes.sqlite is not a store"):
        open_store(str(place))
    assert place.read_bytes() == b"these are my notes, not a store" * 100


def test_a_damaged_store_is_named_with_what_to_do(tmp_path):
    place = tmp_path / "workshop.sqlite"
    store = open_store(str(place))
    store.import_laps(laps_file(500))
    store.close()
    data = bytearray(place.read_bytes())
    data[8192:] = b"\xa5" * (len(data) - 8192)
    place.write_bytes(bytes(data))
    with pytest.raises(StoreProblem, match="damaged; stop the program, then bring back"):
        open_store(str(place)).laps()


def test_a_store_that_can_only_be_read_is_said_to_be_so(tmp_path, monkeypatch):
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    place = tmp_path / "workshop.sqlite"
    store = open_store(str(place))
    store.import_laps(laps_file(5))
    reader = open_store(f"sqlite:///file:{place}?mode=ro&uri=true")
    assert list(Path.cwd().iterdir()) == [], "an address of that form is no folder to make"
    assert len(reader.laps()) == 5
    with pytest.raises(StoreProblem, match="can only be read; give yourself the right"):
        reader.import_laps(laps_file(6))
    reader.close()
    store.close()


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_a_full_disk_leaves_the_store_as_it_was(store):
    store.import_laps(laps_file(50))
    before = store.laps()

    def small_disk(connection, _record):
        connection.execute("PRAGMA max_page_count = 60")

    sa.event.listen(store.engine, "connect", small_disk)
    store.engine.dispose()
    with pytest.raises(StoreProblem, match="does not fit on the disk any more; free some space"):
        store.import_laps(laps_file(5000, 2, "many"))
    pd.testing.assert_frame_equal(store.laps(), before)


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_a_store_held_by_another_program_is_said_to_be_in_use(store, monkeypatch):
    monkeypatch.setattr("analysis.store.connection.BUSY_SECONDS", 0)
    other = sqlite3.connect(store.place, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    waiting = open_store(store.place)
    with pytest.raises(StoreProblem, match="in use by another program"):
        waiting.import_laps(laps_file())
    other.execute("ROLLBACK")
    other.close()
    assert waiting.import_laps(laps_file()).new == 60
    waiting.close()


def test_a_folder_or_an_address_that_cannot_be_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    for url, said in ((str(tmp_path / "file" / "x.sqlite"), "folder"),
                      ("nosuch://place/x", "cannot be used"),
                      (str(tmp_path), "cannot be opened")):  # fmt: skip
        with pytest.raises(StoreProblem, match=said):
            open_store(url)


# --- versions ---


def test_a_store_of_version_1_is_migrated_with_all_its_laps(tmp_path):
    place = str(tmp_path / "old.sqlite")
    engine = open_engine(place)
    bring_up_to_date(engine, "0001")
    assert not sa.inspect(engine).has_table("day_total")
    file = laps_file()
    laps = file.frame.drop(columns="row").assign(started_at=file.frame.started_at.astype("int64"))
    with engine.begin() as connection:
        connection.execute(sa.insert(tables.change), {"at": 0, "kind": "import", "what": "old"})
        rows = laps.assign(change_id=1).astype(object).to_dict("records")
        connection.execute(sa.insert(tables.lap), rows)
        shop = {"change_id": 1, "name": "shop", "text": '[shop]\ntimezone = "Pacific/Auckland"'}
        connection.execute(sa.insert(tables.document), shop)
    engine.dispose()
    store = open_store(place)
    assert version_of(store.engine) == VERSION
    same_laps(store, file.frame)
    check_totals(store)
    store.undo(1)
    assert store.laps().empty
    store.close()


def test_the_migrations_make_exactly_the_tables_the_program_uses(store):
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection)
        assert compare_metadata(context, bench_tables.metadata) == []


def test_a_store_of_a_newer_version_is_not_touched(store):
    with store.engine.begin() as connection:
        connection.execute(sa.text("UPDATE alembic_version SET version_num = '0999'"))
    with pytest.raises(StoreProblem, match="newer version"):
        open_store(store.place)
    with store.engine.begin() as connection:
        connection.execute(sa.text(f"UPDATE alembic_version SET version_num = '{VERSION}'"))
