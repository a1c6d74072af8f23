"""What the first screen reads out, checked against sums done by hand."""

import numpy as np
import pandas as pd
import pytest

from analysis.records.laps import read_laps
from analysis.records.shop import read_shop
from analysis.study.cost_of_quality import cost_of_quality
from analysis.study.summary import study
from analysis.study.this_week import earnings, leaks, pay, shelf, with_standard_hours
from tests.study.building import routing_frame

SHOP = b"""
[products."card box"]
price = 10.0
material_cost = 2.0
[overhead]
per_week = 20.0
"""
HEADER = "started_at,seconds,product,operation,activity,units,rework_units,scrap_units,cause\n"


def laps(*weeks: str):
    """Laps in weeks from 2 March 2026 on, one text of rows a week, the day filled in."""
    days = ("2026-03-02", "2026-03-09", "2026-03-16", "2026-03-23")
    rows = [row.replace("DAY", day) for day, rows in zip(days, weeks, strict=False)
            for row in rows.split()]  # fmt: skip
    return read_laps((HEADER + "\n".join(rows).replace("_", " ") + "\n").encode()).frame


WEEK = """
DAYT08:00:00Z,3600,card_box,cut,operation,10,0,0,
DAYT10:00:00Z,3600,card_box,fold,operation,10,0,0,
"""
CALLS = """
DAYT12:00:00Z,1800,,,delay,1,0,0,telephone
DAYT13:00:00Z,900,card_box,fold,rework,1,0,0,
DAYT14:00:00Z,360,card_box,fold,transport,1,0,0,
"""


def test_an_hour_left_price_less_material_less_overhead_over_the_hours():
    shop = read_shop(SHOP)
    found = earnings(study(laps(WEEK, WEEK), None, shop)).earned_per_hour
    # 10 good pieces x (10 - 2) - 20 of overhead, over 2 hours
    assert list(found) == pytest.approx([30.0, 30.0])


def test_overhead_not_given_counts_as_none_by_the_week_as_by_the_piece():
    result = study(laps(WEEK, WEEK), None, read_shop(SHOP.replace(b"per_week = 20.0", b"")))
    assert list(earnings(result).earned_per_hour) == pytest.approx([40.0, 40.0])
    whole = result.cost.iloc[0]
    assert whole.overhead == 0
    assert "no overhead given, counted as 0" in whole.note


@pytest.mark.parametrize("left_out", [b"price = 10.0", b"material_cost = 2.0"])
def test_money_that_is_not_known_is_not_made_up(left_out):
    shop = read_shop(SHOP.replace(left_out, b""))
    assert earnings(study(laps(WEEK, WEEK), None, shop)).earned_per_hour.isna().all()


def test_a_week_without_work_earns_nothing_per_hour_and_is_not_divided_by():
    idle = laps(WEEK, "", WEEK)
    found = earnings(study(idle, None, read_shop(SHOP))).earned_per_hour
    assert list(found.isna()) == [False, True, False]


def test_pay_is_told_beside_what_an_hour_left_and_not_taken_off_it():
    paid = SHOP + b"[workers.maker]\n[workers.helper]\ncost_per_hour = 18.0\n"
    rows = laps(WEEK).assign(worker=pd.Categorical(["maker", "helper"]))
    result = study(rows, None, read_shop(paid))
    # an hour each: half of every hour logged was the helper's; the maker draws no pay
    assert pay(result)[["worker", "hours", "of_each_hour"]].to_numpy().tolist() == [
        ["helper", 1.0, 9.0]
    ]
    assert earnings(result).earned_per_hour.iloc[0] == pytest.approx(30.0)
    assert result.cost.earned_per_hour.iloc[0] != pytest.approx(30.0 - 9.0)


def test_an_hour_earns_the_same_by_the_week_as_by_the_piece():
    """At ordinary hours, so that both carry the same overhead: 2 hours, 10 pieces, 20 of it."""
    full = (
        SHOP
        + b"[workers.maker]\nhours_per_week = 2\n[allowance]\n"
        + b"".join(name + b"_percent = 0\n" for name in (b"personal", b"fatigue", b"contingency"))
    )
    result = study(
        laps(WEEK, WEEK).assign(worker=pd.Categorical(["maker"] * 4)), None, read_shop(full)
    )
    assert earnings(result).earned_per_hour.iloc[0] == pytest.approx(30.0)
    assert result.cost.earned_per_hour.iloc[0] == pytest.approx(30.0)


def test_hours_that_leak_away_are_added_up_by_what_took_them():
    found = leaks(study(laps(WEEK + CALLS, WEEK, WEEK + CALLS), None, read_shop(SHOP)))
    by_kind = found.set_index("kind")
    assert list(found["kind"]) == ["interruptions", "putting right", "walks"]
    # in two weeks of three: 1800 s, 900 s, 360 s
    assert by_kind.hours_per_week["interruptions"] == pytest.approx(2 * 0.5 / 3)
    assert by_kind.hours_per_week["putting right"] == pytest.approx(2 * 0.25 / 3)
    assert by_kind.hours_per_week["walks"] == pytest.approx(2 * 0.1 / 3)
    assert by_kind["what"]["interruptions"] == "telephone"
    assert by_kind.share_of_bench_time["walks"] == pytest.approx(0.2 / (6 + 2 * 0.85))


def test_the_range_of_a_leak_is_students_interval_of_the_weekly_sums():
    from scipy.stats import t

    found = leaks(study(laps(WEEK + CALLS, WEEK, WEEK + CALLS, WEEK), None, read_shop(SHOP)))
    weekly = np.array([0.5, 0, 0.5, 0])
    low, high = t.interval(0.95, 3, weekly.mean(), weekly.std(ddof=1) / 2)
    row = found[found.kind == "interruptions"].iloc[0]
    assert row.hours_high == pytest.approx(high)
    assert row.hours_low == pytest.approx(max(low, 0))


def test_a_lost_piece_counts_with_the_work_already_in_it_and_its_material():
    lost = WEEK.replace("fold,operation,10,0,0", "fold,operation,10,0,1")
    result = study(laps(lost, lost, lost), None, read_shop(SHOP))
    row = leaks(result).iloc[0]
    assert (row["kind"], row["what"]) == ("putting right", "fold")
    assert row.hours_per_week == pytest.approx(2 * 360 / 3600)  # six minutes each to cut and fold
    assert row.material_per_week == pytest.approx(2.0)


def test_this_week_and_putting_right_tell_the_same_hours_for_lost_pieces():
    """By the routing a folded body has no cut lid in it: 360 s are lost with it, not 720."""
    lost = WEEK.replace("fold,operation,10,0,0", "fold,operation,10,0,1")
    apart = routing_frame([
        {"product": "card box", "operation": "cut"}, {"product": "card box", "operation": "fold"},
    ])  # fmt: skip
    for plan, seconds in ((apart, 360), (None, 720)):
        result = study(laps(lost, lost, lost), plan, read_shop(SHOP))
        there = cost_of_quality(result, np.random.default_rng(0)).found.seconds_per_week.iloc[0]
        assert there == pytest.approx(seconds)
        assert leaks(result).hours_per_week.iloc[0] * 3600 == pytest.approx(there)


def test_nothing_lost_is_no_leak():
    assert leaks(study(laps(WEEK), None, read_shop(SHOP))).empty


def test_a_strip_spoiled_in_setting_up_is_no_piece_lost_here_nor_on_putting_right():
    setup = "DAYT07:00:00Z,600,card_box,fold,setup,1,0,1,\n"
    result = study(laps(WEEK + setup), None, read_shop(SHOP))
    assert cost_of_quality(result, np.random.default_rng(0)).found.empty
    assert leaks(result).empty


def test_an_hour_by_standard_times_is_the_same_whatever_is_made():
    """Long boxes one week, short ones the next, at the same pace: pieces an hour halve."""
    short = WEEK.replace("card_box", "small_box").replace(",10,", ",20,")
    result = study(laps(WEEK, short, WEEK, short), None, read_shop(SHOP))
    found = with_standard_hours(earnings(result), result)
    assert list(found.good_units_per_bench_hour) == pytest.approx([5, 10, 5, 10])
    rate = found.standard_hours_per_bench_hour
    # all work is timed without interruptions: standard hours are the hours plus the allowance
    allowance = result.operations.standard_seconds / result.operations.observed_seconds
    assert list(rate) == pytest.approx([allowance.iloc[0]] * 4)


def test_what_is_on_its_way_lengthens_what_the_shelf_lasts():
    stock = pd.DataFrame(
        {
            "packed_not_put_away": [6.0, np.nan, 2.0, 5.0],
            "in_progress": [8.0, 7.0, 0.0, 0.0],
            "demand_per_week": [14.0, 7.0, np.nan, 7.0],
            "stock": [6.0, 5.0, np.nan, -3.0],
        }
    )
    found = shelf(stock)
    assert list(found.on_its_way) == [14, 7, 2, 5]
    assert found.lasts_in_all_days.tolist()[:2] == [3 + 7, 5 + 7]
    assert np.isnan(found.lasts_in_all_days[2])
    assert found.lasts_in_all_days[3] == 2  # three were sold before they were put away
