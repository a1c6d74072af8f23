"""`order` and `balance`, as their user calls them: arguments in, output and exit status out."""

import csv
import json
from pathlib import Path

import pytest

from tests.command import run, run_process
from tests.flow.checker import faults

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "data_samples"
ROUTING = SAMPLES / "routing.csv"
DEMO = ("order", ROUTING, "--product", "pocket notebook", "--variant", "linen")
ORDER = {
    "makespan_seconds", "ready_seconds", "lower_bound_seconds", "optimal", "as_listed_seconds",
    "attended_seconds", "idle_seconds", "steps",
}  # fmt: skip
STEP = {"operation", "activity", "worker", "start_seconds", "end_seconds", "units"}
BALANCE = {
    "workers", "cycle_seconds", "lower_bound", "optimal", "balance_loss", "assignment",
}  # fmt: skip


def refuse(name):
    raise AssertionError(f"{name} is not JSON")


def answer(*arguments):
    return json.loads(run(*arguments, "--json").stdout, parse_constant=refuse)


def demo_rows():
    with ROUTING.open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("workers", [1, 2])
def test_order_of_a_demo_batch_is_the_contract_and_can_be_carried_out(workers):
    got = answer(*DEMO, "--units", 10, "--workers", workers, "--change-seconds", 20,
                 "--seconds-limit", 2)  # fmt: skip
    assert set(got) >= ORDER
    assert all(set(step) == STEP for step in got["steps"])
    assert faults(demo_rows(), "pocket notebook", 10, workers, 20, got, "linen") == []
    assert got["makespan_seconds"] <= got["as_listed_seconds"]


def test_order_names_the_variant_it_chose():
    done = run("order", ROUTING, "--product", "pocket notebook", "--units", 2, "--seconds-limit",
               0.5)  # fmt: skip
    assert "variant marbled" in done.stderr
    assert "The last work ends after" in done.stdout


def test_present_times_come_from_laps():
    small = (*DEMO, "--units", 2, "--seconds-limit", 0.5)
    planned, fitted = answer(*small), answer(*small, "--laps", SAMPLES / "laps.csv")
    assert planned["attended_seconds"] != fitted["attended_seconds"]


def test_the_same_command_prints_the_same_bytes():
    arguments = ("order", ROUTING, "--product", "desk journal", "--variant", "left-open", "--units",
                 3, "--workers", 2, "--seconds-limit", 1, "--json")  # fmt: skip
    assert run_process(*arguments).stdout == run(*arguments).stdout


def test_balance_by_people_and_by_cycle(tmp_path):
    by_people = answer("balance", ROUTING, "--product", "desk journal", "--workers", 2)
    assert set(by_people) >= BALANCE
    rows = "product,operation,seconds,after\nbook,a,30,\nbook,b,20,a\nbook,c,40,b\n"
    routing = tmp_path / "r.csv"
    routing.write_text(rows)
    by_cycle = answer("balance", routing, "--product", "book", "--cycle", 50)
    assert (by_cycle["workers"], by_cycle["cycle_seconds"], by_cycle["optimal"]) == (2, 50, True)
    assert by_cycle["lower_bound"] == 2
    assert [place["operations"] for place in by_cycle["assignment"]] == [["a", "b"], ["c"]]
    assert by_cycle["balance_loss"] == pytest.approx(1 - 90 / 100)
    shortest = answer("balance", routing, "--product", "book", "--workers", 2)
    assert (shortest["cycle_seconds"], shortest["lower_bound"]) == (50, 50)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--units", 0), ":0: units: "),
        (("--units", 3, "--workers", 0), ":0: workers: "),
        (("--units", 3, "--change-seconds", -1), ":0: change_seconds: "),
        (("--units", 3, "--seconds-limit", "nan"), ":0: seconds_limit: "),
        (("--units", 3, "--variant", "silk"), ":0: variant: "),
        (("--units", 3, "--laps", "none.csv"), "none.csv"),
    ],
)
def test_what_cannot_be_planned_ends_with_status_2_and_says_why(arguments, told):
    done = run("order", ROUTING, "--product", "pocket notebook", *arguments, status=2)
    assert told in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ("book,a,5,b,0\nbook,b,5,a,0\n", "after: goes round in a circle"),
        ("book,a,5,glue,0\n", "after: names no operation"),
        ("book,a,5,,-3\n", ":2: wait_seconds: "),
    ],
)
def test_a_faulty_routing_ends_with_status_2_naming_row_and_column(tmp_path, rows, told):
    routing = tmp_path / "r.csv"
    routing.write_text("product,operation,seconds,after,wait_seconds\n" + rows)
    for verb in (("order", "--units", 2), ("balance", "--workers", 1)):
        done = run(verb[0], routing, "--product", "book", *verb[1:], status=2)
        assert f"{routing}" in done.stderr
        assert told in done.stderr


def test_an_unknown_product_and_too_short_a_cycle_are_told():
    done = run("order", ROUTING, "--product", "box", "--units", 2, status=2)
    assert "one of pocket notebook, desk journal" in done.stderr
    done = run("balance", ROUTING, "--product", "pocket notebook", "--cycle", 60, status=2)
    assert ": seconds: is longer than the cycle" in done.stderr
