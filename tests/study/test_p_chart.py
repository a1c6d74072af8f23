"""The p chart against published charts, and Laney's correction against simulated weeks."""

import json
import pathlib

import numpy as np
import pandas as pd
import pytest

from analysis.study.p_chart import p_chart, weekly_faults
from tests.study.building import laps_frame

REFERENCE = json.loads((pathlib.Path(__file__).parents[1] / "reference/quality.json").read_text())


def test_the_handbook_s_chart_of_wafers_is_drawn_again():
    """The handbook's limits are those of independent pieces; ours are wider by sigma_z, since these
    wafers differ more, and the lower one is then cut at 0: the limit lies as far below the centre.
    """
    case = REFERENCE["p_chart_nist"]
    fractions = np.array(case["fractions"])
    chart = p_chart(np.round(fractions * case["units"]), np.full(len(fractions), case["units"]))
    assert round(chart.centre, 4) == case["centre"]
    widened = chart.sigma_z if chart.corrected else 1.0
    upper = chart.centre + (chart.upper - chart.centre) / widened
    assert upper == pytest.approx(case["upper"], abs=1e-4)
    assert 2 * chart.centre - upper == pytest.approx(case["lower"], abs=1e-4)
    assert list(np.flatnonzero(fractions > upper) + 1) == case["outside_above"]


@pytest.mark.parametrize("case", REFERENCE["p_chart_textbook"]["cases"])
def test_a_textbook_s_limits_are_found_again(case):
    """The counts are spread as evenly as they go: then nothing speaks for wider limits."""
    faults = np.full(case["samples"], case["faults"] // case["samples"])
    faults[: case["faults"] - faults.sum()] += 1
    chart = p_chart(faults, np.full(case["samples"], case["units"]))
    assert not chart.corrected
    assert round(chart.centre, 4) == case["centre"]
    assert chart.upper == pytest.approx(case["upper"], abs=5e-5)
    assert chart.lower == pytest.approx(case["lower"], abs=5e-5)


def test_laney_s_factor_is_the_formula_of_his_paper():
    """z_i = (p_i - p) / s_i, sigma_z = mean |z_i - z_(i-1)| / 1.128, limits p -+ 3 s_i sigma_z,
    worked out here one by one."""
    faults, units = [10, 31, 8, 40, 22, 3], [400, 520, 300, 610, 450, 380]
    centre = sum(faults) / sum(units)
    error = [(centre * (1 - centre) / n) ** 0.5 for n in units]
    z = [(f / n - centre) / s for f, n, s in zip(faults, units, error, strict=True)]
    sigma_z = sum(abs(b - a) for a, b in zip(z, z[1:], strict=False)) / 5 / 1.128
    chart = p_chart(faults, units)
    assert chart.corrected and sigma_z > 1
    assert chart.sigma_z == pytest.approx(sigma_z)
    assert chart.upper == pytest.approx([centre + 3 * s * sigma_z for s in error])
    assert chart.lower == pytest.approx([max(centre - 3 * s * sigma_z, 0) for s in error])


@pytest.mark.parametrize("alike", [0.0, 0.02])
def test_the_factor_is_one_for_independent_pieces_and_grows_with_likeness(alike):
    """Beta-binomial weeks of 200 pieces: sigma_z = sqrt(1 + 199 x likeness) (Kish 1965).

    Over k weeks the mean moving range of normal values has a relative error of .83 / sqrt(k)
    (FROM MEMORY; about it in Montgomery, Introduction to Statistical Quality Control); 4 of these
    are allowed.
    """
    rng, weeks = np.random.default_rng(7), 8000
    chance = np.full(weeks, 0.2)
    if alike:
        strength = 1 / alike - 1
        chance = rng.beta(0.2 * strength, 0.8 * strength, weeks)
    chart = p_chart(rng.binomial(200, chance), np.full(weeks, 200))
    truth = np.sqrt(1 + 199 * alike)
    assert chart.sigma_z == pytest.approx(truth, rel=4 * 0.83 / np.sqrt(weeks))


def weeks_of(faults: list[int], units: int = 50):
    """A lap a week; None is a week without work."""
    return laps_frame([
        {"seconds": 60, "units": units, "rework_units": number,
         "started_at": f"2026-03-{2 + 7 * week:02d}T09:00:00Z"}
        for week, number in enumerate(faults) if number is not None
    ])  # fmt: skip


def test_an_empty_week_is_listed_without_a_share_and_does_not_count():
    table, chart = weekly_faults(weeks_of([2, 3, None, 2, 4]), "UTC")
    assert len(table) == 5
    assert table["share"].isna().tolist() == [False, False, True, False, False]
    assert chart.centre == pytest.approx(11 / 200)


def test_a_week_far_out_is_news_and_few_weeks_have_no_limits():
    first, week = pd.Timestamp("2026-03-02T09:00:00Z"), pd.Timedelta(days=7)
    rows = [
        {"seconds": 60, "units": 500, "rework_units": faults, "started_at": first + number * week}
        for number, faults in enumerate([10, 11, 9, 10, 12, 10, 9, 11, 60, 10])
    ]
    table, _ = weekly_faults(laps_frame(rows), "UTC")
    assert table["news"].tolist() == [""] * 8 + ["above", ""]
    few, _ = weekly_faults(laps_frame(rows[:4]), "UTC")
    assert few["upper"].isna().all()


@pytest.mark.parametrize("faults, centre", [([0] * 6, 0.0), ([50] * 6, 1.0)])
def test_no_fault_or_nothing_but_faults_gives_no_limits_rather_than_false_ones(faults, centre):
    chart = p_chart(faults, [50] * 6)
    assert chart.centre == centre
    assert np.isnan(chart.upper).all() and np.isnan(chart.lower).all()


def test_one_lap_and_no_lap_are_no_chart():
    table, chart = weekly_faults(weeks_of([3]), "UTC")
    assert table["share"].tolist() == [0.06] and np.isnan(chart.upper).all()
    nothing = weeks_of([3])
    assert weekly_faults(nothing[nothing["units"] < 0], "UTC")[0].empty


def test_a_week_with_more_of_the_product_that_often_fails_is_no_news_of_either():
    """Boxes fail 1 in 50, tins 1 in 5, the same every week; in the last week only tins are made.
    Together that week stands out by its mix, and neither product has any news by itself."""
    rows = []
    for week in range(10):
        made = {"box": 500, "tin": 50} if week < 9 else {"tin": 550}
        for product, units in made.items():
            faults = units // (50 if product == "box" else 5) + week % 2
            at = pd.Timestamp("2026-03-02T09:00:00Z") + week * pd.Timedelta(days=7)
            rows.append({"product": product, "seconds": 60, "units": units,
                         "rework_units": faults, "started_at": at})  # fmt: skip
    laps = laps_frame(rows)
    together, _ = weekly_faults(laps, "UTC")
    assert together["news"].tolist() == [""] * 9 + ["above"]
    for product, pieces in (("box", 4500), ("tin", 1000)):
        alone, _ = weekly_faults(laps, "UTC", product)
        assert (alone["news"] == "").all() and alone["units"].sum() == pieces
    assert weekly_faults(laps, "UTC", "no such")[0].empty
