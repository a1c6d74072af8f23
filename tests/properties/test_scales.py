"""What must hold of the calculations whatever the laps: units, order and halves of a file."""

import dataclasses
from functools import cache

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from analysis.records.laps import CATEGORIES, LONGEST_SECONDS, LapsFile, read_laps
from analysis.records.shop import read_shop
from analysis.store.store import open_store
from analysis.study.contract import as_contract
from analysis.study.summary import study
from tests.bench.serving import ROOT

SAMPLES = ROOT / "data_samples"
MOST_LAPS = 120  # of the demo's: a study of them takes a part of a second
few = settings(
    max_examples=2, phases=[Phase.generate], deadline=None, suppress_health_check=list(HealthCheck)
)
# Sums are taken in another order and in other units: 1e-6 is far above rounding and far below
# anything a maker could see. Fitted curves stop at their own tolerance and are left out.
CLOSE = 1e-6


@cache
def shop():
    return read_shop(str(SAMPLES / "shop.toml"))


@cache
def some_laps() -> pd.DataFrame:
    """The demo's first laps; the caller copies before changing."""
    return read_laps(str(SAMPLES / "laps.csv"), shop()).frame.iloc[:MOST_LAPS]


def answered(laps: pd.DataFrame, of_shop=None) -> dict:
    return as_contract(study(laps, None, of_shop or shop()))


@cache
def plain() -> dict:
    return answered(some_laps())


def by(rows: list[dict], *keys: str) -> dict:
    return {tuple(row[key] for key in keys): row for row in rows}


def numbers(rows: list[dict], column: str) -> list:
    return [np.nan if row[column] is None else row[column] for row in rows]


@few
@given(st.sampled_from([0.25, 0.5, 2.0]))
def test_laps_in_another_unit_of_time_scale_seconds_and_leave_shares_alone(factor):
    laps = some_laps()
    laps = laps.assign(seconds=laps.seconds * factor)
    assert laps.seconds.max() <= LONGEST_SECONDS
    before, after = plain(), answered(laps)
    old, new = before["operations"], after["operations"]
    assert numbers(new, "observed_seconds") == pytest.approx(
        [factor * one for one in numbers(old, "observed_seconds")], rel=CLOSE, nan_ok=True
    )
    for column in ("share_of_bench_time", "laps"):
        assert numbers(new, column) == pytest.approx(numbers(old, column), rel=CLOSE, nan_ok=True)
    for row, was in zip(after["quality"], before["quality"], strict=True):
        assert row["first_pass_yield"] == was["first_pass_yield"]
    hours = numbers(before["weeks"], "bench_hours")
    assert numbers(after["weeks"], "bench_hours") == pytest.approx(
        [factor * one for one in hours], rel=CLOSE
    )


def in_other_money(factor: float):
    """The demo's shop in a currency worth 1 / factor of its own."""

    def times(one, *names):
        money = {name: getattr(one, name) for name in names}
        return dataclasses.replace(
            one, **{name: factor * value for name, value in money.items() if value is not None}
        )

    return times(
        dataclasses.replace(
            shop(),
            workers=tuple(times(one, "cost_per_hour") for one in shop().workers),
            products=tuple(times(one, "price", "material_cost") for one in shop().products),
        ),
        "overhead_per_week",
    )


@few
@given(st.sampled_from([0.5, 2.0, 100.0]))
def test_another_currency_scales_costs_and_earnings_and_no_time(factor):
    old, found = plain(), answered(some_laps(), in_other_money(factor))
    assert len(found["cost"]) == len(old["cost"]) > 0
    for column in ("labour", "material", "overhead", "cost_per_good_piece", "price",
                   "earned_per_hour", "rework_and_scrap"):  # fmt: skip
        assert numbers(found["cost"], column) == pytest.approx(
            [factor * one for one in numbers(old["cost"], column)], rel=CLOSE, nan_ok=True
        ), column
    assert found["operations"] == old["operations"]


@few
@given(st.integers(0, 2**32 - 1))
def test_the_order_of_the_rows_of_a_file_changes_no_figure_of_its_laps(seed):
    laps = some_laps()
    order = np.random.default_rng(seed).permutation(len(laps))
    found = answered(laps.iloc[order].reset_index(drop=True))
    for part in ("operations", "quality"):
        old = by(plain()[part], "product", "operation")
        new = by(found[part], "product", "operation")
        assert set(old) == set(new)
        for key, row in old.items():
            for column in ("observed_seconds", "units", "first_pass_yield", "scrap_rate"):
                if column in row:
                    assert new[key][column] == pytest.approx(row[column], rel=CLOSE), (key, column)
    for column in ("good_units", "bench_hours"):
        assert numbers(found["weeks"], column) == pytest.approx(
            numbers(plain()["weeks"], column), rel=CLOSE
        )


@few
@given(st.integers(1, MOST_LAPS - 1), st.booleans())
def test_two_halves_of_a_file_taken_in_either_order_are_the_whole_file(
    tmp_path_factory, at, turned
):
    laps, folder = some_laps(), tmp_path_factory.mktemp("halves")

    def stored(name: str, parts: list[pd.DataFrame]) -> pd.DataFrame:
        store = open_store(f"sqlite:///{folder / name}")
        for part in parts:
            with_offsets = pd.array([pd.NA] * len(part), "Int64")
            store.import_laps(LapsFile("half", part.reset_index(drop=True), with_offsets))
        kept = store.laps().sort_values("lap_id", ignore_index=True)
        store.close()
        return kept.astype(dict.fromkeys(kept.select_dtypes("category"), str))

    halves = [laps.iloc[:at], laps.iloc[at:]]
    pd.testing.assert_frame_equal(
        stored("halves", halves[::-1] if turned else halves), stored("whole", [laps])
    )


@few
@given(st.integers(2, 50))
def test_a_batch_without_faults_never_lowers_the_first_pass_yield(units):
    laps = some_laps()
    clean = laps[laps.activity == "operation"].iloc[[-1]]
    clean = clean.assign(lap_id="a-clean-batch", batch="999", units=units, rework_units=0,
                         scrap_units=0)  # fmt: skip
    both = pd.concat([laps, clean], ignore_index=True)
    both = both.astype(dict.fromkeys(CATEGORIES, "category"))
    found = by(answered(both)["quality"], "product", "operation")
    for key, was in by(plain()["quality"], "product", "operation").items():
        assert found[key]["first_pass_yield"] >= was["first_pass_yield"]


@few
@given(st.sampled_from([0.5, 2.0, 4.0]))
def test_takt_falls_as_demand_rises(factor):
    def asked(one):
        demand = one.demand_per_week
        return one if demand is None else dataclasses.replace(one, demand_per_week=demand * factor)

    more = dataclasses.replace(shop(), products=tuple(asked(one) for one in shop().products))
    old, new = plain()["takt"], answered(some_laps(), more)["takt"]
    assert len(old) > 0
    assert numbers(new, "takt_seconds") == pytest.approx(
        [one / factor for one in numbers(old, "takt_seconds")], rel=CLOSE, nan_ok=True
    )
