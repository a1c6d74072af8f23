"""Hours at the bench, reckoned by hand."""

import numpy as np
import pytest

from analysis.decisions.hours import NEVER, available_seconds, book, finish, stretches_of
from analysis.decisions.shop_model import WEEK_SECONDS, Hand, ShopModel

HOUR, DAY = 3600.0, 86400.0
OPEN = tuple(
    (day * DAY + begin * HOUR, day * DAY + end * HOUR)
    for day in range(5)
    for begin, end in ((8, 12), (13, 17))
)


def hours(*hands, weeks=3, closed=(), open_seconds=OPEN):
    model = ShopModel((), {}, hands, open_seconds=open_seconds, closed=closed)
    return stretches_of(model, weeks)


def done(stretches, begun, work, restart=0.0, weeks=3):
    """(when work begun at a moment of the first stretch is done, hours worked by week)."""
    worked = np.zeros(weeks)
    end = finish(stretches, 0, 0, begun, work, restart, weeks)
    book(stretches, 0, 0, begun, end, worked, 1.0)
    return end, worked / HOUR


def test_in_a_closed_week_nobody_is_there():
    shut = available_seconds(hours(Hand("maker"), Hand("helper", 10.0), closed=(0.0, 1.0)), 3)
    assert (shut / HOUR).tolist() == [[40, 0, 40], [10, 0, 10]]


def test_work_pauses_at_noon_at_night_and_over_the_weekend():
    stretches = hours(Hand("maker"))
    assert done(stretches, 8 * HOUR, 3 * HOUR)[0] == 11 * HOUR
    assert done(stretches, 8 * HOUR, 5 * HOUR)[0] == 14 * HOUR
    assert done(stretches, 8 * HOUR, 9 * HOUR)[0] == DAY + 9 * HOUR
    end, worked = done(stretches, 8 * HOUR, 41 * HOUR)
    assert end == WEEK_SECONDS + 9 * HOUR
    assert worked.tolist() == [40, 1, 0]


def test_a_long_pause_costs_a_new_start():
    assert done(hours(Hand("maker")), 8 * HOUR, 9 * HOUR, restart=60.0)[0] == DAY + 9 * HOUR + 120


def test_who_leaves_for_good_stays_until_the_work_in_hand_is_done():
    end, worked = done(hours(Hand("helper", until_week=1)), 8 * HOUR, 42 * HOUR)
    assert end == 4 * DAY + 19 * HOUR
    assert worked.tolist() == [42, 0, 0]


def test_a_closed_week_interrupts_work_and_makes_nobody_work_on():
    shut = hours(Hand("maker"), closed=(0.0, 1.0))
    end, worked = done(shut, 8 * HOUR, 42 * HOUR)
    assert end == 2 * WEEK_SECONDS + 10 * HOUR
    assert worked.tolist() == [40, 0, 2]


def test_work_that_the_horizon_cuts_off_is_never_done():
    assert done(hours(Hand("maker"), weeks=1), 8 * HOUR, 41 * HOUR, weeks=1)[0] == NEVER


def test_fewer_hours_are_spread_evenly_from_opening_on():
    stretches = hours(Hand("helper", hours_per_week=10.0), weeks=1)
    begins = [day * DAY + 8 * HOUR for day in range(5)]
    assert stretches["begin"][0, :5].tolist() == begins
    assert (stretches["end"][0, :5] - begins).tolist() == [2 * HOUR] * 5
    assert available_seconds(stretches, 1)[0, 0] == 10 * HOUR


@pytest.mark.parametrize(("hand", "expected"), [
    (Hand("new", from_week=1), [0, 40, 40]),
    (Hand("seasonal", available=(1.0, 0.0, 0.5)), [40, 0, 20]),
    (Hand("maker", available=(0.5,)), [20, 40, 40]),
])  # fmt: skip
def test_hours_taken_away_are_gone(hand, expected):
    found = available_seconds(hours(hand), 3)[0] / HOUR
    np.testing.assert_allclose(found, expected)


def test_a_move_closes_the_shop_for_everyone():
    found = available_seconds(hours(Hand("a"), Hand("b", 20.0), closed=(0.25,)), 3) / HOUR
    np.testing.assert_allclose(found, [[30, 40, 40], [15, 20, 20]])


def test_a_shop_that_never_closes_needs_no_calendar():
    always = ((0.0, WEEK_SECONDS),)
    end, worked = done(hours(Hand("robot"), open_seconds=always), 0.0, 200 * HOUR)
    assert end == 200 * HOUR
    assert worked.tolist() == [168, 32, 0]
