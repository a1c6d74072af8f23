"""Weekly output: the weeks as the shop's calendar has them, and which of them is news."""

import json
import pathlib

import numpy as np
import pandas as pd
import pytest

from analysis.records.shop import Shop
from analysis.study.summary import study
from analysis.study.weeks import individuals_chart
from tests.study.building import laps_frame, routing_frame

CASES = json.loads((pathlib.Path(__file__).parents[1] / "reference" / "timestudy.json").read_text())


def test_limits_are_those_of_the_nist_handbook():
    """NIST/SEMATECH e-Handbook 6.3.2.2, flow rate: printed to two and four decimals."""
    case = CASES["nist_individuals_chart"]
    chart = individuals_chart(case["values"])
    assert chart.centre == pytest.approx(case["published"]["mean"], abs=5e-3)
    moving_range = np.abs(np.diff(case["values"])).mean()
    assert moving_range == pytest.approx(case["published"]["mrbar"], abs=5e-5)
    assert chart.upper - chart.centre == pytest.approx(3 * moving_range / 1.128)
    assert chart.upper == pytest.approx(case["published"]["ucl"], abs=5e-5)
    assert chart.lower == pytest.approx(case["published"]["lcl"], abs=5e-5)


@pytest.mark.parametrize("rate", [0.1, 5 / 7, 7.2, 12 / 0.7, 29.38979591836735])
def test_weeks_all_alike_are_no_news(rate):
    """The mean of as many equal numbers is rounded, and may lie a hair beside them."""
    for weeks in range(5, 20):
        chart = individuals_chart([rate] * weeks)
        assert chart.lower <= rate <= chart.upper
        assert chart.upper - chart.lower < 1e-8 * rate


def test_a_week_begins_on_monday_by_the_shop_s_clock():
    """Sunday 23:00 in Chicago is already Monday 05:00 in UTC."""
    laps = laps_frame([{"seconds": 3600, "started_at": "2026-03-02T05:00:00Z"}])
    chicago = study(laps, None, Shop(timezone="America/Chicago")).weeks
    london = study(laps, None, Shop(timezone="Europe/London")).weeks
    assert chicago["week_start"].iloc[0] == pd.Timestamp("2026-02-23")
    assert london["week_start"].iloc[0] == pd.Timestamp("2026-03-02")


def test_a_week_across_the_change_of_clocks_is_still_one_week():
    """1 November 2026, a Sunday, has 25 hours in Chicago."""
    moments = ["2026-10-26T05:30:00Z", "2026-11-02T05:30:00Z", "2026-11-02T06:30:00Z"]
    laps = laps_frame([{"seconds": 600, "started_at": moment} for moment in moments])
    weeks = study(laps, None, Shop(timezone="America/Chicago")).weeks
    assert weeks["week_start"].dt.strftime("%m-%d").tolist() == ["10-26", "11-02"]
    assert (weeks["bench_hours"] * 6).tolist() == pytest.approx([2, 1])


def test_empty_weeks_are_listed_and_have_no_rate():
    moments = ["2026-03-02T10:00:00Z", "2026-03-25T10:00:00Z"]
    laps = laps_frame([{"seconds": 1800, "started_at": moment} for moment in moments])
    weeks = study(laps).weeks
    assert weeks["good_units"].tolist() == [1, 0, 0, 1]
    assert weeks["bench_hours"].tolist() == [0.5, 0, 0, 0.5]
    assert weeks["good_units_per_bench_hour"].isna().tolist() == [False, True, True, False]


def test_good_pieces_are_counted_at_the_end_of_the_route_and_mending_adds_none():
    routing = routing_frame([
        {"operation": "wrap", "after": "glue"}, {"operation": "glue", "after": ""},
    ])  # fmt: skip
    laps = laps_frame([
        {"operation": "glue", "seconds": 60, "units": 10},
        {"operation": "wrap", "seconds": 60, "units": 10, "scrap_units": 2, "rework_units": 1},
        {"operation": "wrap", "seconds": 60, "units": 1, "activity": "rework"},
        {"seconds": 60, "product": "", "operation": "", "activity": "delay"},
    ])  # fmt: skip
    weeks = study(laps, routing).weeks
    assert weeks["good_units"].tolist() == [8]
    assert weeks["bench_hours"].tolist() == pytest.approx([240 / 3600])


def test_without_a_routing_the_usual_last_operation_ends_the_route():
    rows = []
    for batch in range(4):
        order = ["cut", "glue", "wrap"] if batch else ["cut", "wrap", "glue"]
        rows += [{"operation": name, "seconds": 60, "units": 5, "batch": str(batch)}
                 for name in order]  # fmt: skip
    found = study(laps_frame(rows))
    assert found.route["operation"].tolist() == ["cut", "glue", "wrap"]
    assert found.weeks["good_units"].sum() == 20


def test_an_ordinary_week_is_no_news_and_a_strange_one_is():
    rng = np.random.default_rng(11)
    rows = []
    for week in range(12):
        pieces = 10 if week == 9 else 100 + int(rng.integers(-6, 7))
        moment = pd.Timestamp("2026-01-05T10:00:00Z") + pd.Timedelta(weeks=week)
        rows.append({"seconds": 7200, "units": pieces, "started_at": moment})
    news = study(laps_frame(rows)).weeks["news"]
    assert news[9] == "below"
    assert (news.drop(9) == "").all()


def test_few_weeks_have_no_limits():
    rows = [{"seconds": 600, "started_at": f"2026-03-{day:02d}T10:00:00Z"} for day in (2, 9, 16)]
    assert study(laps_frame(rows)).weeks["upper"].isna().all()
