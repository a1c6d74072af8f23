"""Takt, work content, cost: against figures worked out by hand from round numbers."""

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from analysis.records.shop import Allowance, Product, Shop, Worker
from analysis.study.content import content
from analysis.study.quality import quality
from analysis.study.route import routes
from analysis.study.summary import Study, study
from analysis.study.time_study import DelayRate
from tests.study.building import laps_frame, routing_frame

WEEK = {"Mon": ((28800, 43200), (46800, 61200)), "Tue": ((28800, 43200),)}  # 8 h + 4 h, break off
SHOP = Shop(
    week=WEEK,
    allowance=Allowance(5, 5, 10),
    workers=(Worker("maker", 30.0, 12.0),),
    products=(Product("box", "", 18, 10, 25.0, 6.0),),
    overhead_per_week=120.0,
)
ROUTING = routing_frame(
    [{"operation": "cut", "station": "saw"}, {"operation": "glue", "after": "cut"}]
)


def ten_batches(**glue):
    """Cut 60 s, glue 120 s a piece; a 300 s setup and a 50 s walk a batch of 10."""
    rows = []
    for batch in map(str, range(10)):
        rows += [
            {"operation": "cut", "activity": "setup", "seconds": 300, "batch": batch},
            {"operation": "cut", "seconds": 600, "units": 10, "batch": batch},
            {"operation": "glue", "activity": "transport", "seconds": 50, "batch": batch},
            {"operation": "glue", "seconds": 1200, "units": 10, "batch": batch, **glue},
        ]
    return rows


@cache
def plain() -> Study:
    """The study of ten batches as they are: several tests look at it."""
    return study(laps_frame(ten_batches()), ROUTING, SHOP)


def test_takt_is_the_week_without_its_breaks_over_demand():
    takt = plain().takt.iloc[0]
    assert takt["takt_seconds"] == pytest.approx(12 * 3600 / 18)


def test_weeks_closed_leave_the_others_what_the_year_asks_for():
    """13 of 52 weeks closed: three quarters of the hours for the same demand and overhead."""
    shut = study(laps_frame(ten_batches()), ROUTING, replace(SHOP, weeks_closed_per_year=13))
    takt, open_all_year = shut.takt.iloc[0], plain().takt.iloc[0]
    assert takt["takt_seconds"] == pytest.approx(0.75 * 12 * 3600 / 18)
    assert takt["workers_needed"] == pytest.approx(open_all_year["workers_needed"] / 0.75)
    assert shut.hours_needed["available"] == pytest.approx(9.0)
    assert shut.hours_needed["value"] == pytest.approx(plain().hours_needed["value"])
    assert shut.worker_load["hours_available"].tolist() == pytest.approx([9.0])
    assert shut.station_load["hours_available"].iloc[0] == pytest.approx(9.0)
    assert shut.cost["overhead"].iloc[0] == pytest.approx(plain().cost["overhead"].iloc[0] / 0.75)


def test_work_content_is_standard_time_setup_and_walks():
    """(60 + 120) x 1.20 + 300 / 10 + 50 / 10 = 251 s; x 18 / 43200 = 0.1046 workers."""
    takt = plain().takt.iloc[0]
    assert takt["work_content_seconds"] == pytest.approx(251)
    assert takt["workers_needed"] == pytest.approx(251 * 18 / 43200)
    assert takt["bottleneck"] == "glue" and takt["bottleneck_probability"] == 1


def test_logged_interruptions_stand_in_for_the_contingency_allowance():
    """430 s in 10 x 2150 s of work are 2 %: 5 + 5 + 2 instead of 5 + 5 + 10."""
    rows = [*ten_batches(), {"product": "", "operation": "", "activity": "delay", "seconds": 430}]
    found = study(laps_frame(rows), ROUTING, SHOP)
    assert found.delay_percent == pytest.approx(2.0)
    assert found.takt["work_content_seconds"].iloc[0] == pytest.approx(180 * 1.12 + 35)
    # The standard time of an operation keeps the allowances of the shop.
    standard = found.operations.set_index("operation")["standard_seconds"]
    assert standard["glue"] == pytest.approx(120 * 1.20)


def test_of_the_working_day_rest_work_and_interruptions_fill_the_day():
    """1000 s of work, 20 s interrupted (2 %), rest 10 % of the day: 1020 / 0.9 in all."""
    rows = [*ten_batches(), {"product": "", "operation": "", "activity": "delay", "seconds": 430}]
    day = Shop(week=WEEK, allowance=Allowance(5, 5, 10, "of working day"), products=SHOP.products)
    takt = study(laps_frame(rows), ROUTING, day).takt.iloc[0]
    assert takt["work_content_seconds"] == pytest.approx(180 * 1.02 / 0.9 + 35)


def test_pieces_lost_later_are_work_done_for_nothing():
    """Glue loses 2 of 10: 1.25 pieces must be cut and glued for a good one."""
    found = study(laps_frame(ten_batches(scrap_units=2)), ROUTING, SHOP)
    rows = found.content.set_index("operation")
    assert rows["pieces_per_good_piece"].tolist() == pytest.approx([1.25, 1.25])
    assert found.takt["work_content_seconds"].iloc[0] == pytest.approx(
        180 * 1.20 * 1.25 + 30 + 5 * 1.25
    )


def test_mending_is_in_the_work_content():
    mending = [{"operation": "glue", "activity": "rework", "seconds": 200, "units": 2,
                "batch": str(b)} for b in range(10)]  # fmt: skip
    found = study(laps_frame([*ten_batches(rework_units=2), *mending]), ROUTING, SHOP)
    assert found.takt["work_content_seconds"].iloc[0] == pytest.approx(251 + 20)


def test_an_operation_not_yet_timed_has_its_planned_time_and_says_so():
    routing = routing_frame([
        {"operation": "cut"}, {"operation": "glue", "after": "cut"},
        {"operation": "wrap", "after": "glue", "seconds": 100.0, "setup_seconds": 40.0},
    ])  # fmt: skip
    takt = study(laps_frame(ten_batches()), routing, SHOP).takt.iloc[0]
    assert takt["work_content_seconds"] == pytest.approx(251 + 100 * 1.2 + 4)
    assert "wrap" in takt["note"]


def test_an_operation_of_one_variant_is_on_that_route_only():
    rows = []
    for variant in ("plain", "painted"):
        for batch in range(6):
            place = {"variant": variant, "batch": f"{variant}{batch}", "units": 10}
            rows.append({"operation": "cut", "seconds": 600, **place})
            if variant == "painted":
                rows.append({"operation": "paint", "seconds": 900, **place})
            rows.append({"operation": "wrap", "seconds": 300, **place})
    products = (
        Product("box", "", 40, 10, 25.0, 6.0),
        Product("box", "plain", 30, 10, 25.0, 6.0),
        Product("box", "painted", 10, 10, 30.0, 8.0),
    )
    shop = Shop(week=WEEK, allowance=Allowance(0, 0, 0), products=products)
    routing = routing_frame([
        {"operation": "cut"}, {"operation": "paint", "after": "cut", "variant": "painted"},
        {"operation": "wrap", "after": "cut", "variant": "plain"},
        {"operation": "wrap", "after": "paint", "variant": "painted"},
    ])  # fmt: skip
    for given in (routing, None):
        found = study(laps_frame(rows), given, shop)
        assert found.takt["work_content_seconds"].iloc[0] == pytest.approx(90 + 90 * 10 / 40)
        made = found.week_products.set_index("variant")["good_units"]
        assert made["plain"] == 60 and made["painted"] == 60
        hours = found.cost.set_index("variant")["bench_hours"] * 3600
        assert hours.to_dict() == pytest.approx({"": 112.5, "plain": 90, "painted": 180})


def test_a_setup_that_one_variant_plans_is_that_variants_alone():
    """Only for the painted box is the press warmed up: 600 s for 10 pieces."""
    routing = routing_frame([
        {"operation": "stamp", "variant": "plain"},
        {"operation": "stamp", "variant": "painted", "setup_seconds": 600.0},
    ])  # fmt: skip
    shop = Shop(week=WEEK, products=(
        Product("box"), Product("box", "plain", 30, 10), Product("box", "painted", 10, 10),
    ))  # fmt: skip
    rows = [{"operation": "stamp", "variant": "plain", "seconds": 60.0, "batch": "1"}] * 6
    for laps in ([], rows):
        content = study(laps_frame(laps), routing, shop).content.set_index("variant")
        assert content["setup_seconds"].to_dict() == {"plain": 0.0, "painted": 60.0}


def test_demand_not_given_leaves_takt_open_and_says_why():
    shop = Shop(products=(Product("box"),))
    takt = study(laps_frame(ten_batches()), ROUTING, shop).takt.iloc[0]
    assert math.isnan(takt["takt_seconds"]) and math.isnan(takt["workers_needed"])
    assert takt["work_content_seconds"] > 0
    assert takt["note"] == "no demand given"


def test_the_load_goes_to_those_who_do_the_work_and_to_their_stations():
    rows = ten_batches()
    for row in rows:
        row["worker"] = "helper" if row["operation"] == "glue" else "maker"
    people = (Worker("maker", 30.0, 12.0), Worker("helper", 20.0, 6.0))
    shop = Shop(week=WEEK, allowance=Allowance(0, 0, 0), workers=people, products=SHOP.products)
    found = study(laps_frame(rows), ROUTING, shop)
    load = found.worker_load.set_index("worker")
    assert load["hours_needed"].to_dict() == pytest.approx(
        {"maker": 18 * (60 + 30) / 3600, "helper": 18 * (120 + 5) / 3600}
    )
    assert load["load"]["helper"] == pytest.approx(18 * 125 / 3600 / 6)
    station = found.station_load.iloc[0]
    assert station["station"] == "saw"
    assert station["hours_needed"] == pytest.approx(18 * 90 / 3600)
    assert found.hours_needed["value"] == pytest.approx(load["hours_needed"].sum())
    assert found.hours_needed["available"] == 18


def test_whoever_has_left_has_no_load_and_no_hours():
    """A helper glued in January and is not on the shop's list in March: all work is the maker's."""
    rows = [
        {"operation": "glue", "seconds": 1200, "units": 10, "worker": "helper", "batch": "old",
         "started_at": "2026-01-05T09:00:00Z"},
        {"operation": "dip", "seconds": 900, "units": 10, "worker": "helper", "batch": "old",
         "started_at": "2026-01-05T10:00:00Z"},
        *({**row, "worker": "maker", "started_at": f"2026-03-{day:02d}T09:00:00Z"}
          for day, row in enumerate(ten_batches(), 1) if day < 29),
    ]  # fmt: skip
    shop = Shop(week=WEEK, workers=(Worker("maker", 30.0, 12.0),), products=SHOP.products)
    found = study(laps_frame(rows), None, shop)
    load = found.worker_load
    assert list(load["worker"]) == ["maker"]
    assert load["hours_needed"].iloc[0] == pytest.approx(found.hours_needed["value"])
    # On the list, they are away and not gone: what only they have done stays theirs.
    both = Shop(week=WEEK, workers=(*shop.workers, Worker("helper", 20.0, 6.0)),
                products=SHOP.products)  # fmt: skip
    load = study(laps_frame(rows), None, both).worker_load.set_index("worker")
    assert load["hours_needed"]["helper"] > 0


def test_the_cost_of_a_good_piece_adds_up_by_hand():
    """30 an hour, 120 overhead over 12 h, glue loses 2 of 10."""
    cost = study(laps_frame(ten_batches(scrap_units=2)), ROUTING, SHOP).cost.iloc[0]
    hours = (180 * 1.2 * 1.25 + 30 + 6.25) / 3600
    assert cost["bench_hours"] == pytest.approx(hours)
    assert cost["labour"] == pytest.approx(30 * (180 * 1.2 + 30 + 6.25) / 3600)
    assert cost["rework_and_scrap"] == pytest.approx(30 * 180 * 1.2 * 0.25 / 3600)
    assert cost["material"] == pytest.approx(6 / 0.8)
    assert cost["overhead"] == pytest.approx(10 * hours)
    parts = cost[["labour", "material", "rework_and_scrap", "overhead"]].sum()
    assert cost["cost_per_good_piece"] == pytest.approx(parts)
    assert cost["earned_per_hour"] == pytest.approx((25 - 7.5 - 10 * hours) / hours)
    assert cost["contribution"] == pytest.approx(25 - 7.5)
    assert cost["left"] == pytest.approx(25 - cost["cost_per_good_piece"])
    assert cost["left_low"] == pytest.approx(25 - cost["cost_high"])
    assert cost["bench_hours_low"] < hours < cost["bench_hours_high"]
    assert cost["contribution_low"] <= cost["contribution"] <= cost["contribution_high"]
    assert cost["cost_low"] <= cost["cost_per_good_piece"] <= cost["cost_high"]


def test_a_missing_wage_is_not_a_wage_of_nothing():
    shop = Shop(week=WEEK, workers=(Worker("maker"),), products=SHOP.products,
                overhead_per_week=120.0)  # fmt: skip
    cost = study(laps_frame(ten_batches()), ROUTING, shop).cost.iloc[0]
    assert math.isnan(cost["labour"]) and math.isnan(cost["cost_per_good_piece"])
    assert "wage" in cost["note"]
    # What an hour earns does not hang on anybody's pay.
    assert cost["earned_per_hour"] > 0


def test_a_missing_price_leaves_earnings_open_and_missing_overhead_is_said():
    shop = Shop(week=WEEK, workers=SHOP.workers, products=(Product("box", "", 18, 10),))
    cost = study(laps_frame(ten_batches()), ROUTING, shop).cost.iloc[0]
    assert np.isnan(cost[["material", "price", "earned_per_hour"]].astype(float)).all()
    assert cost["overhead"] == 0
    assert "no overhead given, counted as 0" in cost["note"]
    assert all(word in cost["note"] for word in ("material", "overhead", "price"))
    assert cost["labour"] > 0


def test_no_overhead_is_none_also_where_nobody_has_hours():
    nobody = (Worker("maker", 24.0, hours_per_week=0.0),)
    shop = Shop(week=WEEK, workers=nobody, products=SHOP.products)
    cost = study(laps_frame(ten_batches()), ROUTING, shop).cost.iloc[0]
    assert cost["overhead"] == 0 and cost["cost_per_good_piece"] > 0
    spread = Shop(week=WEEK, workers=nobody, products=SHOP.products, overhead_per_week=120.0)
    cost = study(laps_frame(ten_batches()), ROUTING, spread).cost.iloc[0]
    assert math.isnan(cost["overhead"]) and math.isnan(cost["cost_per_good_piece"])
    assert "no working hours given to spread the overhead over" in cost["note"]


def test_more_laps_make_the_cost_surer():
    rng = np.random.default_rng(8)

    def width(batches):
        rows = [{"operation": "cut", "seconds": 600 * math.exp(rng.normal(0, 0.2)), "units": 10,
                 "batch": str(b)} for b in range(batches)]  # fmt: skip
        cost = study(laps_frame(rows), None, SHOP).cost.iloc[0]
        return cost["cost_high"] - cost["cost_low"]

    # A standard error falls with the root: 16 times the batches, a quarter; half is a loose bound.
    assert width(160) < 0.5 * width(10)


def test_laps_that_name_no_variant_do_not_take_the_variants_share():
    """Demand is 30 plain and 10 painted; a few laps of nobody knows which weigh nothing."""
    rows = [{"operation": "cut", "seconds": 600, "units": 10, "variant": variant, "batch": str(n)}
            for n, variant in enumerate(["plain", "painted", "painted", ""])]  # fmt: skip
    products = (
        Product("box", "", 40),
        Product("box", "plain", 30),
        Product("box", "painted", 10),
    )
    content = study(laps_frame(rows), None, Shop(products=products)).content
    shares = content.set_index("variant")["share"]
    assert shares.to_dict() == pytest.approx({"plain": 0.75, "painted": 0.25, "": 0.0})


@pytest.mark.parametrize(
    ("whole", "asked", "shares"),
    [
        (40, {"plain": 30}, {"plain": 0.75, "painted": 0.2, "": 0.05}),  # made 4 to 1
        (40, {"plain": 0}, {"plain": 0.0, "painted": 0.8, "": 0.2}),
        (None, {"plain": 30}, {"plain": 1.0, "painted": 0.0, "": 0.0}),
        (40, {}, {"plain": 2 / 7, "painted": 4 / 7, "": 1 / 7}),  # by pieces made
    ],
)
def test_what_is_asked_beyond_the_variants_is_for_those_without_a_demand(whole, asked, shares):
    made = {"plain": 20, "painted": 40, "": 10}
    rows = [{"operation": "cut", "seconds": 600, "units": units, "variant": variant,
             "batch": variant} for variant, units in made.items()]  # fmt: skip
    variants = [Product("box", name, asked.get(name)) for name in ("plain", "painted")]
    shop = Shop(products=(Product("box", "", whole), *variants))
    content = study(laps_frame(rows), None, shop).content
    assert content.set_index("variant")["share"].to_dict() == pytest.approx(shares)


def test_what_limits_the_week_is_named_with_its_chance():
    """The saw asks 5.4 h of 12, its one worker 15.1 h of 12: the worker, for sure."""
    shop = Shop(week=WEEK, workers=SHOP.workers, products=(Product("box", "", 216, 10),))
    found = study(laps_frame(ten_batches()), ROUTING, shop)
    assert found.worker_load["probability_fullest"].tolist() == [1.0]
    assert found.station_load["probability_fullest"].tolist() == [0.0]


def test_what_stands_in_a_press_and_warms_up_is_counted_at_the_press():
    """60 pieces in 6 batches: 2 h each under the press, 15 min of warming each."""
    routing = routing_frame([
        {"operation": "cut"},
        {"operation": "glue", "after": "cut", "station": "press", "wait_seconds": 7200.0,
         "wait_holds_station": True, "setup_wait_seconds": 900.0},
    ])  # fmt: skip
    shop = Shop(week=WEEK, allowance=Allowance(0, 0, 0), products=(Product("box", "", 60, 10),))
    station = study(laps_frame(ten_batches()), routing, shop).station_load.iloc[0]
    assert station["hours_needed"] == pytest.approx(60 * (120 + 5) / 3600 + 6 * 0.25)
    assert station["held_hours"] == pytest.approx(12)


def test_where_every_piece_was_lost_no_number_is_made_up():
    rows = [{"seconds": 100, "units": 10, "scrap_units": 10, "batch": str(n)} for n in range(6)]
    found = study(laps_frame(rows), None, SHOP)
    takt, cost = found.takt.iloc[0], found.cost.iloc[0]
    assert math.isnan(takt["work_content_seconds"]) and math.isnan(takt["workers_needed"])
    assert math.isnan(cost["cost_per_good_piece"]) and math.isnan(cost["earned_per_hour"])
    assert takt["note"] == cost["note"] == "every piece so far was lost"


def test_where_every_piece_was_lost_the_step_named_is_the_one_the_chance_is_of():
    rows = [{"operation": step, "seconds": seconds, "scrap_units": int(step == "wrap"),
             "batch": str(n)}
            for n in range(6) for step, seconds in (("cut", 10), ("wrap", 100))]  # fmt: skip
    takt = study(laps_frame(rows), None, SHOP).takt.iloc[0]
    assert (takt["bottleneck"], takt["bottleneck_probability"]) == ("wrap", 1.0)


def test_a_variant_nobody_asks_for_has_its_own_cost_and_weighs_nothing():
    rows = [{"operation": "cut", "seconds": 600, "units": 10, "variant": variant, "batch": str(n)}
            for n, variant in enumerate(["plain", "painted"] * 3)]  # fmt: skip
    products = (
        Product("box", "", 40, 10),
        Product("box", "plain", 40, 10, 25.0, 6.0),
        Product("box", "painted", 0, 10, None, 8.0),
    )
    shop = Shop(week=WEEK, workers=SHOP.workers, products=products, overhead_per_week=120.0)
    cost = study(laps_frame(rows), None, shop).cost.set_index("variant")
    assert cost["price"][""] == cost["price"]["plain"] == 25
    assert cost["material"].to_dict() == pytest.approx({"": 6, "plain": 6, "painted": 8})
    assert math.isnan(cost["earned_per_hour"]["painted"])
    assert cost["note"]["painted"] == "not given: price"


def test_a_time_only_planned_is_not_called_certain():
    plan = routing_frame([{"product": "box", "operation": "cut", "seconds": 100.0}])
    takt = study(laps_frame([]), plan, SHOP).takt.iloc[0]
    assert takt["work_content_low"] < 0.85 * takt["work_content_seconds"]
    assert takt["work_content_high"] > 1.15 * takt["work_content_seconds"]
    assert "not yet timed: cut" in takt["note"]


def test_a_cost_says_whose_wage_is_missing():
    laps = ten_batches() + [{"operation": "cut", "seconds": 60, "units": 1, "worker": "temp"}]
    cost = study(laps_frame(laps), ROUTING, SHOP).cost.iloc[0]
    assert "of temp" in cost["note"]


def test_a_cost_names_nobody_who_has_no_hand_in_that_product():
    rows = [{"product": product, "operation": "cut", "seconds": 60, "worker": worker}
            for product, worker in (("bag", "ben"), ("box", "ann"))]  # fmt: skip
    shop = Shop(week=WEEK, workers=(Worker("ann"), Worker("ben")))
    hat = routing_frame([{"product": "hat", "operation": "felt"}])  # nobody has made one yet
    notes = study(laps_frame(rows), hat, shop).cost.set_index("product")["note"]
    said = {product: note.split(";")[0].split(",")[0] for product, note in notes.items()}
    assert said == {
        product: f"not given: the wage (cost_per_hour) of {name}"
        for product, name in (("bag", "ben"), ("box", "ann"), ("hat", "ann"))
    }
    assert " ben" not in notes["box"] and " ann" not in notes["bag"]


def test_what_a_worker_forgot_is_in_doubt_for_all_their_operations_together():
    """Two operations of 100 s, each known to 3 % of its own and 4 % by one worker's retention:
    5 % each, and of the sum sqrt(3^2 / 2 + 4^2) = 4.5 %, not the 3.5 % of independent ones."""
    laps = laps_frame(ten_batches())
    route = routes(laps, ROUTING, "UTC")
    present = pd.DataFrame({
        "product": "box", "operation": ["cut", "glue"], "worker": "maker", "pieces_made": 100,
        "normal_seconds": 100.0, "se_log": 0.05, "loss_error": 0.04, "still_falling": True,
    })  # fmt: skip
    work = content(
        laps[laps["activity"] == "operation"], present, quality(laps, "UTC"), route, SHOP,
        DelayRate(0.0, 0.0), np.random.default_rng(4),
    )  # fmt: skip
    times = work.draws.standard
    assert np.log(times).std(axis=0) == pytest.approx([0.05, 0.05], rel=0.08)
    # A standard deviation of 1,000 draws is known to 1 / sqrt(2,000); three of these and a bit.
    assert np.log(times.sum(axis=1)).std() == pytest.approx(0.0453, rel=0.08)
