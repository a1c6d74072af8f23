"""The batch of least money against the economic order quantity, sqrt(2 D S / H) (Harris 1913).

Worked example READ at tutorsglobe.com (question 51602244): 250 pieces a year, 20 a setup, 1 a year
to hold a piece -> 100 pieces, 2.5 batches a year, 50 on the shelf on average; 150 would be the
economic quantity of a setup of 45.
"""

import pytest

from analysis.flow.batch_size import SIZES, Costs, batch_sizes
from tests.flow.routings import frame

WAGE, MATERIAL, RATE, YEARLY = 20.0, 10.0, 0.1, 250.0  # 10 x 0.1 = 1 a year to hold a piece


def batches(setup_cost, sizes=SIZES):
    """Batch sizes of a piece made in next to no time, so that its cost is its material."""
    row = {
        "product": "book", "operation": "stamp", "seconds": "0.01",
        "setup_seconds": str(3600 * setup_cost / WAGE),
    }  # fmt: skip
    costs = Costs(WAGE, MATERIAL, 1.0, YEARLY / 52, rate_per_year=RATE)
    return batch_sizes(frame([row]), "book", costs=costs, sizes=sizes)


@pytest.mark.parametrize("setup_cost, economic", [(20, 100), (45, 150)])
def test_the_cheapest_batch_is_the_published_economic_quantity(setup_cost, economic):
    sizes = tuple(range(economic - 40, economic + 41, 5))
    assert batches(setup_cost, sizes).best_units == economic


def test_the_cost_of_a_year_is_the_published_one():
    """Setups 250 / 100 x 20 = 50, shelf 100 / 2 x 1 = 50: a year's 100 beyond the material.

    What else we count: the labour tied up on the shelf (its rate x half a batch's selling time:
    20 x 0.1 / 2) and what lies while the batch is made (1 of 40 hours a week), 1.1 in all.
    """
    table = batches(20).table.set_index("units")
    beyond = YEARLY * (table.money[100] - MATERIAL)
    assert beyond == pytest.approx(100, abs=1.6)
