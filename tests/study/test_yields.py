"""Yields by product, variant, worker and week: who is charged, what the mix of work explains."""

import numpy as np
import pytest

from analysis.study.yields import NOT_KNOWN, worker_yields, yields
from tests.study.building import laps_frame


def test_a_hard_operation_is_not_held_against_the_variant_that_has_more_of_it():
    """Sewing fails one in ten, wrapping never; each variant as its mix of work says."""
    rows = [
        {"operation": "sew", "seconds": 60, "units": 100, "rework_units": 10, "variant": "thick"},
        {"operation": "sew", "seconds": 60, "units": 20, "rework_units": 2, "variant": "thin"},
        {"operation": "wrap", "seconds": 60, "units": 100, "variant": "thin"},
    ]
    table = yields(laps_frame(rows), ["product", "variant"], "UTC").set_index("variant")
    assert table["first_pass_yield"].to_dict() == pytest.approx({"thick": 0.9, "thin": 118 / 120})
    assert table["against_expected"].to_dict() == pytest.approx({"thick": 1.0, "thin": 1.0})
    assert (table["against_low"] < 1).all() and (table["against_high"] > 1).all()


def test_weeks_are_told_apart_by_the_shop_s_clock():
    rows = [
        {"seconds": 60, "units": 10, "rework_units": 1, "started_at": "2026-03-08T23:30:00Z"},
        {"seconds": 60, "units": 10, "rework_units": 3, "started_at": "2026-03-09T08:00:00Z"},
    ]
    by_utc = yields(laps_frame(rows), ["week_start"], "UTC")
    assert by_utc["faults"].tolist() == [1, 3]
    assert yields(laps_frame(rows), ["week_start"], "Europe/Berlin")["faults"].tolist() == [4]


GLUED_BY_TWO = [
    {"operation": "glue", "seconds": 60, "units": 15, "batch": "1", "worker": "ann"},
    {"operation": "glue", "seconds": 60, "units": 5, "batch": "1", "worker": "ben"},
    {"operation": "glue", "seconds": 60, "units": 20, "batch": "2", "worker": "ben"},
    {"operation": "trim", "seconds": 60, "units": 20, "batch": "1", "worker": "ann",
     "rework_units": 4, "cause_operation": "glue"},
    {"operation": "trim", "seconds": 60, "units": 20, "batch": "2", "worker": "ann",
     "rework_units": 1},
]  # fmt: skip


def test_a_fault_is_charged_to_those_who_made_it_not_to_who_found_it():
    """Ann trimmed; three of the batch's four gluing faults are hers by pieces, one is Ben's."""
    table = worker_yields(laps_frame(GLUED_BY_TWO), "UTC").set_index(["operation", "worker"])
    assert table["faults"].to_dict() == pytest.approx(
        {("glue", "ann"): 3, ("glue", "ben"): 1, ("trim", "ann"): 1}
    )
    assert table.loc[("glue", "ann"), "first_pass_yield"] == pytest.approx(0.8)
    assert table.loc[("glue", "ann"), "expected_faults"] == pytest.approx(15 * 4 / 40)


def test_a_fault_that_cannot_be_traced_is_charged_to_nobody():
    rows = [*GLUED_BY_TWO[:4], GLUED_BY_TWO[4] | {"cause_operation": "sew"}]
    table = worker_yields(laps_frame(rows), "UTC")
    row = table[table["worker"] == NOT_KNOWN].iloc[0]
    assert (row["operation"], row["faults"], row["units"]) == ("sew", 1, 0)
    assert np.isnan(row["first_pass_yield"])


def test_one_person_s_few_batches_are_taken_to_be_as_alike_as_everybody_s():
    rows = [
        {"operation": "glue", "seconds": 60, "units": 20, "batch": str(number), "worker": worker,
         "rework_units": faults}
        for number, (worker, faults) in enumerate(
            [("ann", 0), ("ann", 8), ("ann", 0), ("ann", 9), ("ann", 0), ("ann", 0), ("ben", 6)])
    ]  # fmt: skip
    table = worker_yields(laps_frame(rows), "UTC").set_index("worker")
    assert table.loc["ben", "likeness"] > 3


def test_no_fault_all_faults_and_one_lap_are_answered():
    none = yields(laps_frame([{"seconds": 60, "units": 10}]), ["product"], "UTC").iloc[0]
    assert none["first_pass_yield"] == 1 and np.isnan(none["against_expected"])
    assert none["first_pass_yield_low"] < 1
    rows = [{"seconds": 60, "units": 10, "scrap_units": 10}]
    every = yields(laps_frame(rows), ["product"], "UTC").iloc[0]
    assert every["first_pass_yield"] == 0 and every["against_expected"] == 1
    empty = laps_frame(rows)
    assert yields(empty[empty["units"] < 0], ["product"], "UTC").empty
    assert worker_yields(empty[empty["units"] < 0], "UTC").empty
