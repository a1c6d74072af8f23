"""Getting faster, as a maker reads it."""

import re

import pytest

from analysis.screens import getting_faster
from analysis.screens.source import DEMO, OWN
from tests.screens.driving import said, tables


def test_the_demo_says_where_one_stands_how_fast_it_falls_and_what_comes_next(show):
    words = said(show("getting_faster", DEMO))
    assert re.search(r"now needs about [\d.]+ to [\d.]+ (min|s) a piece", words)
    assert re.search(r"Each doubling of the pieces made takes [\d.]+ to [\d.]+ % off", words)
    assert re.search(r"For \*.+\* the next batch of \d+ takes [\d.]+ to [\d.]+ (hours|min)", words)
    assert re.search(r"two weeks away", words, re.IGNORECASE)


def test_an_empty_store_says_the_next_step(show):
    screen = show("getting_faster", OWN)
    assert "Next step" in screen.info[0].value


def test_a_first_small_file_is_answered_without_a_curve_it_cannot_bear(show, first_file):
    words = said(show("getting_faster", OWN))
    assert "a piece" in words
    assert "levels out at" not in words.split("How this")[0].split("In the trade")[0]


@pytest.mark.parametrize("all_of_them", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_the_operations_of_both_products_can_be_looked_at(show, all_of_them):
    screen = show("getting_faster", DEMO)
    for product in screen.selectbox(key="faster_product").options:
        screen.selectbox(key="faster_product").select(product).run()
        key = f"faster_operation_{product}"
        operations = screen.selectbox(key=key).options
        for operation in operations if all_of_them else operations[:: len(operations) - 1]:
            screen.selectbox(key=key).select(operation).run()
            assert not screen.exception, (product, operation, screen.exception[0].message)
            assert "nan" not in re.findall(r"\w+", said(screen).lower()), (product, operation)


def test_two_workers_are_answered_apart_and_one_can_be_picked(show):
    screen = show("getting_faster", DEMO)
    screen.selectbox(key="faster_product").select("pocket notebook").run()
    screen.selectbox(key="faster_operation_pocket notebook").select("fold sections").run()
    assert said(screen).count("now needs") == 2
    screen.selectbox(key="faster_worker_pocket notebook_fold sections").select("helper").run()
    assert said(screen).count("now needs") == 1


def test_too_few_laps_are_said_to_be_too_few_with_a_pooled_guess(show):
    screen = show("getting_faster", DEMO)
    for product in screen.selectbox(key="faster_product").options:
        screen.selectbox(key="faster_product").select(product).run()
        table = tables(screen)[0]
        few = table[table["laps"] < 5]
        for row in few.itertuples(index=False):
            key = f"faster_operation_{product}"
            screen.selectbox(key=key).select(row.operation).run()
            assert "too few to tell. The guess" in said(screen)
            return
    raise AssertionError("the demo has no thin operation any more: pick another file")


def test_the_curves_names_are_explained(show):
    words = said(show("getting_faster", DEMO))
    for name in ("unit curve", "cumulative average", "plateau", "prior experience"):
        assert name in words


def test_the_table_carries_units(show):
    table = tables(show("getting_faster", DEMO))[0]
    assert {"now (s a piece)", "learning rate (%)", "levels out at (s)"} <= set(table)
    assert "pieces made" in table


def test_timing_people_comes_with_a_caution(show):
    assert "not for pushing anybody" in said(show("getting_faster", DEMO))


def test_the_first_piece_is_told_in_the_unit_of_those_of_now():
    """`51 to 57 s` beside `2.0 min` would be compared wrongly."""
    assert getting_faster._as_long(122.0, 86.0) == "122 s"
    assert getting_faster._as_long(695.0, 432.0) == "12 min"
    assert getting_faster._as_long(695.0, 86.0) == "12 min"
