"""A batch's minutes: what they went into, and the hours nobody worked on it."""

import pandas as pd
import pytest

from analysis.records.shop import Shop
from analysis.study.batch_time import batch_time
from analysis.study.minutes import open_clock
from analysis.study.summary import study
from tests.study.building import laps_frame

BATCH = {"batch": "001", "units": 5}


def test_minutes_add_up_by_operation_and_activity():
    laps = laps_frame([
        {"operation": "cut", "seconds": 100, **BATCH},
        {"operation": "cut", "seconds": 40, "activity": "setup"},
        {"operation": "wrap", "seconds": 60, **BATCH, "scrap_units": 1},
    ])  # fmt: skip
    table = study(laps).minutes
    assert table["seconds"].sum() == laps["seconds"].sum()
    assert table["activity"].tolist() == ["operation", "operation", "setup"]
    assert table["seconds_per_good_piece"].tolist() == pytest.approx([25, 15, 10])
    assert table["share"].sum() == pytest.approx(1)


def test_two_people_at_one_batch_at_once_leave_no_gap_and_none_is_counted_twice():
    """09:00-10:00 maker, 09:30-11:00 helper, 13:00-14:00 maker: five hours, two of them idle."""
    day = "2026-03-02T"
    laps = laps_frame([
        {"operation": "cut", "seconds": 3600, "started_at": day + "09:00Z", **BATCH},
        {"operation": "fold", "seconds": 5400, "started_at": day + "09:30Z", "worker": "helper",
         **BATCH},
        {"operation": "wrap", "seconds": 3600, "started_at": day + "13:00Z", **BATCH},
    ])  # fmt: skip
    batch = study(laps).batches.iloc[0]
    assert batch["elapsed_hours"] == pytest.approx(5)
    assert batch["worked_hours"] == pytest.approx(3.5)
    assert batch["hours_nobody_worked"] == pytest.approx(2)
    # The default shop is closed from 12 to 13.
    assert batch["open_hours_nobody_worked"] == pytest.approx(1)


def test_a_night_and_a_weekend_are_not_opening_hours():
    laps = laps_frame([
        {"operation": "cut", "seconds": 3600, "started_at": "2026-03-06T15:00Z", **BATCH},
        {"operation": "wrap", "seconds": 3600, "started_at": "2026-03-09T09:00Z", **BATCH},
    ])  # fmt: skip
    batch = study(laps).batches.iloc[0]
    assert batch["hours_nobody_worked"] == pytest.approx(65)
    assert batch["open_hours_nobody_worked"] == pytest.approx(2)  # Friday 16-17, Monday 8-9


def test_opening_hours_keep_to_the_wall_clock_when_it_changes():
    shop = Shop(timezone="America/Chicago", week={"Sun": ((0, 6 * 3600),)})
    first = pd.Timestamp("2026-11-01T00:00", tz="America/Chicago").tz_convert("UTC")
    clock = open_clock(first, first + pd.Timedelta(days=1), shop)
    times = pd.Series([first, first + pd.Timedelta(hours=30)])
    # From midnight to six o'clock there are seven hours that night.
    assert clock(times).tolist() == pytest.approx([0, 7 * 3600])


def test_a_batch_is_finished_when_every_piece_is_good_or_lost():
    rows = [
        {"operation": "cut", "seconds": 100, "units": 10, "batch": "001"},
        {"operation": "wrap", "seconds": 100, "units": 10, "scrap_units": 1, "batch": "001"},
        {"operation": "cut", "seconds": 100, "units": 10, "batch": "002"},
        {"operation": "wrap", "seconds": 100, "units": 6, "batch": "002"},
    ]
    batches = study(laps_frame(rows)).batches
    assert batches["batch"].tolist() == ["001", "002"]
    assert batches["finished"].tolist() == [True, False]
    assert batches["good_units"].tolist() == [9, 6]


def test_an_interruption_of_no_product_is_no_batch():
    """On Minutes there would be a product without a name to choose."""
    rows = [
        {"operation": "cut", "seconds": 100, "units": 10, "batch": "001"},
        {"product": "", "operation": "", "activity": "delay", "seconds": 60, "batch": "001"},
    ]
    assert study(laps_frame(rows)).batches["product"].tolist() == ["box"]


def test_a_batch_only_set_up_for_is_not_finished_and_makes_no_batch_quicker():
    rows = [{"operation": step, "seconds": 300, "units": 10, "batch": batch}
            for batch in "12" for step in ("cut", "wrap")]  # fmt: skip
    found = study(laps_frame([*rows, {"operation": "cut", "activity": "setup", "seconds": 60,
                                      "batch": "3"}]))  # fmt: skip
    assert found.batches["finished"].tolist() == [True, True, False]
    time = batch_time(found.laps, found.batches, found.route, "box", last=6)
    assert (time.batches, time.per_batch.value) == (2, 600)
