"""The demo's true values, asked back from its laps; and its plain sums, done again row by row."""

import collections
import csv
import datetime
import json
import math
import zoneinfo

import numpy as np
import pandas as pd
import pytest

from tests import demo
from tests.study.bindery_truth import cells_at_the_end

SAMPLES = demo.SAMPLES
TRUTH = json.loads((SAMPLES / "truth.json").read_text())
CELLS = pd.DataFrame(TRUTH["cells"])
KEYS = ["product", "operation"]


@pytest.fixture
def found():
    return demo.studied()


@pytest.fixture(scope="module")
def rows():
    with (SAMPLES / "laps.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_forgotten_stops_are_found_and_hardly_anything_else_is_set_aside(found):
    """A tray of 25 that ran over by half an hour may pass for a slow one: 8 of 9 would do.

    The limit |z| > 3.5 leaves 0.05 % of a normal scatter; sessions of a careless day add to it.
    """
    true = set(TRUTH["forgotten_stop_lap_ids"])
    aside = set(found.set_aside["lap_id"])
    assert len(true & aside) >= len(true) - 1
    assert len(aside - true) < 0.005 * found.laps_read


def test_present_times_cover_the_truth(found):
    """Normal time of an operation: workers by pieces, practice as it stands at the file's last lap,
    restarts as usual.

    Were the 27 intervals independent and exact, fewer than 22 of them would hold the truth once
    in a thousand.
    """
    cells = cells_at_the_end(TRUTH, found.laps)
    rating = cells["worker"].map(TRUTH["rating_percent"]) / 100
    seconds = cells["present_seconds"] * cells["mean_restart_multiple"] * rating
    weighted = (seconds * cells["pieces_made"]).groupby([cells[k] for k in KEYS]).sum()
    true = weighted / cells.groupby(KEYS)["pieces_made"].sum()
    table = found.operations.set_index(KEYS)
    inside = (table["normal_low"] <= true) & (true <= table["normal_high"])
    assert len(table) == len(true) == 27
    assert inside.sum() >= 22
    # And none is far off: within a fifth, four times the widest interval's error.
    assert np.abs(np.log(table["normal_seconds"] / true)).max() < 0.2


def test_setups_and_walks_cost_what_they_truly_do(found):
    """Lognormal about the mean with sd 0.3: the mean of n strays by 0.3 / sqrt(n); three of it."""
    minutes = found.minutes[found.minutes["activity"].isin(["setup", "transport"])]
    true = {
        ("setup", product, operation["name"]): operation["setup_seconds"]
        for product, operations in TRUTH["operations"].items()
        for operation in operations
    }
    expected = sum(
        row.laps * (TRUTH["walk_seconds"] if row.activity == "transport"
                    else true["setup", row.product, row.operation])
        for row in minutes.itertuples()
    )  # fmt: skip
    spread = 3 * TRUTH["errand_sd"] / math.sqrt(minutes["laps"].sum())
    assert minutes["seconds"].sum() == pytest.approx(expected, rel=spread)


def test_chances_of_a_fault_are_covered(found):
    """Of the faults of constant chance in two products, 8 intervals: fewer than 6 of them hold
    the truth once in 170, if they are exact."""
    quality = found.quality.set_index(KEYS)
    inside = []
    for defect in TRUTH["defects"]:
        if defect["operation"] == "trim":
            continue  # there another fault, the glue's, is found as well
        right = 1 - defect["rework_chance"] - defect["scrap_chance"]
        for product in TRUTH["operations"]:
            row = quality.loc[(product, defect["operation"])]
            inside.append(row["first_pass_yield_low"] <= right <= row["first_pass_yield_high"])
            if defect["rework_chance"] and defect["scrap_chance"]:
                lost = defect["scrap_chance"]
                inside.append(row["scrap_rate_low"] <= lost <= row["scrap_rate_high"])
    assert len(inside) == 8
    assert sum(inside) >= 6


def test_interruptions_take_the_share_they_truly_take(found):
    """After a lap of h hours one comes with chance 1 - exp(-rate h), 240 s long on average."""
    seconds = found.laps.loc[found.laps["activity"].isin(["operation", "inspection"]), "seconds"]
    usual = seconds[~found.laps["suspicious"]] / 3600
    expected = (1 - np.exp(-TRUTH["delays_per_hour"] * usual)).sum()
    times = found.delays["times"].sum()
    assert times == pytest.approx(expected, abs=3 * math.sqrt(expected))
    # exp(N(-0.32, 0.8)) has mean 1 and sd 0.95.
    mean = found.delays["seconds"].sum() / times
    assert mean == pytest.approx(TRUTH["delay_seconds"], rel=3 * 0.95 / math.sqrt(times))


def test_mending_takes_what_it_truly_takes(found):
    for operation, mean in TRUTH["rework_seconds"].items():
        table = found.quality[found.quality["operation"] == operation]
        pieces = table["rework_units"].sum()
        # At least one lap a fault and batch; some thirty of them: 3 x 0.3 / sqrt(15).
        assert table["rework_seconds"].sum() / pieces == pytest.approx(mean, rel=0.23)


def test_sewing_is_the_bottleneck_as_it_was_made_to_be(found):
    assert (found.takt["bottleneck"] == "sew").all()
    assert (found.takt["bottleneck_probability"] > 0.95).all()


def test_every_piece_sewn_is_wrapped_lost_or_still_on_its_way(found):
    batches = found.batches
    done = batches[batches["finished"]]
    regular = found.laps[found.laps["activity"].isin(["operation", "inspection"])]
    lost = regular.groupby("batch", observed=True)["scrap_units"].sum()
    gone = done["units_started"] - done["good_units"]
    assert (gone.to_numpy() == lost.reindex(done["batch"]).to_numpy()).all()
    assert 2 <= (~batches["finished"]).sum() <= 6


def test_weeks_are_the_same_counted_by_hand(found, rows):
    zone = zoneinfo.ZoneInfo(TRUTH["timezone"])
    good, hours = collections.Counter(), collections.Counter()
    for row in rows:
        local = datetime.datetime.fromisoformat(row["started_at"]).astimezone(zone)
        monday = local.date() - datetime.timedelta(days=local.weekday())
        hours[monday] += float(row["seconds"]) / 3600
        if row["operation"] == "wrap" and row["activity"] == "operation":
            good[monday] += int(row["units"]) - int(row["scrap_units"])
    assert len(found.weeks) == TRUTH["weeks"]
    for week in found.weeks.itertuples():
        assert week.good_units == good[week.week_start.date()]
        assert week.bench_hours == pytest.approx(hours[week.week_start.date()])


def test_operations_are_the_same_counted_by_hand(found, rows):
    aside = set(found.set_aside["lap_id"])
    seconds, units, laps = (collections.Counter() for _ in range(3))
    faults, all_units = collections.Counter(), collections.Counter()
    for row in rows:
        if row["activity"] in ("operation", "inspection"):
            key = row["product"], row["operation"]
            faults[key] += int(row["rework_units"]) + int(row["scrap_units"])
            all_units[key] += int(row["units"])
            if row["lap_id"] not in aside:
                seconds[key] += float(row["seconds"])
                units[key] += int(row["units"])
                laps[key] += 1
    for row in found.operations.itertuples():
        key = row.product, row.operation
        assert (row.laps, row.units) == (laps[key], units[key])
        assert row.observed_seconds == pytest.approx(seconds[key] / units[key])
        assert row.observed_low < row.observed_seconds < row.observed_high
    for row in found.quality.itertuples():
        key = row.product, row.operation
        assert row.first_pass_yield == pytest.approx(1 - faults[key] / all_units[key])
