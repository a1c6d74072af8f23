"""All that Putting right reads out: what more time would do, on few data and on the demo."""

from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.records.shop import Product, Shop, Worker
from analysis.study.more_time import COLUMNS, more_time
from analysis.study.putting_right import CARE_BINS, batch_sizes, care_bins, putting_right
from analysis.study.summary import study
from tests.examples import examples
from tests.study.building import laps_frame
from tests.study.test_any_laps import LAPS, ROUTING, SHOP

PAID = Shop(
    workers=(Worker("maker", cost_per_hour=36.0),),
    products=(Product("box", material_cost=2.0, batch_size=10),),
)


def figures(rows, shop=PAID, seed=0):
    found = study(laps_frame(rows), None, shop)
    return found, putting_right(found, np.random.default_rng(seed))


BAD = {
    "one lap": [{"seconds": 60}],
    "no fault": [{"seconds": 60, "batch": str(n)} for n in range(8)],
    "nothing but lost": [{"seconds": 60, "units": 5, "scrap_units": 5, "batch": str(n)}
                         for n in range(8)],
    "nothing but mended": [{"seconds": 60, "units": 5, "rework_units": 5, "batch": str(n)}
                           for n in range(8)],
    "no batch, no cause": [{"seconds": 60 + n, "units": 5, "rework_units": n % 3 == 0}
                           for n in range(40)],
    "three batches": [{"operation": name, "seconds": 60, "units": 5, "batch": str(n),
                       "rework_units": int(name == "trim")}
                      for n in range(3) for name in ("glue", "trim")],
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
@pytest.mark.parametrize(
    "shop", [PAID, pytest.param(Shop(), marks=pytest.mark.slow)], ids=["paid", "not paid"]
)
def test_bad_or_few_data_are_answered_and_never_fall_over(case, shop):
    found, got = figures(BAD[case], shop)
    for option in got.more_time.options.itertuples():
        table = got.more_time.tried(option.product, option.operation)
        assert list(table.columns) == list(COLUMNS) and len(table)
    assert len(got.starts) == len(batch_sizes(found))
    total = got.cost.kinds.set_index("kind").loc["all"]
    if case in ("nothing but mended", "no batch, no cause", "three batches"):
        assert np.isnan(total["seconds_per_week"])  # flagged, and no mending was timed
    else:
        assert total["seconds_per_week"] >= 0
    if case == "no fault":
        assert total["seconds_per_week"] == 0 and got.more_time.options.empty


def glued_with_care(rng, batches=40):
    """Gluing 30 to 60 s a piece; the less time, the more is squeezed out and trimmed, 100 s each:
    faults 30 % at 30 s, 10 % at 42 s, 3 % at 60 s."""
    rows = []
    for number in range(batches):
        each = 42 * np.exp(rng.normal(0, 0.2))
        wrong = int(rng.binomial(20, 1 / (1 + np.exp(2.2 + 4 * np.log(each / 42)))))
        batch = {"batch": str(number), "units": 20}
        rows += [
            {**batch, "operation": "glue", "seconds": 20 * each},
            {**batch, "operation": "trim", "seconds": 20 * 30 * np.exp(rng.normal(0, 0.05)),
             "rework_units": wrong, "cause_operation": "glue" if wrong else ""},
        ]  # fmt: skip
        if wrong:
            mended = {"operation": "trim", "seconds": 100 * wrong, "units": wrong}
            rows.append(batch | mended | {"activity": "rework", "cause_operation": "glue"})
    return rows


@cache
def careful():
    """Study and figures of one such bench, worked out once: several tests look at them."""
    return figures(glued_with_care(np.random.default_rng(3)))


def test_time_that_spares_mending_later_is_weighed_against_what_it_takes():
    """At 42 s a tenth more spares 100 s x (10.0 % - 7.0 %) = 3.0 s of mending, and takes 4.2 s."""
    _, got = careful()
    table = got.more_time.tried("box", "glue")
    assert table["told"].all() and (table["later"] == "trim").all()
    now = float(table["seconds_now"].iloc[0])
    row = table.iloc[(table["seconds"] - 1.1 * now).abs().argmin()]
    more = row["seconds"] / now
    truth = 100 * (1 / (1 + np.exp(2.2)) - 1 / (1 + np.exp(2.2 + 4 * np.log(more))))
    assert row["later_low"] < truth < row["later_high"]
    # A hundredth a second: what is saved is the mending spared less the time it takes.
    assert row["saved"] == pytest.approx((row["later_seconds"] - row["more_seconds"]) / 100)
    assert row["saved_low"] < row["saved"] < row["saved_high"]


def test_no_change_of_time_saves_nothing_and_costs_nothing():
    _, got = figures(glued_with_care(np.random.default_rng(4)))
    table = got.more_time.tried("box", "glue")
    same = table[table["more_seconds"] == 0]
    assert len(same) == 1 and np.allclose(same[["saved", "later_seconds"]], 0)


def test_without_a_wage_the_trade_is_told_in_seconds_of_work():
    _, got = figures(glued_with_care(np.random.default_rng(3)), Shop())
    table = got.more_time.tried("box", "glue")
    assert not table["in_money"].any()
    row = table.iloc[-1]
    assert row["saved"] == pytest.approx(row["later_seconds"] - row["more_seconds"])


def test_paces_nobody_worked_at_are_marked_as_not_seen():
    found, got = careful()
    table = got.more_time.tried("box", "glue")
    assert table["seen"].any()
    narrow = got.care.points.assign(pace=got.care.points["pace"] / 100)
    care = type(got.care)(got.care.pairs, narrow, "")
    again = more_time(found, got.spoilage, got.at_stake, care).tried("box", "glue")
    assert not again.loc[again["more_seconds"].abs() > 2, "seen"].any()


def test_batches_are_binned_without_losing_one():
    _, got = careful()
    points = got.care.points
    bins = care_bins(points)
    assert len(bins) == CARE_BINS
    assert bins["batches"].sum() == len(points)
    assert bins["faults"].sum() == points["faults"].sum()
    assert (bins["low"] <= bins["share"]).all() and (bins["share"] <= bins["high"]).all()
    assert bins["percent"].is_monotonic_increasing
    assert len(care_bins(points.head(2))) == 2 and care_bins(points.head(0)).empty


def test_the_same_laps_and_seed_give_the_same_figures_to_the_last_digit():
    first, second = careful()[1], figures(glued_with_care(np.random.default_rng(3)))[1]
    for name in ("kinds", "causes", "products"):
        pd.testing.assert_frame_equal(getattr(first.cost, name), getattr(second.cost, name))
    tried = (one.more_time.tried("box", "glue") for one in (first, second))
    pd.testing.assert_frame_equal(*tried)
    pd.testing.assert_frame_equal(first.starts, second.starts)


@settings(max_examples=examples(25), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(LAPS, st.booleans(), st.booleans())
def test_any_laps_are_answered_and_the_views_add_up_to_one_sum(rows, with_routing, with_shop):
    lost = [
        row | {"scrap_units": row["units"] - row["rework_units"], "cause_operation": "cut"}
        if row["seconds"] > 60000
        else row
        for row in rows
    ]
    routing = ROUTING if with_routing else None
    found = study(laps_frame(lost), routing, SHOP if with_shop else None)
    got = putting_right(found, np.random.default_rng(0))
    cost = got.cost
    total = cost.kinds.set_index("kind").loc["all"]
    for view in (cost.found, cost.caused, cost.causes):
        # With mending that was never timed and nothing else, all of it is unknown.
        in_all = np.nan_to_num(total["seconds_per_week"])
        assert view["seconds_per_week"].sum() == pytest.approx(in_all)
        known = view.dropna(subset=["seconds_low"])
        assert (known["seconds_low"] <= known["seconds_per_week"]).all()
        parts = view[["rework_seconds", "untimed_seconds", "scrap_seconds"]]
        assert (parts.fillna(0) >= 0).all(axis=None)
    faults = (found.quality["rework_units"] + found.quality["scrap_units"]).sum()
    assert got.variants["faults"].sum() == faults
    assert got.workers["faults"].sum() == pytest.approx(faults)
    assert got.weeks["faults"].sum() == faults
    some = got.starts.dropna(subset=["pieces"])
    assert (some["pieces"] >= some["good"]).all()
    assert (some["pieces_low"] <= some["pieces"]).all()
