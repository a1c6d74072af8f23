"""Which draws move the answer: known slopes found, none made up; and what laps would tell."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.decisions.change import DEMAND_DOUBT, with_demand
from analysis.decisions.doubts import (
    LAPS,
    _told,
    count_demand,
    doubts_of,
    told_by_counting,
    weeks_to_count,
)
from analysis.decisions.money import NORMAL_95
from analysis.decisions.tornado import ERROR_SHARE, effects
from analysis.records.scenario import Demand, Estimate, Scenario
from tests.decisions.shops import box_shop


def test_draws_that_move_the_answer_are_found_with_their_slopes():
    rng = np.random.default_rng(20261125)
    z = rng.standard_normal((200, 120))
    values = 1000 + 300 * z[:, 7] - 200 * z[:, 40] + 50 * rng.standard_normal(200)
    found = {column: (slope, error) for column, slope, error in effects(z, values)}
    assert set(found) == {7, 40}
    for column, true in ((7, 300), (40, -200)):
        slope, error = found[column]
        assert abs(slope - true) < 4 * error  # four standard errors: 1 in 16,000
        assert error == pytest.approx(50 / np.sqrt(200), rel=0.3)


def test_draws_without_effect_are_shown_no_more_often_than_the_stated_share():
    rng = np.random.default_rng(1)
    times, shown = 300, 0
    for _ in range(times):
        shown += bool(effects(rng.standard_normal((60, 80)), rng.standard_normal(60)))
    # Three standard errors above the share of a binomial of so many times.
    limit = ERROR_SHARE + 3 * np.sqrt(ERROR_SHARE * (1 - ERROR_SHARE) / times)
    assert shown / times < limit


def test_values_that_are_all_the_same_are_moved_by_nothing():
    z = np.random.default_rng(2).standard_normal((50, 5))
    assert effects(z, np.full(50, -1000.0)) == []
    assert effects(z[:1], np.ones(1)) == []


def test_what_laps_tell_of_a_doubt_is_the_normal_posterior():
    # Doubt 0.1, scatter 0.3: of the variance 0.01 there stays 1 / (1 / 0.01 + n / 0.09).
    left = 1 / (1 / 0.01 + LAPS / 0.09)
    assert _told(0.1, 0.3) ** 2 == pytest.approx((0.01 - left) / 0.01)
    assert _told(0.0, 0.3) == 0


def test_orders_are_counted_long_enough_to_see_a_tenth_more_or_less():
    """Orders drawn one by one: after as many weeks as are told, a tenth more is found four times in
    five by a test of 5 %; after half as many, about every second time."""
    rng, now = np.random.default_rng(4), 106.0
    weeks = weeks_to_count(now)

    def found(weeks):
        before, after = rng.poisson(now * weeks, 20_000), 1.1 * now * weeks
        return (np.abs(after - before) > 1.96 * np.sqrt(now * weeks)).mean()

    assert weeks == 8 and "over 8 weeks" in count_demand(now)
    assert 0.78 < found(weeks) < 0.90 and found(weeks // 2) < 0.6
    assert weeks_to_count(5) == 26 and weeks_to_count(2000) == 4


def test_a_factor_for_some_products_is_told_and_counted_by_these():
    """74 jars among 374 pieces a week: a tenth more of them shows after 11 weeks, not after 4."""
    box = box_shop(300.0)
    jar = replace(box.lines[0], product="jar", demand_per_week=50.0)
    both = replace(box, lines=(box.lines[0], jar))
    demand = Demand(factor=Estimate(1.1, 2.0), factor_products=("jar",))
    scenario = Scenario(demand=demand)
    doubt = doubts_of(with_demand(both, demand, scenario), scenario)[DEMAND_DOUBT]
    assert "over 11 weeks" in doubt.settled_by
    assert doubt.words(NORMAL_95) == "200 % of today's, jar"
    of_all = replace(demand, factor_products=())
    doubt = doubts_of(with_demand(both, of_all, scenario), replace(scenario, demand=of_all))
    assert "over 4 weeks" in doubt[DEMAND_DOUBT].settled_by


def test_counting_orders_tells_less_where_few_are_asked_for():
    assert told_by_counting(0.2, 2.0) < told_by_counting(0.2, 106.0) < 1.0
    assert told_by_counting(0.2, 106.0) == pytest.approx((0.04 / (0.04 + 1 / 848)) ** 0.5)
    assert told_by_counting(0.0, 106.0) == 0.0
