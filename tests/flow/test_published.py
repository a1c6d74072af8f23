"""Published scheduling and line-balancing optima, through the model that plans a batch."""

import itertools
import json
from pathlib import Path

import pytest

from analysis.flow.balance import balance_for_cycle, balance_for_workers
from analysis.flow.contract import order_contract
from analysis.flow.order import order
from analysis.flow.work import Batch, line_of, work_of
from analysis.problems import BadInput
from tests.flow.checker import faults
from tests.flow.routings import frame

REFERENCE = Path(__file__).parents[1] / "reference"
JOB_SHOPS = json.loads((REFERENCE / "job_shop.json").read_text())
JOHNSON = json.loads((REFERENCE / "johnson.json").read_text())["cases"]
LINES = json.loads((REFERENCE / "line_balance.json").read_text())
LINES.pop("source")
EFFORT = 3.0  # enough to prove each; ft06 uses all of what it is given


def job_shop_rows(jobs):
    """Every job's operations as rows of one product, machines as stations, one piece."""
    return [
        {
            "product": "book", "operation": f"job {j} step {k}", "seconds": str(seconds),
            "after": f"job {j} step {k - 1}" if k else "", "station": f"machine {machine}",
        }
        for j, job in enumerate(jobs)
        for k, (machine, seconds) in enumerate(job)
    ]  # fmt: skip


@pytest.mark.parametrize("name", JOB_SHOPS)
def test_published_job_shops_are_solved_to_their_optimum(name):
    case = JOB_SHOPS[name]
    rows = job_shop_rows(case["operations_machine_time"])
    plan = order(work_of(frame(rows), [Batch("book", 1)], case["machines"]), EFFORT)
    assert plan.makespan_seconds == case["optimum"]
    assert plan.optimal
    assert faults(rows, "book", 1, case["machines"], 0, order_contract(plan)) == []


@pytest.mark.parametrize("case", JOHNSON, ids=lambda case: case["name"])
def test_johnsons_rule_examples_come_out_at_their_shortest(case):
    """Each job one operation on each machine; two (or three) machines, one person each."""
    jobs = [list(enumerate(times)) for times in case["times"].values()]
    rows = job_shop_rows(jobs)
    machines = len(jobs[0])
    plan = order(work_of(frame(rows), [Batch("book", 1)], machines), 8.0)
    assert plan.makespan_seconds == pytest.approx(case["brute_force_makespan"], abs=0.005)
    assert plan.optimal


@pytest.mark.parametrize(
    ("name", "cycle"), [(name, cycle) for name in LINES for cycle in LINES[name]["fewest_stations"]]
)
def test_published_lines_need_the_published_fewest_people(name, cycle):
    case = LINES[name]
    balance = balance_for_cycle(line_of(frame(line_rows(case)), Batch("book", 1), None), int(cycle))
    assert balance.workers == case["fewest_stations"][cycle]
    assert balance.optimal
    assert_line(case, balance)


def line_rows(case):
    return [
        {
            "product": "book", "operation": str(task), "seconds": str(seconds),
            "after": "|".join(str(a) for a, b in case["arcs"] if b == task),
        }
        for task, seconds in enumerate(case["times"], 1)
    ]  # fmt: skip


def assert_line(case, balance):
    """Every task once, never back along the line, nobody over the cycle."""
    place = {int(o): p for p, own in enumerate(balance.assignment) for o in own.operations}
    assert sorted(place) == list(range(1, len(case["times"]) + 1))
    assert all(place[a] <= place[b] for a, b in case["arcs"])
    for own in balance.assignment:
        assert own.seconds == sum(case["times"][int(o) - 1] for o in own.operations)
        assert own.seconds <= balance.cycle_seconds


@pytest.mark.parametrize("name", ["Mertens", "Bowman", "Jaeschke", "Jackson"])
@pytest.mark.parametrize("people", [2, 3, 4])
def test_the_shortest_cycle_is_that_of_trying_every_cut(name, people):
    """Against all assignments that keep the order, counted out by a plain recursion."""
    case = LINES[name]
    balance = balance_for_workers(line_of(frame(line_rows(case)), Batch("book", 1), people))
    assert balance.optimal
    assert balance.cycle_seconds == shortest_cycle(case, people)
    assert_line(case, balance)


def shortest_cycle(case, people):
    """Fewest people for each candidate cycle by dynamic programming over sets of tasks done."""
    times = case["times"]
    before = [{a - 1 for a, b in case["arcs"] if b == task} for task in range(1, len(times) + 1)]
    for cycle in range(max(times), sum(times) + 1):
        done = {frozenset()}
        for _ in range(people):
            done = {further for start in done for further in _filled(start, times, before, cycle)}
        if any(len(one) == len(times) for one in done):
            return cycle
    raise AssertionError


def _filled(start, times, before, cycle):
    """All sets of tasks that one more person can bring the line to."""
    seen, stack = {start}, [(start, 0)]
    while stack:
        done, used = stack.pop()
        for task, seconds in enumerate(times):
            if task not in done and before[task] <= done and used + seconds <= cycle:
                more = done | {task}
                if more not in seen:
                    seen.add(more)
                    stack.append((more, used + seconds))
    return seen


def test_a_resource_constrained_project_without_its_resources_takes_its_critical_path():
    """PSPLIB j301_1 (Kolisch & Sprecher 1996): with a person for every activity and no limits on
    resources only precedence counts; its own file states that length, MPM-Time 38."""
    rows = project_rows((REFERENCE / "j301_1.sm").read_text())
    plan = order(work_of(frame(rows), [Batch("book", 1)], 30), 4.0)
    assert plan.optimal
    assert plan.makespan_seconds == 38


def project_rows(text):
    lines = text.splitlines()
    begin = next(i for i, line in enumerate(lines) if line.startswith("jobnr.    #modes"))
    follow = {}
    for line in itertools.takewhile(lambda line: "*" not in line, lines[begin + 1 :]):
        number, _, _, *after = map(int, line.split())
        follow[number] = after
    begin = next(i for i, line in enumerate(lines) if line.startswith("jobnr. mode"))
    seconds = {
        int(line.split()[0]): int(line.split()[2])
        for line in itertools.takewhile(lambda line: "*" not in line, lines[begin + 2 :])
    }
    return [
        {
            "product": "book", "operation": f"job {job}", "seconds": str(seconds[job]),
            "after": "|".join(f"job {one}" for one, after in follow.items() if job in after),
        }
        for job in follow
    ]  # fmt: skip


def test_a_cycle_shorter_than_an_operation_is_refused_with_its_row():
    with pytest.raises(BadInput, match=r"routing:2: seconds: .*cycle"):
        balance_for_cycle(
            line_of(frame([{"product": "book", "operation": "sew", "seconds": "50"}]),
                    Batch("book", 1), None), 40)  # fmt: skip
