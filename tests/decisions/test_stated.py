"""What an answer says it rests on is what it was reckoned with."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analysis.decisions.answer import ASSUMED, MEASURED
from analysis.decisions.change import changed
from analysis.decisions.layout import parameters_of
from analysis.decisions.shop_model import Skill
from analysis.decisions.stated import assumptions, counted
from analysis.records.scenario import Demand, Estimate, Helper, Order, Scenario, sure
from tests.decisions.shops import box_shop

HELPER = Helper(10.0, 12.0, operations=("cut", "sew"))
LEARNED = Skill(600.0, "unit", math.log2(0.9), experience=1000.0)


def stated(what, scenario, model=None):
    model = model or box_shop()
    return next(a for a in assumptions(model, model, scenario) if a.what == what).value


def practised(helper):
    """(shop, the same with the helper) in which the maker has long practised the sewing."""
    model = box_shop()
    model = replace(model, skills={**model.skills, ("maker", "box", "sew"): LEARNED})
    return model, changed(model, Scenario(helper=helper))


def test_an_order_says_from_which_week_on_it_is_worked_at():
    """By the calendar, four weeks before: a maker who would begin at once must know it."""
    for due, first in ((10, 6), (3, 1)):
        scenario = Scenario(demand=Demand(orders=(Order("box", 50, due),)))
        said = stated("An order", scenario)
        assert said.endswith(f"batches for it are begun from week {first} on")
        (order,) = changed(box_shop(), scenario).orders
        assert order.begun_in_week + 1 == first


@pytest.mark.parametrize(("is_logged", "end", "source"), [
    (True, "5 % for interruptions, as noted", MEASURED),
    (False, "5 % for interruptions, the allowance, since none are noted", ASSUMED),
])  # fmt: skip
def test_interruptions_that_nobody_noted_are_not_said_to_be_measured(is_logged, end, source):
    """They and rest take hours from the bench: a reader must see how much, and whence."""
    model = replace(box_shop(), delay_share=0.05, rest_share=0.09, delay_logged=is_logged)
    line = next(a for a in assumptions(model, model, Scenario()) if a.what.startswith("Rest"))
    assert line.value == f"9 % of the work for rest, the shop's allowances; {end}"
    assert line.source == source


def test_a_helper_ends_as_quick_as_the_quickest_in_the_middle_of_the_runs_and_not_in_all():
    model, helped = practised(HELPER)
    level = parameters_of(helped, 1, 0, 400)[0].level
    place = list(helped.skills).index(("new helper", "box", "sew"))
    new = helped.skills["new helper", "box", "sew"]
    ends = level[:, place] * new.plateau_seconds / new.first_unit_seconds
    quickest = 600 * 1001 ** math.log2(0.9)
    # 400 runs: their median lies within 2 standard errors, 2 x 1.25 x 0.19 / 20, of the true one.
    assert np.median(ends) == pytest.approx(quickest, rel=0.024)
    assert 0.4 < (ends < quickest).mean() < 0.6
    said = stated("Their first pieces", Scenario(helper=HELPER), model)
    assert said.endswith("in the middle of the runs nobody gets faster than the quickest in the "
                         "shop is now")  # fmt: skip


def test_that_people_differ_by_a_fifth_is_said_where_it_is_reckoned_with():
    ranged = replace(HELPER, first_unit_factor=Estimate(1.0, 1.4))
    for helper, is_said in ((HELPER, True), (ranged, False)):
        said = stated("Their first pieces", Scenario(helper=helper))
        assert ("about a fifth" in said) == is_said


def test_a_helper_who_cannot_get_quicker_is_not_said_to():
    """Nobody shows practice in the box shop: a first piece takes what the quickest takes now."""
    what = "They get quicker (learning rate)"
    given = replace(HELPER, learning_rate=sure(0.8))
    slower = replace(given, first_unit_factor=sure(2.0))
    for helper, learns in ((HELPER, False), (given, False), (slower, True)):
        skills = changed(box_shop(), Scenario(helper=helper)).skills
        assert (skills["new helper", "box", "sew"].curve != "constant") == learns
        said = stated(what, Scenario(helper=helper))
        assert said.startswith("each time" if learns else "not at all")


@pytest.mark.parametrize(
    "estimate, said",
    [
        (sure(1.0), "1 day"),
        (sure(3.0), "3 days"),
        (sure(0.5), "0.5 days"),
        (Estimate(2.0, 12.0), "2 to 12 days (7 on average)"),
    ],
)
def test_one_day_is_a_day(estimate, said):
    assert counted(estimate, "day") == said
