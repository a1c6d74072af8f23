"""The money of a change as a list: by hand, and that its lines add up to the answer."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.decisions.bill import TOGETHER, _adding_up, _when, shown, walk_hours
from analysis.decisions.money import annuity_factor
from analysis.decisions.simulate import simulate
from analysis.records.scenario import Demand, Equipment, Estimate, Helper, Move, sure
from tests.decisions.shops import box_shop
from tests.decisions.test_what_if import MANY, MOTOR, RATE, SHORT, WEEKS, answer, shop

ROOM = Move(
    rent_per_week=Estimate(50.0, 70.0), fit_out=Estimate(800.0, 1600.0), deposit=sure(780.0),
    lost_days=sure(3.0), transport_factor=0.2,
)  # fmt: skip
FRAME = replace(MOTOR, price=Estimate(900.0, 1300.0), resale=sure(200.0), life_weeks=20,
                running_cost_per_week=sure(3.0))  # fmt: skip
HELPER = Helper(10.0, 12.0, operations=("cut",), until_week=10)
ALL = replace(SHORT, move=ROOM, equipment=(FRAME,), helper=HELPER)


def lines(whole):
    return {line.what: line for line in whole.bill}


def test_rent_fit_out_and_deposit_of_a_room_stand_there_with_their_time_and_sum():
    move = Move(rent_per_week=sure(60.0), fit_out=sure(900.0), deposit=sure(780.0))
    found = lines(answer(replace(SHORT, move=move)))
    assert list(found) == ["Fit-out", "Rent, what is added", "Deposit paid", "Deposit back",
                           TOGETHER]  # fmt: skip
    told = {what: (line.when, line.amount.mean) for what, line in found.items()}
    assert told == {
        "Fit-out": ("at the start", -900),
        "Rent, what is added": ("60 a week", -60 * WEEKS),
        "Deposit paid": ("at the start", -780),
        "Deposit back": (f"end of week {WEEKS}", 780),
        TOGETHER: ("over 7 months", -900 - 60 * WEEKS),
    }
    assert found["Rent, what is added"].worth == pytest.approx(-60 * annuity_factor(RATE, WEEKS))
    assert found["Deposit back"].worth == pytest.approx(780 / (1 + RATE) ** WEEKS)


@pytest.mark.parametrize(
    "scenario",
    [
        replace(SHORT, move=ROOM),
        replace(SHORT, equipment=(FRAME,)),
        replace(SHORT, helper=HELPER),
        replace(ALL, demand=Demand(factor=Estimate(1.1, 1.4))),
    ],
    ids=["move", "machine", "helper", "all"],
)
def test_the_lines_add_up_to_the_answer_as_reckoned_and_as_shown(scenario):
    whole = answer(scenario, model=shop(MANY, doubt=0.1, demand_spread=1.0))
    *parts, total = whole.bill
    assert len(parts) >= 3 and total.what == TOGETHER
    assert sum(line.worth for line in parts) == pytest.approx(total.worth)
    assert sum(line.amount.mean for line in parts) == pytest.approx(total.amount.mean)
    assert total.worth == pytest.approx(whole.money.net_present_value.mean)
    paid = sum(line.amount.mean for line in parts if line.when == "at the start")
    assert paid == pytest.approx(-whole.money.paid_at_start)
    *seen, sums = shown(whole.bill)
    assert sums == tuple(np.sum(seen, axis=0))
    for line, (amount, worth) in zip(whole.bill, shown(whole.bill), strict=True):
        assert abs(amount - line.amount.mean) < 1 and abs(worth - line.worth) < 1


def test_a_range_shows_in_the_line_it_was_given_for_and_in_no_sure_one():
    found = lines(answer(replace(SHORT, move=ROOM), runs=60))
    fit_out = found["Fit-out"].amount
    assert -1750 < fit_out.p5 < -1450 and -950 < fit_out.p95 < -650
    assert found["Deposit paid"].amount.p5 == found["Deposit paid"].amount.p95 == -780


def test_a_machine_that_wears_out_and_a_helper_who_leaves_are_paid_so_long():
    found = lines(answer(ALL))
    assert found["Power and upkeep of the machine (motor)"].when == "3 a week, weeks 1 to 20"
    assert found["Sale of the machine (motor)"].when == "end of week 20"
    assert found["Pay of the new helper"].when == "120 a week, weeks 1 to 10"
    months = replace(ALL, helper=replace(HELPER, until_week=None, months=(1, 3)))
    assert "weeks of 1 to" in lines(answer(months))["Pay of the new helper"].when


def test_money_of_some_weeks_is_not_said_to_be_of_every_week():
    """Walks saved sell a batch more now and then, and nothing in the weeks between."""
    flows = np.zeros((2, 31))
    flows[0, [7, 9]], flows[1, [9, 27]] = 500.0, 250.0
    assert _when(flows) == "in 3 weeks of 7 to 27"
    flows[:, 7:28] = np.arange(21) + 1.0
    assert _when(flows) == "every week, weeks 7 to 27"
    flows[:, 7:28] = np.where(np.arange(21) % 2, 0.0, 40.0)
    assert _when(flows) == "40 a week in 11 weeks of 7 to 27"


def test_what_changes_nothing_has_no_list():
    assert answer(replace(SHORT, equipment=(Equipment(("sew",)),))).bill == ()


@pytest.mark.parametrize("parts", [[0.5, 0.5, 0.5], [-0.5, 1.4, 0.4], [-1.2, -1.4, -1.4], [2.0]])
def test_rounded_parts_add_up_to_the_rounded_sum(parts):
    *rounded, total = _adding_up([*parts, sum(parts)])
    assert sum(rounded) == total == round(sum(parts))
    assert all(abs(a - b) < 1 for a, b in zip(parts, rounded, strict=True))


def test_walks_are_counted_once_a_batch_and_what_a_move_saves_of_them_is_told():
    model = box_shop()  # 120 s of walking a batch of 25
    runs = simulate(model, weeks=20, runs=2, seed=1)
    begun = runs.started.sum() / 25 / 20 / 2
    assert walk_hours(runs, model) == pytest.approx(begun * 120 / 3600)
    saved = answer(replace(SHORT, move=replace(ROOM, lost_days=sure(0.0)))).walk_hours_saved
    now = answer(replace(SHORT, move=replace(ROOM, transport_factor=0.0)))
    assert saved == pytest.approx(0.8 * now.walk_hours_saved, rel=0.05)
    assert answer(replace(SHORT, move=Move(fit_out=sure(5.0)))).walk_hours_saved is None
