"""Keeping pace, as a maker reads it."""

import re

from analysis.screens.keeping_pace import _fits, _tight
from analysis.screens.source import DEMO, OWN
from tests.screens.driving import said


def test_the_demo_says_in_one_sentence_whether_demand_fits_the_week(show):
    words = said(show("keeping_pace", DEMO))
    assert re.search(r"asks for about [\d.]+ to [\d.]+ hours of work; you have [\d.]+ hours", words)
    assert re.search(r"It (fits|does not fit|may or may not fit)", words)


def test_each_case_of_fit_says_hours_to_spare_or_lacking():
    hours = {"low": 30.0, "high": 34.0, "available": 45.0}
    assert "fits, with 11 to 15 hours to spare." in _fits(hours)
    assert "full" not in _fits(hours)
    assert "one bad day" in _fits(hours | {"available": 35.0})
    assert "does not fit: 2 to 6 hours" in _fits(hours | {"available": 28.0})
    assert "may or may not fit" in _fits(hours | {"available": 32.0})


def test_the_bottleneck_comes_with_how_sure_it_is(show):
    words = said(show("keeping_pace", DEMO))
    assert re.search(r"longest step of .+ is \*\*.+\*\* \((almost surely|\d+ times)", words)
    table = show("keeping_pace", DEMO).dataframe[0].value
    assert table["sure of the step (%)"].between(0, 100).all()


def test_people_needed_are_not_rounded_and_said_in_hours(show):
    screen = show("keeping_pace", DEMO)
    assert re.search(r"\*\*People needed\*\* in all: \d+\.\d\d", said(screen))
    assert "not rounded" in said(screen)


def test_an_empty_store_says_the_next_step(show):
    assert "Next step" in show("keeping_pace", OWN).info[0].value


def test_without_demand_the_screen_asks_for_it(show, needed_only):
    screen = show("keeping_pace", OWN)
    assert "write the demand" in screen.info[0].value
    assert "work in a good piece (min)" in screen.dataframe[0].value


def test_pace_and_strain_come_with_a_caution_that_defers_to_local_rules(show):
    caution = show("keeping_pace", DEMO).warning[0].value
    for word in ("pauses", "needle", "doctor", "rules of your place", "licensed"):
        assert word in caution


def test_the_tables_carry_units(show):
    screen = show("keeping_pace", DEMO)
    takt, content = (table.value for table in screen.dataframe)
    assert {"wanted (pieces a week)", "one needed every (min)", "people needed"} <= set(takt)
    assert {"making (min)", "setting up (min)", "putting right (min)"} <= set(content)


def test_somebody_asked_for_more_than_they_have_is_named():
    import pandas as pd

    class Figures:
        hours_needed = {"low": 40.0, "high": 42.0, "available": 60.0}
        worker_load = pd.DataFrame(
            {
                "worker": ["maker"],
                "hours_available": [30.0],
                "hours_needed": [36.0],
                "hours_needed_low": [34.0],
                "hours_needed_high": [38.0],
                "load": [1.2],
            }
        )
        station_load = pd.DataFrame({"station": [], "load": []})

    (line,) = _tight(Figures)
    assert "**maker** is asked for 34 to 38 hours and has 30 hours" in line
    assert "share it out anew" in line
