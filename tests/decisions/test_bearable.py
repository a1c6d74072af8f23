"""The most that a change's own price may be, and its money by the calendar."""

from dataclasses import astuple, replace

import numpy as np
import pytest

from analysis.decisions.answer import AT_MOST, DO, Bearable
from analysis.decisions.bearable import bearable_prices
from analysis.decisions.bill import by_calendar, weeks_words
from analysis.decisions.ledger import Entry, Ledger
from analysis.decisions.money import annuity_factor, evenly
from analysis.decisions.sentences import _at_most_sentence, rounded_down
from analysis.records.scenario import Equipment, Estimate, Helper, Move, Scenario, sure
from tests.decisions.test_what_if import MANY, MOTOR, RATE, SHORT, WEEKS, answer, shop

DOUBTFUL = shop(MANY, doubt=0.1, demand_spread=1.0)
RUNS = 40
ROOM = Move(rent_per_week=sure(60.0), fit_out=sure(900.0), deposit=sure(780.0))
HELPER = Helper(10.0, 12.0, operations=("cut",))


def priced(scenario, price):
    """The scenario with its own price fixed."""
    if scenario.move:
        return replace(scenario, move=replace(scenario.move, rent_per_week=sure(price)))
    if scenario.helper:
        return replace(scenario, helper=replace(scenario.helper, cost_per_hour=price))
    return replace(scenario, equipment=(replace(scenario.equipment[0], price=sure(price)),))


CHANGES = {
    "rent": replace(SHORT, move=ROOM, equipment=(replace(MOTOR, price=sure(0.0)),)),
    "rent as a range": replace(
        SHORT, move=replace(ROOM, rent_per_week=Estimate(30.0, 90.0)),
        equipment=(replace(MOTOR, price=sure(0.0)),),
    ),
    "wage": replace(SHORT, helper=HELPER),
    "machine": replace(SHORT, equipment=(MOTOR,)),
}  # fmt: skip


def asked(scenario):
    return answer(scenario, model=DOUBTFUL, runs=RUNS)


@pytest.fixture(scope="module", params=CHANGES, ids=list(CHANGES))
def change(request):
    scenario = CHANGES[request.param]
    return scenario, asked(scenario).money.bearable[-1]  # a room's rent is the last


def test_at_the_price_that_breaks_even_the_average_run_neither_gains_nor_loses(change):
    scenario, price = change
    assert price.breaks_even > 0
    again = asked(priced(scenario, price.breaks_even))
    assert again.money.net_present_value.mean == pytest.approx(0, abs=1e-6)


def test_up_to_the_price_it_may_be_the_verdict_is_to_do_it_and_above_it_not(change):
    scenario, price = change
    assert 0 < price.at_most <= price.breaks_even
    assert asked(priced(scenario, 0.999 * price.at_most)).verdict == DO
    assert asked(priced(scenario, 1.05 * price.at_most)).verdict != DO


def test_a_price_that_most_runs_bear_and_the_average_does_not_is_none_to_pay():
    """Nine runs bear 100 and one loses 2,000 without any price: the average is below nothing."""
    brings = np.array([[100.0]] * 9 + [[-2000.0]])
    entries = (
        Entry("sales", np.hstack([np.zeros((10, 1)), brings])),
        Entry("rent", np.tile([0.0, -60.0], (10, 1)), sure(60.0), 60.0, per="week",
              asked=np.array([0.0, -1.0])),
    )  # fmt: skip
    (price,) = bearable_prices(Ledger(entries, np.ones(2), 10))
    assert price.breaks_even == price.at_most == pytest.approx((9 * 100 - 2000) / 10)


def test_one_of_twenty_runs_breaks_even_below_the_low_end_and_one_above_the_high_one(change):
    scenario, price = change
    for end, share in ((price.low, 0.95), (price.high, 0.05)):
        if end <= 0:
            continue
        gains = asked(priced(scenario, end)).net_present_values > 1e-6
        assert gains.mean() == pytest.approx(share, abs=1 / RUNS + 1e-9)


def test_a_sure_shop_bears_a_rent_of_what_the_change_brings_a_week():
    scenario = CHANGES["rent"]
    *_, price = answer(scenario).money.bearable
    free = answer(priced(scenario, 0.0)).money.net_present_value.mean
    assert price.breaks_even == pytest.approx(evenly(free, RATE, WEEKS))
    assert price.breaks_even == pytest.approx(free / annuity_factor(RATE, WEEKS))
    assert price.low == price.high == pytest.approx(price.at_most)


def test_each_price_that_is_asked_for_has_one_and_what_is_not_asked_for_none():
    both = replace(SHORT, move=ROOM, helper=HELPER, equipment=(MOTOR,))
    names = [price.name for price in answer(both).money.bearable]
    assert names == ["hourly cost of the new helper", "price of the machine (motor)", "added rent"]
    assert answer(replace(SHORT, equipment=(Equipment(("sew",)),))).money.bearable == ()
    assert len(answer(both).about(AT_MOST)) == 3


@pytest.mark.parametrize(
    ("at_most", "even", "said"),
    [
        (74.96, 95.0, "With all else as here, the added rent may be up to 74.9 EUR a week: at "
         "least 8 of 10 runs then gain within 2 years (reckoned with: 60 EUR a week). The "
         "average of all runs breaks even only at 95 EUR a week (nine of ten runs: 0 to 150 EUR); "
         "between the two, more than 2 of 10 runs lose."),
        (95.0, 95.0, "With all else as here, the added rent may be up to 95 EUR a week: at least 8 "
         "of 10 runs then gain within 2 years (reckoned with: 60 EUR a week). The average of all "
         "runs breaks even at 95 EUR a week (nine of ten runs: 0 to 150 EUR)."),
        (-3.0, 12.0, "However low the added rent, fewer than 8 of 10 runs gain; on average it "
         "breaks even at 12 EUR a week (nine of ten runs: 0 to 150 EUR)."),
        (-9.0, -2.0, "Even if the added rent were nothing, it would not pay on average."),
    ],
)  # fmt: skip
def test_what_it_may_cost_is_said_in_one_sentence(at_most, even, said):
    price = Bearable("added rent", "week", 60.0, at_most, even, -20.0, 150.0)
    assert _at_most_sentence(price, Scenario(), "EUR") == said


def test_of_a_price_that_is_a_range_it_is_said_that_it_must_be_fixed_for_it():
    price = Bearable("added rent", "week", 60.0, 74.0, 95.0, -20.0, 150.0, is_range=True)
    assert "up to 74 EUR a week once it is fixed:" in _at_most_sentence(price, Scenario(), "EUR")


@pytest.mark.parametrize(
    ("value", "least"),
    [(146.9, 146.0), (148.0, 148.0), (9.999, 9.99), (0.0123, 0.0123), (2e6, 2e6)],
)
def test_the_most_that_may_be_paid_is_never_rounded_up(value, least):
    assert rounded_down(value) == pytest.approx(least)
    assert rounded_down(value) <= value * (1 + 1e-9)


def test_who_has_no_price_yet_hears_what_it_may_be():
    free = replace(SHORT, move=Move(), equipment=(replace(MOTOR, price=sure(0.0)),))
    whole = asked(free)
    machine, rent = whole.money.bearable
    assert (machine.given, rent.given) == (0.0, 0.0) and rent.at_most > 0
    assert asked(priced(free, rent.breaks_even)).money.net_present_value.mean == pytest.approx(
        0, abs=1e-6
    )
    told = {mover.name for mover in whole.movers} | set(whole.unmoving)
    assert not told & {machine.name, rent.name}, "a price of nothing moves nothing"
    assert "(reckoned with: 0 a week)" in whole.about(AT_MOST)[1]


def test_the_money_by_the_calendar_adds_up_to_the_list_of_the_money():
    whole = asked(replace(CHANGES["rent as a range"], horizon_weeks=170))
    found = whole.stretches
    ends = [(one.first_week, one.last_week) for one in found]
    assert ends == [(0, 0), (1, 13), (14, 26), (27, 52), (53, 104), (105, 156), (157, 170)]
    assert sum(one.money for one in found) == pytest.approx(whole.bill[-1].amount.mean)
    assert np.cumsum([one.money for one in found]) == pytest.approx(
        [one.so_far.mean for one in found]
    )
    assert astuple(found[-1].so_far) == pytest.approx(astuple(whole.bill[-1].amount))
    assert found[0].money == pytest.approx(-whole.money.paid_at_start)
    shown = list(by_calendar(found))
    assert np.cumsum([money for _, money, _ in shown]).tolist() == [so_far for *_, so_far in shown]


def test_a_room_by_the_calendar_is_fit_out_and_deposit_then_rent_then_the_deposit_back():
    found = answer(replace(SHORT, move=ROOM)).stretches
    assert [(weeks_words(one), one.money) for one in found] == [
        ("at the start", -1680.0),
        ("weeks 1 to 13", -780.0),
        ("weeks 14 to 26", -780.0),
        (f"weeks 27 to {WEEKS}", -60.0 * (WEEKS - 26) + 780.0),
    ]
