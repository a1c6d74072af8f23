"""Reading a routing: its defaults, its waits and variants, and every kind of fault in it."""

import io

import numpy as np
import pandas as pd
import pytest

from analysis.problems import BadInput
from analysis.records.routing import COLUMNS, precedence, read_routing, route, write_routing

ROUTE = """product,operation,variant,after,seconds,wait_seconds
journal,cut,,,30,
journal,marble,marbled,cut,100,14400
journal,glue,,cut|marble,60,900
journal,sew,,glue:0,120,
journal,trim,,glue:1200.5|sew,20,
"""


def fault_of(text):
    with pytest.raises(BadInput) as caught:
        read_routing(text.encode(), "routing.csv")
    assert caught.value.count == 1, str(caught.value)
    return caught.value.faults[0]


def test_columns_left_out_take_the_documented_defaults():
    routing = read_routing(b"product,operation,seconds\njournal,sew,60\n")
    assert tuple(routing.columns) == COLUMNS
    row = routing.iloc[0]
    assert (row.variant, row.after, row.station, row.skill, row["rack"]) == ("",) * 5
    assert (row.setup_seconds, row.wait_seconds, row.setup_wait_seconds) == (0, 0, 0)
    assert row.pieces_at_once == 1 and not row.wait_holds_station
    assert np.isnan(row.rack_places) and np.isnan(row.max_wait_seconds)


def test_precedence_carries_each_wait_and_leaves_out_what_a_variant_skips():
    routing = read_routing(ROUTE.encode())
    assert precedence(routing, "journal") == [
        ("cut", "glue", 0), ("glue", "sew", 0), ("glue", "trim", 1200.5), ("sew", "trim", 0),
    ]  # fmt: skip
    marbled = precedence(routing, "journal", "marbled")
    assert ("cut", "marble", 0) in marbled and ("marble", "glue", 14400) in marbled


def test_a_variants_own_row_takes_the_place_of_the_common_one():
    routing = read_routing((ROUTE + "journal,sew,left-open,glue,150,\n").encode())
    assert route(routing, "journal", "left-open").seconds.tolist() == [30, 60, 20, 150]
    assert route(routing, "journal", "linen").seconds.tolist() == [30, 60, 120, 20]


def test_an_operation_with_a_colon_in_its_name_is_not_taken_for_a_wait():
    text = "product,operation,after,seconds\np,press:2,,5\np,trim,press:2,5\np,wrap,press:2:30,5\n"
    assert precedence(read_routing(text.encode()), "p") == [
        ("press:2", "trim", 0), ("press:2", "wrap", 30)]  # fmt: skip


@pytest.mark.parametrize(
    "line, row, column, value",
    [
        ("journal,wrap,,sow,5,", 7, "after", "sow"),
        ("journal,sew,,,5,", 7, "operation", "sew"),
        ("journal,,,,5,", 7, "operation", ""),
        (",wrap,,,5,", 7, "product", ""),
        ("journal,wrap,,,,", 7, "seconds", ""),
        ("journal,wrap,,,-1,", 7, "seconds", "-1"),
        ("journal,wrap,,,1e400,", 7, "seconds", "1e400"),
        ("journal,wrap,,,1e300,", 7, "seconds", "1e300"),
        ("journal,wrap,,,5,1e12", 7, "wait_seconds", "1e12"),
        ("journal,wrap,,cut:99999999999,5,", 7, "after", "cut:99999999999"),
        ("journal,wrap,,,5,soon", 7, "wait_seconds", "soon"),
        ("journal,wrap,,wrap,5,", 7, "after", "wrap after wrap"),
    ],
)
def test_a_fault_is_named_by_row_column_and_value(line, row, column, value):
    fault = fault_of(ROUTE + line + "\n")
    assert (fault.row, fault.column, fault.value) == (row, column, value) and fault.remedy


def test_a_circle_is_told_as_the_operations_it_runs_through():
    fault = fault_of(ROUTE.replace("journal,cut,,,30", "journal,cut,,trim,30"))
    assert "circle" in fault.problem
    assert {"cut", "glue", "trim"} <= set(fault.value.split(" after "))


def test_a_circle_that_only_one_variant_goes_round_is_found():
    text = ROUTE.replace("journal,marble,marbled,cut", "journal,marble,marbled,trim")
    assert "marble" in fault_of(text).value


@pytest.mark.parametrize(
    "column, value",
    [("pieces_at_once", "0"), ("pieces_at_once", "1.5"), ("rack_places", "0"),
     ("wait_holds_station", "perhaps"), ("max_wait_seconds", "-5"), ("max_wait_seconds", "60")],
)  # fmt: skip
def test_the_optional_columns_have_rules_too(column, value):
    head = f"product,operation,seconds,wait_seconds,{column}\n"
    fault = fault_of(head + f"p,glue,5,900,{value}\n")
    assert (fault.row, fault.column, fault.value) == (2, column, value)


def test_a_misspelled_column_is_not_left_out_in_silence():
    fault = fault_of("product,operation,seconds,wait_second\np,glue,5,900\n")
    assert (fault.row, fault.column) == (1, "wait_second") and "wait_seconds" in fault.remedy


def test_a_semicolon_file_with_decimal_commas_is_read():
    routing = read_routing(b"product;operation;seconds;rack_places\np;glue;5,5;3\n")
    assert routing.seconds[0] == 5.5 and routing.rack_places[0] == 3


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_comma_that_may_part_thousands_is_a_fault_in_a_route(delimiter):
    header = f"product{delimiter}operation{delimiter}seconds{delimiter}pieces_at_once\n"
    for seconds, at_once, column in (("1,234", "1", "seconds"), ("5,5", "1,000", "pieces_at_once")):
        fault = fault_of(header + delimiter.join(["p", "glue", seconds, at_once]) + "\n")
        assert fault.column == column and fault.value in (seconds, at_once) and fault.remedy


def test_a_planned_time_left_blank_is_said_to_be_blank():
    assert fault_of(ROUTE + "journal,wrap,,,,\n").problem == "is blank"


def test_what_is_written_reads_back_the_same():
    text = "product,operation,after,seconds,station,max_wait_seconds,wait_holds_station,rack\n"
    text += 'p,"=cut, all",,0.1,"a ""press""",3600,yes,line\np,glue,"=cut, all:5",5,,,,\n'
    routing = read_routing(text.encode())
    written = io.BytesIO()
    write_routing(routing, written)
    assert b"\n" in written.getvalue() and b",=cut" not in written.getvalue()
    pd.testing.assert_frame_equal(read_routing(written.getvalue()), routing)
