"""What must hold of every order of work, whatever the routing: feasible, bounded, monotone."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.flow.contract import order_contract
from analysis.flow.order import order
from analysis.flow.work import Batch, work_of
from tests.examples import examples
from tests.flow.checker import faults
from tests.flow.routings import frame, routings

EFFORT = 0.1
few = settings(max_examples=examples(25), deadline=None, suppress_health_check=list(HealthCheck))
counts = {"units": st.integers(1, 4), "workers": st.integers(1, 3)}


def planned(rows, units, workers, change=0.0, effort=EFFORT):
    work = work_of(frame(rows), [Batch("book", units)], workers, change)
    return order(work, effort)


@few
@given(rows=routings(), change=st.sampled_from([0.0, 0.0, 2.5]), **counts)
def test_every_order_can_be_carried_out_at_the_bench(rows, units, workers, change):
    plan = planned(rows, units, workers, change)
    assert faults(rows, "book", units, workers, change, order_contract(plan)) == []
    if plan.as_listed_possible:
        assert plan.makespan_seconds <= plan.as_listed_seconds


@settings(few, max_examples=examples(10))
@given(rows=routings(), units=st.integers(12, 40), workers=st.integers(1, 2))
def test_a_whole_batch_can_be_carried_out_at_the_bench(rows, units, workers):
    """Batches that are searched in coarse parts first."""
    plan = planned(rows, units, workers)
    assert faults(rows, "book", units, workers, 0.0, order_contract(plan)) == []


@few
@given(rows=routings(), **counts)
def test_one_more_person_never_makes_the_shortest_order_longer(rows, units, workers):
    fewer, more = planned(rows, units, workers), planned(rows, units, workers + 1)
    if fewer.optimal:
        assert more.lower_bound_seconds <= fewer.makespan_seconds
    if fewer.optimal and more.optimal:
        assert more.makespan_seconds <= fewer.makespan_seconds


@few
@given(rows=routings(), **counts, data=st.data())
def test_a_wait_taken_away_never_makes_the_shortest_order_longer(rows, units, workers, data):
    place = data.draw(st.integers(0, len(rows) - 1))
    quicker = [{**r, "wait_seconds": "0"} if i == place else r for i, r in enumerate(rows)]
    before, after = planned(rows, units, workers), planned(quicker, units, workers)
    if before.optimal:
        assert after.lower_bound_seconds <= before.makespan_seconds
    if before.optimal and after.optimal:
        assert after.makespan_seconds <= before.makespan_seconds


@few
@given(rows=routings(), **counts)
def test_the_same_work_gives_the_same_order_again(rows, units, workers):
    assert planned(rows, units, workers) == planned(rows, units, workers)


@pytest.mark.parametrize("workers", [1, 2])
def test_most_small_batches_are_proven(workers):
    rows = [
        {"product": "book", "operation": "cut", "seconds": "10"},
        {"product": "book", "operation": "glue", "seconds": "20", "wait_seconds": "90",
         "after": "cut"},
        {"product": "book", "operation": "fold", "seconds": "15"},
        {"product": "book", "operation": "sew", "seconds": "30", "after": "glue|fold"},
    ]  # fmt: skip
    assert planned(rows, 3, workers, effort=2.0).optimal
