"""Ranges of what shapes the calendar: each run has its own hours and demand, week by week."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.decisions.compare import Simulator, after_of, before_of
from analysis.decisions.money import NORMAL_95
from analysis.decisions.simulate import simulate
from analysis.decisions.varied import GROWTH, Varied, settled, value
from analysis.decisions.what_if import what_if
from analysis.records.scenario import Demand, Estimate, Helper, Move, Scenario, read_scenario, sure
from tests.decisions.shops import box_shop
from tests.decisions.test_what_if import MANY, shop

TEN = Scenario(horizon_weeks=10)
AWAY = replace(TEN, move=Move(lost_days=Estimate(2.0, 12.0), commute_hours_per_week=sure(1.0)))
GROWS = replace(TEN, demand=Demand(growth_per_year=Estimate(-0.2, 0.5)))
ALL = replace(
    TEN,
    helper=Helper(8.0, 12.0, training_hours=Estimate(8.0, 30.0)),
    move=Move(lost_days=Estimate(0.0, 5.0), commute_hours_per_week=Estimate(1.0, 4.0)),
    demand=Demand(growth_per_year=Estimate(0.0, 0.4)),
)


def test_the_ends_of_a_range_lie_where_nine_of_ten_runs_end():
    for figure in (Estimate(-0.2, 0.5), Estimate(0.0, 0.4)):
        ends = [value(GROWTH, figure, z) for z in (-NORMAL_95, NORMAL_95)]
        assert ends == pytest.approx([figure.low, figure.high])
    assert value("hours", Estimate(8.0, 30.0), -NORMAL_95) == pytest.approx(8.0)


def test_a_run_of_a_range_is_the_run_of_the_figure_it_drew():
    """To the bit: run 3 of all, and run 3 of a shop in which its values are given as sure."""
    shops = after_of(box_shop(), ALL, seed=1)
    assert isinstance(shops, Varied)
    whole = simulate(shops, weeks=10, runs=5, seed=1)
    z = {name: float(drawn[3]) for name, drawn in whole.draws.items() if name in shops.draws(0, 1)}
    assert len(z) == 4
    alone = Simulator(1)(after_of(box_shop(), settled(ALL, z), seed=1), 10, 5)
    for name in ("good", "sold", "bench_seconds", "available_seconds"):
        np.testing.assert_array_equal(getattr(whole, name)[3], getattr(alone, name)[3], name)
    assert len({hours.sum() for hours in whole.available_seconds}) == 5, "each has its own hours"


def test_threads_and_one_after_the_other_give_the_same_bits():
    shops = after_of(box_shop(), ALL, seed=1)
    one = simulate(shops, weeks=10, runs=6, seed=1)
    more = simulate(shops, weeks=10, runs=6, seed=1, jobs=2, report=lambda progress: None)
    np.testing.assert_array_equal(one.sold, more.sold)
    np.testing.assert_array_equal(one.idle_seconds, more.idle_seconds)


def test_the_shop_before_shares_growth_that_comes_either_way_and_no_other_range():
    assert not isinstance(before_of(box_shop(), AWAY, 1), Varied)
    either = replace(GROWS, demand=replace(GROWS.demand, either_way=True))
    before, after = before_of(box_shop(), either, 1), after_of(box_shop(), either, 1)
    assert isinstance(before, Varied) and isinstance(after, Varied)
    assert before.of_run(4).demand_factor == after.of_run(4).demand_factor
    (answer,) = what_if(box_shop(), [either], runs=6)
    assert answer.verdict == "changes nothing"


def test_a_range_of_lost_days_widens_the_answer_and_has_its_bar():
    days_sure = replace(AWAY, move=replace(AWAY.move, lost_days=sure(5.0)))
    certain, ranged = what_if(shop(MANY), [days_sure, AWAY], runs=60)

    def width(answer):
        return answer.money.net_present_value.p95 - answer.money.net_present_value.p5

    assert width(ranged) > width(certain)
    bar = next(mover for mover in ranged.movers if mover.name == "days lost by the move")
    assert (bar.low, bar.high) == ("2 days", "12 days")
    assert bar.value_at_low > bar.value_at_high and bar.settled_by


def test_ranges_are_read_from_a_file_as_numbers_are():
    text = (
        b"[helper]\nhours_per_week = 8\ncost_per_hour = 12\ntraining_hours = [8, 30]\n"
        b"[move]\nlost_days = [0, 5]\ncommute_hours_per_week = 2\n"
        b"[demand]\ngrowth_per_year = [-0.1, 0.2]\n"
    )
    scenario = read_scenario(text, "mine.toml")
    assert scenario.helper.training_hours == Estimate(8.0, 30.0)
    assert scenario.move.lost_days == Estimate(0.0, 5.0)
    assert scenario.move.commute_hours_per_week == sure(2.0)
    assert scenario.demand.growth_per_year == Estimate(-0.1, 0.2)
