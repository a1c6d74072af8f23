"""Stock: counts, sales and put-aways add up, and what is forgotten on the bench is noticed."""

import math

import pandas as pd
import pytest

from analysis.records.shop import Product, Shop
from analysis.study.summary import study
from tests.study.building import laps_frame

SHOP = Shop(
    products=(
        Product("box", "", 14, 10, stock=30),
        Product("box", "plain", 7, 10, stock=20),
        Product("box", "painted", 7, 20, stock=10),
    )
)


def moves(*rows):
    table = pd.DataFrame(rows, columns=["moved_at", "kind", "product", "variant", "pieces"])
    return table.assign(moved_at=pd.to_datetime(table["moved_at"], utc=True))


def wrapped(variant, day, pieces, batch="1"):
    return {"operation": "wrap", "variant": variant, "units": pieces, "seconds": 300,
            "batch": batch, "started_at": f"2026-03-{day:02d}T10:00:00Z"}  # fmt: skip


def test_stock_is_the_last_count_less_sales_and_with_what_was_put_away():
    movements = moves(
        ("2026-03-01", "count", "box", "plain", 99),
        ("2026-03-02", "count", "box", "plain", 12),
        ("2026-03-01", "sale", "box", "plain", 50),
        ("2026-03-03", "sale", "box", "plain", 5),
        ("2026-03-05", "put_away", "box", "plain", 8),
    )
    laps = laps_frame([wrapped("plain", 4, 10)])
    stock = study(laps, None, SHOP, movements=movements).stock.set_index("variant")
    assert stock["stock"]["plain"] == 12 - 5 + 8
    assert stock["stock"]["painted"] == 10  # not counted: as the shop file says
    assert pd.isna(stock["counted"]["painted"])


def test_pieces_packed_but_not_put_away_are_noticed():
    movements = moves(
        ("2026-03-02", "count", "box", "plain", 12), ("2026-03-05", "put_away", "box", "plain", 8)
    )
    laps = laps_frame([wrapped("plain", 1, 40), wrapped("plain", 4, 10, "2")])
    stock = study(laps, None, SHOP, movements=movements).stock.set_index("variant")
    # The 40 wrapped before the count are either in it or known to nobody.
    assert stock["packed_not_put_away"]["plain"] == 2
    assert "2 packed but not put away" in stock["note"]["plain"]
    assert math.isnan(stock["packed_not_put_away"]["painted"])


def test_what_runs_out_first_is_made_next():
    laps = laps_frame([wrapped("plain", 1, 10), wrapped("painted", 1, 10, "2")])
    stock = study(laps, None, SHOP).stock
    assert stock["variant"].tolist() == ["painted", "plain"]
    assert stock["lasts_days"].tolist() == pytest.approx([10, 20])
    assert stock["make_rank"].tolist() == [1, 2]


def test_a_batch_on_its_way_puts_off_the_next_of_its_kind():
    rows = [{"operation": "cut", "variant": "painted", "units": 25, "seconds": 100, "batch": "9"},
            wrapped("plain", 1, 10)]  # fmt: skip
    rows.append({"operation": "wrap", "variant": "painted", "units": 1, "seconds": 9, "batch": "0"})
    stock = study(laps_frame(rows), None, SHOP).stock.set_index("variant")
    assert stock["in_progress"]["painted"] == 25
    assert stock["make_rank"]["plain"] == 1


def test_how_long_it_lasts_is_a_range_of_days():
    """Buyers one by one at 1 a day: the 10th comes after 10 days, sd root of 10 (Poisson)."""
    row = study(laps_frame([wrapped("painted", 1, 5)]), None, SHOP).stock.iloc[0]
    # Quantiles of a gamma with shape 10, half the chi-square table's 20 degrees: 9.591, 34.170.
    assert row["lasts_days_low"] == pytest.approx(9.591 / 2, abs=5e-4)
    assert row["lasts_days_high"] == pytest.approx(34.170 / 2, abs=5e-4)


def test_more_sold_than_there_were_is_said_and_its_range_holds_what_is_stated():
    sold = moves(("2026-03-02", "count", "box", "plain", 2),
                 ("2026-03-03", "sale", "box", "plain", 5))  # fmt: skip
    laps = laps_frame([wrapped("plain", 4, 5)])
    row = study(laps, None, SHOP, movements=sold).stock.set_index("variant").loc["plain"]
    assert row["stock"] == -3
    assert row[["lasts_days_low", "lasts_days", "lasts_days_high"]].tolist() == [0, 0, 0]
    assert "more sold than there were" in row["note"]


def test_nothing_counted_and_no_demand_is_said_and_not_guessed():
    row = study(laps_frame([wrapped("plain", 1, 5)])).stock.iloc[0]
    assert math.isnan(row["stock"]) and math.isnan(row["lasts_days"])
    assert row["note"] == "stock not counted; demand not known"


def test_sales_stand_in_for_a_demand_that_is_not_given():
    movements = moves(
        ("2026-03-01", "count", "box", "", 30),
        ("2026-03-08", "sale", "box", "", 9),
        ("2026-03-15", "sale", "box", "", 5),
    )
    laps = laps_frame([wrapped("", 1, 5)])
    row = study(laps, None, Shop(), movements=movements).stock.iloc[0]
    assert row["demand_per_week"] == pytest.approx(14 / 2)  # two weeks since the count
    assert row["lasts_days"] == pytest.approx(16)


@pytest.mark.parametrize("days, times", [(1, 21), (7, 4), (7, 30), (14, 2), (14, 20), (28, 6)])
def test_sales_written_down_in_sums_are_those_of_the_whole_time_they_sum_up(days, times):
    """Ten a week, however often they are written down and for how long."""
    first = pd.Timestamp("2026-01-05")
    sums = [(str(first + pd.Timedelta(days=days * n)), "sale", "box", "", 10 * days / 7)
            for n in range(times)]  # fmt: skip
    row = study(laps_frame([wrapped("", 1, 5)]), None, Shop(), movements=moves(*sums)).stock.iloc[0]
    assert row["demand_per_week"] == pytest.approx(10)


def test_sales_of_one_day_count_for_a_week():
    once = moves(("2026-03-08", "sale", "box", "", 9))
    row = study(laps_frame([wrapped("", 1, 5)]), None, Shop(), movements=once).stock.iloc[0]
    assert row["demand_per_week"] == 9
