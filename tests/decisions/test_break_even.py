"""The demand from which a change pays, against values whose crossing is known."""

import pytest

from analysis.decisions.break_even import CLOSE, break_even


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


def test_a_crossing_takes_few_simulations():
    asked = []

    def value(share):
        asked.append(share)
        return share - 1.234

    break_even(value)
    assert len(asked) <= 8
