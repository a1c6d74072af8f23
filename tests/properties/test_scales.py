"""What must hold of the calculations in whatever units: of time, of money, of hours, of demand."""

import dataclasses

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.records.laps import CATEGORIES, LONGEST_SECONDS
from analysis.records.shop import Shop
from tests.properties.demo import CLOSE, answered, by, few, numbers, plain, shop, some_laps


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


def in_other_money(factor: float) -> Shop:
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


def busier(hours: float, demand: float) -> Shop:
    """The demo's shop with its hours and its demand multiplied; no more than a day has room for."""

    def asked(one):
        wanted = one.demand_per_week
        return one if wanted is None else dataclasses.replace(one, demand_per_week=wanted * demand)

    week = {
        day: tuple((start, start + round(hours * (end - start))) for start, end in open_from)
        for day, open_from in shop().week.items()
    }
    products = tuple(asked(one) for one in shop().products)
    return dataclasses.replace(shop(), week=week, products=products)


@few
@given(st.sampled_from([0.25, 0.5]), st.sampled_from([0.5, 2.0, 4.0]))
def test_twice_the_hours_is_twice_the_takt_and_twice_the_demand_half_of_it(hours, demand):
    little = busier(hours, demand)
    assert little.week_seconds == hours * shop().week_seconds > 0
    old, new = plain()["takt"], answered(some_laps(), little)["takt"]
    assert len(old) > 0
    assert not all(row["workers_needed"] is None for row in old)
    factors = {"takt_seconds": hours / demand, "workers_needed": demand / hours,
               "demand_per_week": demand, "work_content_seconds": 1}  # fmt: skip
    for column, factor in factors.items():
        assert numbers(new, column) == pytest.approx(
            [factor * one for one in numbers(old, column)], rel=CLOSE, nan_ok=True
        ), column
