"""Money over weeks against published examples, and against what must hold for any figures.

tests/reference/economics.json says of each figure where it was READ, or that it is FROM MEMORY.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.decisions.ledger import Entry, Ledger
from analysis.decisions.money import (
    NORMAL_95,
    annuity_factor,
    at,
    discount_factors,
    evenly,
    gain_from_knowing,
    payback,
    ratio_at,
    weekly_rate,
)
from analysis.records.scenario import Estimate, sure

CASES = json.loads((Path(__file__).parents[1] / "reference" / "economics.json").read_text())

flows = st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=30)
rates = st.floats(0, 0.5)


def present_value(flows, rate):
    """Of one run's flows, by the ledger that every answer takes it from."""
    entry = Entry("all of it", np.array([flows], float))
    return Ledger((entry,), discount_factors(rate, len(flows) - 1), 1).net_present_values[0]


def test_present_value_of_a_government_sample_project_is_the_published_one():
    case = CASES["omb_a94_sample"]
    costs, benefits = ([0, *case[side]] for side in ("cost", "benefit"))
    published = case["published"]  # to the cent of their unit
    assert present_value(costs, case["rate"]) == pytest.approx(published["pv_cost"], abs=0.005)
    assert present_value(benefits, case["rate"]) == pytest.approx(
        published["pv_benefit"], abs=0.005
    )
    net = np.subtract(benefits, costs)
    assert present_value(net, case["rate"]) == pytest.approx(published["npv"], abs=0.015)


def test_present_value_of_two_published_textbook_flows():
    case = CASES["npv_pattern"]
    for year, (flow, published) in enumerate(
        zip((30_000, 40_000), case["published_terms"], strict=True), 1
    ):
        assert present_value([0] * year + [flow], 0.1) == pytest.approx(published, abs=0.5)
    whole = present_value([-100_000, 30_000, 40_000, 50_000], 0.1)
    assert whole == pytest.approx(case["recomputed"]["npv"], abs=1e-6)
    assert present_value([0, 50, 150], 0.1) == pytest.approx(
        CASES["dpv_mishan"]["published"], abs=0.05
    )


def test_payback_of_a_forest_service_lighting_change_is_the_published_one():
    case = CASES["usfs_payback"]
    cost, saving = case["published"]["cost"], case["published"]["saving"]
    years = payback(np.cumsum([-cost] + [saving] * 10))
    assert years == pytest.approx(case["published"]["payback"], abs=0.005)


def test_simple_and_discounted_payback_of_published_sensors():
    case = CASES["sensors_discounted_payback"]
    flow, rate = case["annual"], case["rate"]
    simple = payback(np.cumsum([-case["cost"]] + [flow] * 5))
    assert simple == pytest.approx(case["published"]["simple"], abs=0.005)
    discounted = [flow / (1 + rate) ** year for year in range(1, 6)]
    assert discounted[:3] == pytest.approx(case["published"]["pv"], abs=0.005)
    years = payback(np.cumsum([-case["cost"], *discounted]))
    assert years == pytest.approx(case["published"]["discounted"], abs=0.005)


def test_payback_of_published_led_lamps():
    case = CASES["led_payback_irr"]
    years = payback(np.cumsum([-225_000] + [40_700] * 10))
    assert years == pytest.approx(case["published"]["payback"], abs=0.0005)


@pytest.mark.parametrize("row", CASES["factors"]["rows"], ids=lambda row: f"{row['i']}-{row['n']}")
def test_annuity_factors_are_those_of_the_printed_tables(row):
    # A table prints five significant digits.
    assert annuity_factor(row["i"], row["n"]) == pytest.approx(row["published"]["PA"], rel=1e-5)
    assert evenly(1, row["i"], row["n"]) == pytest.approx(row["published"]["AP"], abs=5e-5)


def test_52_weeks_of_the_weekly_rate_make_the_years():
    assert (1 + weekly_rate(0.08)) ** 52 == pytest.approx(1.08)
    assert weekly_rate(0) == 0


def test_what_was_never_out_of_pocket_is_paid_back_at_once():
    assert payback(np.cumsum([0, 5, 5])) == 0


def test_what_earns_nothing_is_never_paid_back():
    assert payback(np.zeros(5)) == math.inf
    assert payback(np.cumsum([-10, 3, 3, 3])) == math.inf


def test_paid_back_exactly_at_the_horizon_is_paid_back():
    assert payback(np.cumsum([-1.0] + [0.1] * 10)) == pytest.approx(10)


def test_a_dip_after_the_first_payback_is_not_passed_over():
    assert payback(np.cumsum([-10, 20, -15, 10])) == pytest.approx(2.5)


@given(flows, st.floats(0.01, 100))
def test_a_currency_of_smaller_units_changes_no_payback(flow, units):
    sums = np.round(np.cumsum(flow), 6)  # a millionth is no money, and must not round to none
    assert payback(sums * units) == pytest.approx(payback(sums), rel=1e-6)


@given(st.lists(flows, min_size=2, max_size=4))
def test_runs_side_by_side_pay_back_as_each_alone(rows):
    length = min(map(len, rows))
    sums = np.cumsum([row[:length] for row in rows], axis=1)
    assert payback(sums).tolist() == [float(payback(row)) for row in sums]


@given(flows, rates)
def test_present_value_is_the_sum_of_what_each_flow_is_worth(flow, rate):
    terms = [amount / (1 + rate) ** period for period, amount in enumerate(flow)]
    assert present_value(flow, rate) == pytest.approx(math.fsum(terms), rel=1e-9, abs=1e-6)


@given(st.floats(-1e5, 1e5), rates, st.integers(1, 300))
def test_an_even_amount_is_worth_what_it_was_made_from(value, rate, periods):
    each = evenly(value, rate, periods)
    assert present_value([0] + [each] * periods, rate) == pytest.approx(value, rel=1e-6, abs=1e-6)


@given(st.floats(0.01, 1e6), st.floats(1, 10))
def test_the_ends_of_a_range_hold_nine_cases_in_ten(low, ratio):
    estimate = Estimate(low, low * ratio)
    assert at(estimate, np.array([-NORMAL_95, NORMAL_95])) == pytest.approx([low, low * ratio])
    assert at(sure(low), np.array([-2.0, 0.0])).tolist() == [low, low]


def test_a_range_from_nothing_gives_no_money_below_nothing():
    drawn = at(Estimate(0, 100), np.linspace(-4, 4, 50))
    assert drawn.min() == 0 and drawn[25] > 50


@pytest.mark.parametrize("mean, deviation", [(0.0, 1.0), (0.7, 1.0), (-2.0, 3.0)])
def test_the_gain_from_knowing_is_that_of_choosing_after_looking(mean, deviation):
    # Against a fine sum over the normal density; 1e-6 is the sum's own error.
    z = np.linspace(-9, 9, 200_001)
    density = np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    chosen = np.trapezoid(np.maximum(mean + deviation * z, 0) * density, z)
    gain = chosen - max(mean, 0)
    assert gain_from_knowing(mean, deviation) == pytest.approx(gain, abs=1e-6)
    assert gain_from_knowing(mean, 0.0) == 0


DRAWS = np.random.default_rng(5).standard_normal(20_000)


def test_money_between_two_ends_is_expected_half_way_and_nine_of_ten_lie_between():
    drawn = at(Estimate(800.0, 1600.0), DRAWS)
    error = drawn.std() / np.sqrt(len(drawn))  # of the mean of so many draws
    assert abs(drawn.mean() - 1200.0) < 4 * error  # the geometric mean, 1,131, is 40 errors away
    inside = ((drawn >= 800) & (drawn <= 1600)).mean()
    assert abs(inside - 0.9) < 4 * np.sqrt(0.9 * 0.1 / len(drawn))
    assert at(Estimate(10.0, 900.0), -9.0) == 0.0, "no money is below nothing"
    assert at(sure(70.0), 1.3) == 70.0


def test_a_factor_between_two_ends_is_as_likely_so_many_times_above_as_below():
    half_to_double = Estimate(0.5, 2.0)
    assert half_to_double.typical == 1.0
    drawn = ratio_at(half_to_double, DRAWS)
    assert np.median(drawn) == pytest.approx(1.0, abs=0.02)
    ends = ratio_at(half_to_double, np.array([-NORMAL_95, NORMAL_95]))
    assert ends == pytest.approx([0.5, 2.0])
    assert ratio_at(sure(0.7), 1.3) == pytest.approx(0.7)
