"""Figures that nobody has set are told as proposed wherever the answer uses them."""

from dataclasses import replace

import pytest

from analysis.decisions.answer import GIVEN, PROPOSED
from analysis.decisions.proposed import with_proposed
from analysis.memo.page import page_of
from analysis.records.scenario import Demand, Estimate, Helper
from tests.decisions.test_what_if import MANY, MOTOR, SHORT, answer, shop
from tests.memo.test_memo import DAY

ALL = replace(
    SHORT,
    helper=Helper(10.0, 12.0, operations=("cut",)),
    equipment=(replace(MOTOR, time_factor=Estimate(0.4, 0.7)),),
    demand=Demand(factor=Estimate(1.1, 1.6)),
)


@pytest.fixture(scope="module")
def whole():
    return answer(ALL, model=shop(MANY))


@pytest.mark.parametrize(
    ("path", "line", "mover"),
    [
        (("helper", "cost_per_hour"), "The new helper", "hourly cost of the new helper"),
        (("helper", "hours_per_week"), "The new helper", ""),
        (("equipment", 0, "time_factor"), "motor: time", "time of motor"),
        (("demand", "factor"), "Demand will be", "demand"),
    ],
)
def test_what_rests_on_a_proposed_figure_is_marked_and_nothing_else(whole, path, line, mover):
    marked = with_proposed(whole, ALL, [path])
    assert {one.what for one in marked.assumptions if one.source == PROPOSED} == {line}
    told = {one.name for one in (*marked.movers,)}
    assert {one.name for one in marked.movers if one.source == PROPOSED} == {mover} & told
    if mover:
        assert mover in told, "or nothing is shown by this"
    assert with_proposed(whole, ALL, []) is whole


def test_the_printed_page_says_that_the_shop_has_not_set_it(whole):
    page = page_of(with_proposed(whole, ALL, [("demand", "factor")]), "Shop", DAY)
    assert ("Demand will be", PROPOSED) in {(what, source) for what, _, source in page.assumptions}
    assert "proposed: proposed by the program, not yet set by the shop" in page.sources
    assert PROPOSED not in page_of(whole, "Shop", DAY).sources
    assert any(one.source == GIVEN for one in whole.assumptions)
