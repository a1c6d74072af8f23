"""Other values simulated again: what is told of a value is what stands there with it fixed."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.decisions.again import Again, Stopped
from analysis.decisions.compare import Simulator, compare
from analysis.decisions.model_of import model_of
from analysis.decisions.shop_model import SharedDoubt
from analysis.decisions.what_if import what_if
from analysis.records.scenario import (
    Demand,
    Equipment,
    Estimate,
    Helper,
    Scenario,
    read_scenario,
    sure,
)
from tests import demo
from tests.decisions.shops import box_shop

SAMPLES = demo.SAMPLES
RUNS = 24
NAMES = (pytest.param("what_if_helper", marks=pytest.mark.slow), "what_if_machine")
# A week makes about 213 boxes: demand of 260 to 420 lies where the curve bends and beyond.
BOXES = Scenario(
    horizon_weeks=30,
    equipment=(Equipment(("sew",), "motor", time_factor=sure(0.6), price=sure(9000.0)),),
    demand=Demand(factor=Estimate(1.3, 2.1), either_way=True),
)


@cache
def bindery():
    return model_of(demo.studied(), demo.routing(), demo.shop())


def scenario(name):
    return replace(read_scenario(SAMPLES / f"{name}.toml"), horizon_weeks=52)


@cache
def answered(name, runs=RUNS):
    (whole,) = what_if(bindery(), [scenario(name)], runs=runs)
    return whole


def with_factor(asked, factor):
    return replace(asked, demand=replace(asked.demand, factor=sure(factor)))


def at_factor(name, factor, runs=RUNS):
    """As a maker asks who writes that one factor into the scenario's file."""
    (whole,) = what_if(bindery(), [with_factor(scenario(name), factor)], runs=runs, quick=True)
    return whole.money.net_present_value.mean, whole.money.error


def mover(whole, name):
    return next(one for one in whole.movers if one.name == name)


@pytest.mark.parametrize("name", NAMES)
def test_an_end_of_the_bar_of_demand_is_the_answer_with_demand_given_so(name):
    bar = mover(answered(name), "demand")
    for factor, value, words in (
        (1.15, bar.value_at_low, "122 pieces a week"), (1.5, bar.value_at_high, "159 pieces a week")
    ):  # fmt: skip
        there, error = at_factor(name, factor)
        assert abs(value - there) <= 3 * error, f"{name} at {factor}"
        assert words in (bar.low, bar.high)


@pytest.mark.parametrize("name", NAMES)
def test_break_even_bar_and_headline_agree_on_the_sign(name):
    money, bar = answered(name).money, mover(answered(name), "demand")
    pays_from = money.break_even_demand_per_week
    if pays_from is None:
        assert bar.value_at_low < 0 and bar.value_at_high < 0 and bar.turns_at == ""
        assert money.best_net_present_value < 0
        assert not any("pays from" in line for line in answered(name).sentences)
        assert any("No demand up to" in line for line in answered(name).sentences)
        return
    ends = ((106 * 1.15, bar.value_at_low), (106 * 1.5, bar.value_at_high), (106, money.value_now))
    assert all((value >= 0) == (demand >= pays_from) for demand, value in ends)


def test_the_break_even_is_where_the_answer_with_demand_fixed_there_turns():
    money = answered("what_if_machine").money
    value, error = at_factor("what_if_machine", money.break_even_demand_per_week / 106)
    assert abs(value) <= 3 * error
    assert money.break_even_low <= money.break_even_demand_per_week <= money.break_even_high
    # 5 % of demand either side is far more than the search's 0.5 %.
    assert at_factor("what_if_machine", 1.05 * money.break_even_demand_per_week / 106)[0] > 0
    assert at_factor("what_if_machine", 0.95 * money.break_even_demand_per_week / 106)[0] < 0


@pytest.mark.slow
def test_more_runs_do_not_move_the_break_even_by_more_than_is_told():
    few, many = (answered("what_if_machine", runs).money for runs in (RUNS, 60))
    spread = [(one.break_even_high - one.break_even_low) / (2 * 1.645) for one in (few, many)]
    apart = few.break_even_demand_per_week - many.break_even_demand_per_week
    assert abs(apart) <= 3 * np.hypot(*spread) + 0.005 * 106  # and the search's own width


def test_a_mean_of_few_runs_is_moved_to_where_all_runs_have_it_and_its_error_told():
    """64 of 400 runs. What follows the runs as they were drawn is known as if all had been
    simulated, sd / sqrt(400); what has nothing to do with them as by 64, sd / sqrt(64)."""
    rng = np.random.default_rng(7)
    drawn = rng.normal(1000.0, 300.0, 400)
    again = SimpleNamespace(drawn=drawn)
    follows = Again._adjusted(again, drawn[:64] + 50.0)
    assert follows.mean == pytest.approx(drawn.mean() + 50.0)
    assert abs(drawn[:64].mean() - drawn.mean()) > 1.0, "or nothing is shown by this"
    assert follows.error == pytest.approx(drawn[:64].std(ddof=1) / np.sqrt(400))
    strange = rng.normal(1000.0, 300.0, 64)
    strange = strange - np.polyval(np.polyfit(drawn[:64], strange, 1), drawn[:64]) + 70.0
    alone = Again._adjusted(again, strange)
    assert alone.mean == pytest.approx(70.0)
    assert alone.error == pytest.approx(strange.std(ddof=1) / np.sqrt(64))


def test_a_machine_that_loses_at_todays_demand_is_not_simply_advised():
    whole = answered("what_if_machine")
    today, error = at_factor("what_if_machine", 1.0)
    assert today < 0 < whole.money.net_present_value.mean
    assert whole.money.value_now == pytest.approx(today, abs=3 * error)
    assert "only if demand grows by at least about" in whole.headline
    assert "at today's demand it loses about" in whole.headline
    assert "Nothing that could be found out" not in whole.settle
    assert "demand grows" in whole.settle


def test_a_first_answer_says_already_that_todays_demand_would_turn_it():
    (whole,) = what_if(bindery(), [scenario("what_if_machine")], runs=8, quick=True)
    assert "at today's demand it loses" in whole.headline and not whole.searched
    assert whole.movers == () and whole.settle == "" and whole.must_be_true == ()


def test_a_drawn_figure_is_told_as_it_stands_with_the_figure_given_so():
    """The motor's time, 45 to 70 % of the present one, against scenarios with either as sure."""
    bar = mover(answered("what_if_machine"), "time of sewing frame with a motor")
    asked = scenario("what_if_machine")
    for factor, value in ((0.45, bar.value_at_low), (0.7, bar.value_at_high)):
        machine = replace(asked.equipment[0], time_factor=sure(factor))
        fixed = replace(asked, equipment=(machine,))
        (there,) = what_if(bindery(), [fixed], runs=RUNS, quick=True)
        money = there.money
        assert abs(value - money.net_present_value.mean) <= 3 * money.error


def test_what_bends_is_told_at_its_ends_and_not_along_a_straight_line():
    """Boxes asked for beyond what even the motor makes bring nothing more: the upper end of the
    bar stays where the curve is flat, though a straight line through the runs goes on rising."""
    model = box_shop(200.0, demand_spread=0.0)
    (whole,) = what_if(model, [BOXES], runs=60)
    bar = mover(whole, "demand")
    (fixed,) = what_if(model, [with_factor(BOXES, 2.1)], runs=60, quick=True)
    top = fixed.money.net_present_value.mean
    assert bar.value_at_high == pytest.approx(top, abs=3 * fixed.money.error + 1e-6)
    best = max(whole.net_present_values)
    assert bar.value_at_high <= best + 15 * 25, "a batch more than the best run, and no more"


def test_a_held_draw_is_the_figure_itself_to_the_bit():
    """Demand held by its draw at the upper end, and a scenario that gives that end."""
    model = box_shop(200.0)
    compared = compare(model, BOXES, Simulator(3), 5)
    held = Again(model, compared, Simulator(3)).with_draw("demand factor", 1.6448536269514722)
    given = compare(model, with_factor(BOXES, 2.1), Simulator(3), 5)
    assert held.values == pytest.approx(given.ledger.net_present_values, rel=1e-6)


def test_holding_one_figure_leaves_the_draws_of_all_others():
    doubt = SharedDoubt("weather", 0.3, frozenset({"demand: box"}))
    model = replace(box_shop(200.0), shared_doubts=(doubt,))
    run = Simulator(3)
    free = compare(model, BOXES, run, 5).after.draws
    held = compare(replace(model, held=(("weather", 1.0),)), BOXES, run, 5).after.draws
    assert set(held["weather"]) == {1.0} and len(set(free["weather"])) == 5
    assert all((held[name] == free[name]).all() for name in free if name != "weather")


def test_a_range_that_shapes_the_calendar_is_held_as_well():
    helper = Helper(10.0, 5.0, training_hours=Estimate(5.0, 80.0), operations=("cut",))
    asked = Scenario(horizon_weeks=8, helper=helper)
    model = box_shop(300.0)
    compared = compare(model, asked, Simulator(3), 5)
    held = Again(model, compared, Simulator(3)).with_draw("hours of teaching", 1.6448536269514722)
    sure_of_it = replace(asked, helper=replace(helper, training_hours=sure(80.0)))
    given = compare(model, sure_of_it, Simulator(3), 5).ledger.net_present_values
    assert held.values == pytest.approx(given)


def test_a_stop_while_other_values_are_simulated_keeps_the_answer_of_the_runs():
    early, told = [], []
    (whole,) = what_if(
        box_shop(200.0), [BOXES], runs=12, early=early.append, stop=lambda: bool(early),
        report=told.append,
    )  # fmt: skip
    assert whole.money.net_present_value == early[0].money.net_present_value
    assert not whole.searched and whole.runs == 12 and whole.movers == ()
    compared = compare(box_shop(200.0), BOXES, Simulator(3), 5)
    with pytest.raises(Stopped):
        Again(box_shop(200.0), compared, Simulator(3, {"stop": lambda: True})).with_draw("x", 0.0)


def test_what_is_simulated_again_is_told_on_the_way():
    told = []
    what_if(box_shop(200.0), [BOXES], runs=12, report=told.append)
    counts = [so_far.other_values for so_far in told if so_far.other_values]
    assert counts == list(range(1, len(counts) + 1)) and len(counts) >= 4
    assert told[-1].now == "demand" and told[-1].runs_done == 12


def test_demand_now_and_demand_reckoned_with_are_told_apart():
    whole = answered("what_if_helper")
    said = {line.what: line.value for line in whole.assumptions}
    assert said["Demand now"] == "106 pieces a week"
    assert said["On the shelf at the start"] == "76 pieces", "it moves the break-even by pieces"
    asked = "122 to 159 pieces a week (139 in the middle), 115 to 150 % of today's"
    assert said["Demand will be"].startswith(asked)


def test_a_figure_given_once_says_that_its_ends_are_only_tried():
    whole = answered("what_if_machine")
    assert mover(whole, "price of the desk journal").tried
    assert not mover(whole, "demand").tried
    assert "running cost of the machine (sewing frame with a motor)" in whole.unmoving
    assert not set(whole.unmoving) & {one.name for one in whole.movers}
