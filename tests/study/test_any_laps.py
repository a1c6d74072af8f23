"""Whatever was logged, the study answers, and its sums hold."""

import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.records.shop import Product, Shop, Worker
from analysis.study.contract import as_contract
from analysis.study.summary import study
from tests.examples import examples
from tests.study.building import laps_frame, routing_frame

NAMES = st.sampled_from(["cut", "glue", "wrap"])
LAP = st.fixed_dictionaries({
    "product": st.sampled_from(["box", "tray"]),
    "operation": NAMES,
    "variant": st.sampled_from(["", "plain", "painted"]),
    "batch": st.sampled_from(["", "001", "1"]),
    "worker": st.sampled_from(["maker", "helper"]),
    "activity": st.sampled_from(
        ["operation", "inspection", "setup", "rework", "transport", "delay"]
    ),
    "seconds": st.floats(0.1, 86400),
    "units": st.integers(1, 50),
    "rework_units": st.integers(0, 1),
    "rating": st.floats(50, 150),
})  # fmt: skip
LAPS = st.lists(LAP, min_size=1, max_size=40)
SHOP = Shop(
    workers=(Worker("maker", 20.0), Worker("helper", None, 5.0)),
    products=(Product("box", "", 10, 5, 20.0, 3.0), Product("box", "plain"), Product("hat")),
    overhead_per_week=50.0,
)
ROUTING = routing_frame([
    {"operation": "wrap", "after": "glue"},
    {"operation": "glue", "variant": "plain", "wait_seconds": 60.0},
    {"product": "hat", "operation": "felt"},
])  # fmt: skip


@settings(max_examples=examples(40), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(LAPS, st.booleans(), st.booleans())
def test_any_laps_are_answered_and_add_up(rows, with_routing, with_shop):
    # A lap that took most of a day loses all its pieces, so that losses occur too.
    spoiled = [
        {**row, "scrap_units": row["units"] - row["rework_units"]}
        if row["seconds"] > 80000
        else row
        for row in rows
    ]
    laps = laps_frame(spoiled)
    found = study(laps, ROUTING if with_routing else None, SHOP if with_shop else None)
    answer = as_contract(found)
    json.dumps(answer, allow_nan=False)
    assert answer["laps"]["read"] == answer["laps"]["used"] + len(answer["laps"]["set_aside"])
    hours = sum(week["bench_hours"] for week in answer["weeks"])
    assert hours == pytest.approx(laps["seconds"].sum() / 3600)
    assert found.minutes["seconds"].sum() == pytest.approx(laps["seconds"].sum())
    assert sum(row["share_of_bench_time"] for row in answer["operations"]) <= 1 + 1e-9
    for row in answer["quality"]:
        if row["first_pass_yield"] is None:  # nothing but mending there
            assert row["first_pass_yield_ci95"] is None
            continue
        low, high = row["first_pass_yield_ci95"]
        assert 0 <= low <= row["first_pass_yield"] <= high <= 1
    for row in answer["cost"]:
        if row["cost_per_good_piece"] is not None:
            parts = ("labour", "material", "rework_and_scrap", "overhead")
            assert row["cost_per_good_piece"] == pytest.approx(sum(row[name] for name in parts))
    batches = found.batches
    idle = batches["hours_nobody_worked"].to_numpy()
    assert (idle <= batches["elapsed_hours"].to_numpy() + 1e-9).all()
    assert (batches["open_hours_nobody_worked"].to_numpy() <= idle + 1e-9).all()
    shares = found.content.groupby(["product", "variant"])["share"].first().groupby("product").sum()
    assert np.allclose(shares, 1)
