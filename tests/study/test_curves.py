"""Learning curves against published tables, and the exact sums over the pieces of a lap."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.study import curves

PUBLISHED = json.loads((Path(__file__).parents[1] / "reference" / "learning.json").read_text())


def published(block):
    return [(row["name"], row["published"]) for row in PUBLISHED[block]["rows"]]


def half_a_digit(value):
    """Half a unit in the last printed place."""
    text = f"{value:.10g}"
    return 0.5 * 10.0 ** -(len(text.split(".")[1]) if "." in text else 0) * 1.0001


@pytest.mark.parametrize(
    ("block", "first"),
    [("chase_jacobs_4A2_80pct_T1_100000", 100_000.0), ("chase_jacobs_80pct_T1_10", 10.0)],
)
def test_times_of_an_80_percent_curve_agree_with_a_published_table(block, first):
    """Chase & Jacobs, Operations and Supply Management, exhibit 4A.2 (source in the file)."""
    b = np.log2(0.8)
    for name, value in published(block):
        kind, n = name.split()
        n = float(n)
        ours = {
            "unit": curves.piece_seconds("unit", n, first, b),
            "cum": first * curves.power_sum(0.0, n, b),
            "avg": first * curves.power_mean(0.0, n, b),
        }[kind]
        assert abs(ours - value) <= half_a_digit(value), name


def test_unit_coefficients_agree_with_a_published_table_of_learning_rates():
    """Chase & Jacobs, exhibit 4A.4."""
    for name, value in published("chase_jacobs_4A4_unit_coefficients"):
        _, n, rate = name.split()
        ours = curves.piece_seconds("unit", float(n), 1.0, np.log2(float(rate)))
        assert abs(ours - value) <= half_a_digit(value), name


def test_lot_midpoint_and_totals_agree_with_a_worked_example():
    """Boehmke & Freels, Air Force Institute of Technology: lot 201 to 500 at 75 %, 334.61."""
    value = dict(published("afit_learningcurve_vignette"))
    b75, b85 = np.log2(0.75), np.log2(0.85)
    # The example takes the integral for the sum (Asher 1956): 2e-4 of a piece less, 8e-3 h more.
    midpoint = curves.lot_midpoint(200.0, 300.0, b75)
    assert midpoint == pytest.approx(value["lot midpoint 201..500 75%"], abs=5e-4)
    first = 125.0 / 201.0**b75
    total = first * 300.0 * midpoint**b75
    assert total == pytest.approx(value["block hours 201..500, T201=125"], abs=1.5e-2)
    assert 100 * curves.power_sum(0.0, 125.0, b85) == pytest.approx(
        value["Crawford cum exact 1..125"], abs=5e-4
    )
    assert 100 * curves.power_sum(0.0, 1e6, b85) == pytest.approx(
        value["Crawford cum exact 1e6"], abs=0.5
    )


def test_cumulative_average_curve_agrees_with_published_figures():
    """Wright 1936: on an 80 % curve piece 2 takes 60, the mean of four is 64; AFIT's piece 125."""
    wright = dict(published("wright_cum_average_80"))
    afit = dict(published("afit_learningcurve_vignette"))
    b = np.log2(0.8)
    assert curves.piece_seconds("cumulative_average", 2.0, 100.0, b) == pytest.approx(
        wright["2nd unit under Wright 80%"]
    )
    four = 100 * curves.shape("cumulative_average", 0.0, 4.0, b)
    assert four == pytest.approx(wright["avg of 4"])
    ours = curves.piece_seconds("cumulative_average", 125.0, 100.0, np.log2(0.85))
    assert ours == pytest.approx(afit["Wright unit 125, T1=100, 85%"], abs=5e-6)


def test_learning_rate_from_two_totals_agrees_with_published_examples():
    """500 h for 1 and 800 h for 2 is 80 %; 600 h for 1 and 1646 h for 8 is 70 %."""
    published_rate = dict(published("slope_from_totals"))
    for key, units, totals in (("1,2", 2, (500, 800)), ("1,8", 8, (600, 1646))):
        b = np.log(totals[1] / units / totals[0]) / np.log(units)
        assert curves.learning_rate_of(b) == pytest.approx(published_rate[key], abs=1e-3)
        assert totals[0] * units * curves.shape(
            "cumulative_average", 0.0, float(units), b
        ) == pytest.approx(totals[1])


@given(
    experience=st.floats(0, 5000),
    pieces=st.integers(1, 400),
    exponent=st.floats(-2, 1),
)
def test_a_laps_sum_is_the_sum_over_its_pieces(experience, pieces, exponent):
    n = experience + np.arange(1, pieces + 1, dtype=np.longdouble)
    exact = float((n ** np.longdouble(exponent)).sum())
    assert curves.power_sum(experience, float(pieces), exponent) == pytest.approx(exact, rel=1e-10)


@given(
    curve=st.sampled_from(curves.CURVES),
    experience=st.integers(0, 300),
    pieces=st.integers(1, 40),
    rate=st.floats(0.6, 0.99),
    fraction=st.floats(0, 0.9),
    prior=st.floats(0, 100),
)
def test_a_laps_mean_is_the_mean_of_its_pieces(curve, experience, pieces, rate, fraction, prior):
    rest = (np.log2(rate), fraction, prior)
    lap = curves.shape(curve, float(experience), float(pieces), *rest)
    each = curves.shape(curve, experience + np.arange(pieces, dtype=float), np.ones(pieces), *rest)
    assert lap == pytest.approx(each.mean(), rel=1e-9)


@pytest.mark.parametrize("curve", curves.CURVES)
def test_the_first_piece_takes_the_first_unit_seconds(curve):
    assert curves.piece_seconds(curve, 1.0, 80.0, -0.3, 20.0, 15.0) == pytest.approx(80.0)


def test_pieces_until_near_the_plateau_are_where_the_curve_is_five_percent_above_it():
    n = curves.pieces_until_near_plateau(100.0, 40.0, -0.5)
    assert curves.piece_seconds("plateau", n, 100.0, -0.5, 40.0) == pytest.approx(1.05 * 40.0)
