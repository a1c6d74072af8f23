"""Keeping pace, as a maker reads it."""

import re
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis.records.laps import read_laps
from analysis.records.shop import DAYS, Shop, read_shop
from analysis.screens.keeping_pace import _fits, _next_step, _people, _room, _tight
from analysis.screens.source import DEMO, OWN
from analysis.store.store import open_store
from tests.screens.driving import said, tables


def test_the_demo_says_in_one_sentence_whether_demand_fits_the_week(show):
    words = said(show("keeping_pace", DEMO))
    assert re.search(r"asks for about [\d.]+ to [\d.]+ hours of work; you have [\d.]+ hours", words)
    assert re.search(r"It (fits|does not fit|may or may not fit)", words)


def test_each_case_of_fit_says_hours_to_spare_or_lacking():
    hours = {"low": 30.0, "high": 34.0, "available": 45.0}
    open_all_year = Shop()
    assert "fits, with 11 to 15 hours to spare." in _fits(hours, open_all_year)
    assert "full" not in _fits(hours, open_all_year)
    assert "one bad day" in _fits(hours | {"available": 35.0}, open_all_year)
    assert "does not fit: 2 to 6 hours" in _fits(hours | {"available": 28.0}, open_all_year)
    assert "may or may not fit" in _fits(hours | {"available": 32.0}, open_all_year)
    shut = _fits(hours, Shop(weeks_closed_per_year=4))
    assert "you have 45 hours, 4 weeks closed a year spread over the others. It fits" in shut


def test_a_week_that_is_full_is_told_with_a_next_step_other_than_haste():
    hours = {"low": 30.0, "high": 34.0, "available": 45.0}
    assert _next_step(hours) == ""
    for available in (35.0, 32.0, 28.0):
        assert "not haste: *What if*" in _next_step(hours | {"available": available})


def test_the_bottleneck_comes_with_how_sure_it_is(show):
    words = said(show("keeping_pace", DEMO))
    assert re.search(r"longest step is \*\*.+\*\* \((almost surely|\d+ times)", words)
    table = tables(show("keeping_pace", DEMO))[1]
    assert table["sure of the step (%)"].between(0, 100).all()


def test_people_needed_are_not_rounded_and_said_in_hours(show):
    screen = show("keeping_pace", DEMO)
    assert re.search(r"\*\*People needed\*\* in all: \d+\.\d\d", said(screen))
    assert "not rounded" in said(screen)


def test_whose_the_hours_are_is_said_beside_how_many_there_are(show):
    words = said(show("keeping_pace", DEMO))
    limit = re.search(r"\*\*helper\*\* \(.*?\), asked for ([\d.]+ to [\d.]+) of", words)
    assert f"helper for {limit[1]} hours" in words  # the same two ends at both places


def test_no_line_begins_with_a_unit_parted_from_its_number(show):
    listed = [said.value for said in show("keeping_pace", DEMO).markdown]
    assert any("10\N{NO-BREAK SPACE}% more or fewer" in part for part in listed)
    assert any(re.search(r"every \d+\N{NO-BREAK SPACE}min", part) for part in listed)


def test_an_empty_store_says_the_next_step(show):
    assert "Next step" in show("keeping_pace", OWN).info[0].value


def test_without_demand_the_screen_asks_for_it(show, first_file):
    screen = show("keeping_pace", OWN)
    assert "write the demand" in screen.info[0].value
    assert "work in a good piece (min)" in tables(screen)[0]


def test_pace_and_strain_come_with_a_caution_that_defers_to_local_rules(show):
    caution = show("keeping_pace", DEMO).warning[0].value
    for word in ("pauses", "needle", "doctor", "rules of your place", "licensed"):
        assert word in caution


def test_the_tables_carry_units(show):
    screen = show("keeping_pace", DEMO)
    load, takt, content = tables(screen)
    assert {"hours asked for a week", "hours there are", "taken (%)"} <= set(load)
    assert {"wanted (pieces a week)", "one needed every (min)", "people needed"} <= set(takt)
    assert {"making (min)", "setting up (min)", "putting right (min)"} <= set(content)


def week(*people):
    """What the screen reads of a week, from (name, hours there are, hours asked for)."""
    load = pd.DataFrame(people, columns=["worker", "hours_available", "hours_needed"])
    return SimpleNamespace(
        worker_load=load.assign(
            hours_needed_low=load["hours_needed"] - 2,
            hours_needed_high=load["hours_needed"] + 2,
            load=load["hours_needed"] / load["hours_available"],
            probability_fullest=[1.0] + [0.0] * (len(load) - 1),
        ),
        station_load=pd.DataFrame({"station": [], "load": [], "probability_fullest": []}),
    )


def test_work_is_shared_anew_only_with_somebody_who_has_room():
    (line,) = _tight(week(("maker", 30.0, 36.0), ("helper", 10.0, 6.5)))
    assert "**maker** is asked for 34 to 38 hours and has 30 hours" in line
    assert "helper has about 3.5 hours left: share it out anew" in line
    for nobody_free in (week(("maker", 30.0, 36.0)), week(("a", 30.0, 36.0), ("b", 9.0, 10.0))):
        assert all("share it out" not in line for line in _tight(nobody_free))


def test_what_limits_the_week_is_named_with_how_sure_that_is(show):
    assert re.search(
        r"What limits the week: \*\*.+\*\* \((almost surely|\d+ times out of 100)",
        said(show("keeping_pace", DEMO)),
    )


def test_pieces_lying_in_a_place_stand_apart_from_its_load(show):
    screen = show("keeping_pace", DEMO)
    load = tables(screen)[0].set_index("who or what")
    assert load["pieces lie in it (hours)"]["nipping press"] > 0
    assert load["pieces lie in it (hours)"].isna()["maker"]
    assert "Pieces also lie in **nipping press** for about" in said(screen)
    assert "not in its bar" in said(screen)


def test_takt_has_words_of_its_own_that_say_what_it_hangs_on(show):
    words = said(show("keeping_pace", DEMO))
    assert re.search(r"one has to be finished every \d+ min that the shop is open", words)
    assert re.search(r"every \d+ to \d+ min, were 10 % more or fewer wanted", words)
    assert "no lap makes it surer" in words


def test_the_room_that_is_left_is_said_in_pieces():
    hours = {"low": 40.0, "high": 42.0, "available": 44.0}
    assert "5 to 10 % more pieces" in _room(hours)
    assert "9 to 14 % fewer pieces" in _room(hours | {"available": 36.3})
    assert _room(hours | {"available": 41.0}) == ""


@pytest.mark.parametrize(
    ("shop", "next_step"),
    [
        ('[products."card box"]\ndemand_per_week = 0\n', "write the demand"),
        ("[products.other]\ndemand_per_week = 3\n", "time a piece of it"),
        ('[products."card box"]\ndemand_per_week = 5\n[week]\n'
         + "".join(f'{day} = ""\n' for day in DAYS), "write those of a week"),
    ],
)  # fmt: skip
def test_where_nothing_can_be_told_the_next_step_is_said(show, needed_only, shop, next_step):
    needed_only.save_shop(read_shop(shop.encode(), "shop.toml"), "shop")
    assert next_step in show("keeping_pace", OWN).info[0].value


def test_a_product_that_nothing_tells_the_work_of_is_said_not_to_be_in_it(show, needed_only):
    products = '[products."card box"]\ndemand_per_week = 5\n[products.other]\ndemand_per_week = 3\n'
    needed_only.save_shop(read_shop(products.encode(), "shop.toml"), "shop")
    screen = show("keeping_pace", OWN)
    assert "neither laps nor a route tell its work: other." in said(screen)
    assert screen.selectbox(key="pace_product").options == ["card box"]


@pytest.mark.parametrize(
    ("needed", "means"),
    [
        (0.25, "means one person for 10 hours a week"),
        (1.0, "means 1 person all week (a week"),
        (1.999, "means 2 people all week (a week"),
        (1.25, "means 1 person all week and one more for 10 hours a week"),
    ],
)
def test_whole_people_are_not_told_one_more_for_no_hours(needed, means):
    figures = SimpleNamespace(shop=Shop(), worker_load=[])
    assert means in _people(pd.DataFrame({"workers_needed": [needed]}), figures)


def test_laps_of_interruptions_alone_say_the_next_step(show, own_store):
    text = "started_at,seconds,product,operation,activity\n2026-11-02T08:00:00,300,,,delay\n"
    open_store(own_store).import_laps(read_laps(text.encode(), name="delay.csv"))
    assert "Next step: write the demand" in show("keeping_pace", OWN).info[0].value
