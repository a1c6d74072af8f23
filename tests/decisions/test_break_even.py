"""The demand from which a change pays, against values whose crossing is known."""

import numpy as np
import pytest

from analysis.decisions.break_even import CLOSE, break_even, rises_through


@pytest.mark.parametrize("crossing", [0.07, 0.5, 0.97, 1.02, 1.3, 2.7, 3.9])
def test_the_crossing_of_a_bent_line_is_found(crossing):
    def value(share):
        gain = min(share, crossing * 1.4) - crossing
        return gain if gain > 0 else 3 * gain

    assert break_even(value) == pytest.approx(crossing, abs=CLOSE * max(crossing, 1))


def test_what_pays_at_any_demand_pays_from_nothing_on():
    assert break_even(lambda share: 5.0) == 0


def test_what_pays_at_no_demand_has_no_break_even():
    assert break_even(lambda share: -5.0) is None


def test_what_changes_nothing_costs_nothing():
    assert break_even(lambda share: 0.0) == 0


def test_the_turn_among_known_values_is_found_before_any_other_is_asked_for():
    curve = {0.7: -2000.0, 0.88: 2200.0, 1.0: 20000.0, 1.14: 24000.0}
    asked = []

    def value(share):
        asked.append(share)
        return float(np.interp(share, list(curve), list(curve.values())))

    assert break_even(value, (0.7, 0.88, 1.14)) == pytest.approx(0.7 + 0.18 * 20 / 42, abs=CLOSE)
    assert all(0.7 <= share <= 1.14 for share in asked)


def test_a_curve_that_flattens_below_nought_has_no_break_even():
    """A straight line through its rise would cross; the curve itself never does."""
    assert break_even(lambda share: -400.0 - 9000.0 * max(1.1 - share, 0.0), (0.88, 1.14)) is None


def test_a_line_rises_through_nought_nearest_to_where_it_is_asked_for():
    points = [(0.5, -1.0), (0.7, 1.0), (0.9, -1.0), (1.1, 3.0)]
    assert rises_through(points, 1.0) == pytest.approx(0.95)
    assert rises_through(points, 0.5) == pytest.approx(0.6)
    assert rises_through([(0.5, 1.0), (1.0, -1.0)], 1.0) is None


def test_a_crossing_takes_few_simulations():
    asked = []

    def value(share):
        asked.append(share)
        return share - 1.234

    break_even(value)
    assert len(asked) <= 8
