"""A room given up on the way: worked by hand, and against the same change looked at so long."""

from dataclasses import replace

import pytest

from analysis.decisions.stopping import AFTER_WEEKS, weeks_owed
from analysis.records.scenario import Equipment, Helper, Move, sure
from tests.decisions.test_what_if import MOTOR, RATE, SHORT, WEEKS, answer

YEAR = replace(SHORT, horizon_weeks=60)
ROOM = Move(rent_per_week=sure(50.0), fit_out=sure(700.0))


def stops(scenario, **more):
    return {stop.after_weeks: stop for stop in answer(scenario, **more).money.stops}


def test_a_room_that_changes_nothing_costs_rent_and_fit_out_until_it_is_given_up():
    found = stops(replace(YEAR, move=ROOM))
    assert list(found) == [13, 26, 52]  # and 104 is not looked at
    for week, stop in found.items():
        assert stop.money.mean == pytest.approx(-700 - 50 * week)
        assert stop.rent_owed == 0


def test_rent_of_the_shortest_term_or_the_notice_is_owed_and_a_deposit_comes_back():
    move = replace(ROOM, lease_weeks=40, notice_weeks=8, deposit=sure(600.0))
    found = stops(replace(YEAR, move=move))
    # After 13 weeks 27 are left of 40; after 26, 14; after 52 the term is over and notice runs 8.
    for week, owed in {13: 27, 26: 14, 52: 8}.items():
        assert found[week].rent_owed == pytest.approx(50 * owed)
        assert found[week].money.mean == pytest.approx(-700 - 50 * (week + owed))


def test_who_leaves_a_rented_room_too_owes_the_whole_rent_of_the_new_one():
    """80 before, 130 then: it adds 50 while it lasts; given up, 130 are owed beside the old 80."""
    move = replace(ROOM, whole_rent_per_week=130.0, lease_weeks=26)
    found = stops(replace(YEAR, horizon_weeks=26, move=move))
    assert list(found) == [13, 26]  # the end of what is looked at is one of them
    assert found[13].money.mean == pytest.approx(-700 - 50 * 13 - 130 * 13)
    assert found[26].money.mean == pytest.approx(-700 - 50 * 26)


def test_a_lease_longer_than_what_is_looked_at_is_a_caution():
    for weeks, told in ((WEEKS, False), (WEEKS + 1, True)):
        cautions = answer(replace(SHORT, move=replace(ROOM, lease_weeks=weeks)), runs=2).cautions
        assert any("runs longer than is looked ahead" in line for line in cautions) == told


@pytest.mark.parametrize(
    ("lease", "notice", "week", "owed"),
    [(0, 0, 13, 0), (52, 0, 13, 39), (52, 0, 52, 0), (52, 12, 45, 12), (0, 12, 104, 12)],
)
def test_weeks_owed(lease, notice, week, owed):
    assert weeks_owed(Move(lease_weeks=lease, notice_weeks=notice), week) == owed


def test_a_deposit_is_paid_before_the_first_day_and_is_back_at_the_end():
    whole = answer(replace(SHORT, move=Move(deposit=sure(600.0))))
    expected = -600 + 600 / (1 + RATE) ** WEEKS
    assert whole.money.net_present_value.mean == pytest.approx(expected)
    assert whole.money.paid_at_start == 600
    assert whole.money.probability_of_payback == 0  # what is got back has earned nothing
    assert whole.money.deepest == pytest.approx(600)
    assert whole.difference.cash_per_week.mean == 0, "paid once, and no part of a week"


def test_the_deposit_returned_takes_the_value_it_was_paid_with_in_each_run():
    move = Move(deposit=replace(sure(300.0), high=900.0))
    whole = answer(replace(YEAR, move=move))
    for stop in whole.money.stops:
        assert stop.money.p5 == stop.money.p95 == 0


def test_what_was_earned_until_then_counts():
    machine = replace(YEAR, equipment=(MOTOR,))
    week = AFTER_WEEKS[1]
    shorter = answer(replace(machine, horizon_weeks=week), 300)
    found = stops(machine, demand=300)[week]
    kept = shorter.difference.cash_per_week.mean * week - shorter.money.paid_at_start
    assert found.money.mean == pytest.approx(kept, rel=0.02)


def test_it_is_said_only_where_there_is_something_to_give_up():
    room = answer(replace(YEAR, move=replace(ROOM, lease_weeks=52))).sentences
    said = next(line for line in room if line.startswith("With notice given at the end of week 26"))
    assert "a loss of 3,300 with 1,300 of rent still to pay then." in said
    machine = Equipment(("sew",), price=sure(900.0))
    told = " ".join(answer(replace(YEAR, equipment=(machine,))).sentences)
    assert "what the machine then fetches comes on top" in told
    helper = " ".join(answer(replace(YEAR, helper=Helper(10.0, 20.0))).sentences)
    assert "Given up at the end of week 26, it is a loss" in helper


def test_what_of_a_room_is_in_the_sum_is_said():
    move = replace(ROOM, lease_weeks=52, deposit=sure(600.0))
    lines = answer(replace(YEAR, move=move)).sentences
    (early,) = (line for line in lines if "end of week 26" in line)
    assert "1,300 of rent still to pay then and the deposit back" in early
    (later,) = (line for line in lines if "end of week 52" in line)
    assert "with the deposit back" in later and "still to pay" not in later
