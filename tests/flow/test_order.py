"""The order of one batch: what the contract promises, on cases that can be counted by hand."""

from dataclasses import replace

import pytest

from analysis.flow.contract import order_contract
from analysis.flow.frontier import frontier
from analysis.flow.order import order
from analysis.flow.plan import Step
from analysis.flow.why import Change, critical_wait, gaps, reasons
from analysis.flow.work import Batch, whole_route, work_of
from analysis.problems import BadInput
from tests.flow.checker import faults
from tests.flow.routings import frame

BOOK = [
    {"product": "book", "operation": "fold", "seconds": "60"},
    {"product": "book", "operation": "cover", "seconds": "30", "wait_seconds": "600"},
    {"product": "book", "operation": "case in", "seconds": "20", "after": "fold|cover"},
]


def row(operation, seconds, after="", **more):
    texts = {key: str(value) for key, value in more.items()}
    return {
        "product": "book",
        "operation": operation,
        "seconds": str(seconds),
        "after": after,
    } | texts


def planned(rows, units, workers=1, change=0.0, effort=2.0):
    plan = order(work_of(frame(rows), [Batch("book", units)], workers, change), effort)
    assert faults(rows, "book", units, workers, change, order_contract(plan)) == []
    return plan


def test_covering_first_lets_the_glue_dry_while_sections_are_folded():
    """10 pieces: as listed 600 fold + 300 cover + drying 600 + 200; covers first 1100, not idle."""
    plan = planned(BOOK, 10)
    assert plan.as_listed_seconds == 600 + 300 + 600 + 200 - 9 * 20
    assert (plan.makespan_seconds, plan.idle_seconds, plan.optimal) == (1100, 0, True)
    assert plan.steps[0].operation == "cover"


def test_the_reason_names_the_change_that_saves_most():
    work = work_of(frame(BOOK), [Batch("book", 10)])
    most = reasons(work, order(work, 1.0), 0.5)[0]
    assert (most.operation, most.before) == ("cover", "fold")
    assert most.saves_seconds > 300


def test_a_reason_is_one_only_for_a_plan_that_has_it_so():
    """A reason found in the quickest plan may not hold in one of fewer blocks, or in part alone."""
    change = Change("stamp", "round", 600.0, 0.0)
    plan = order(work_of(frame([row("round", 60), row("stamp", 60)]), [Batch("book", 4)]), 0.5)

    def kept(turns: str) -> str:
        steps = [
            Step({"r": "round", "s": "stamp"}[turn], "operation", "maker", 60.0 * place,
                 60.0 * place + 60, 2, "book", "", 0)
            for place, turn in enumerate(turns)
        ]  # fmt: skip
        return change.kept_in(replace(plan, steps=tuple(steps)))

    assert [kept(turns) for turns in ("ssrr", "srsr", "rssr", "rrss", "ss")] == [
        "wholly", "begun", "interleaved", "", "",
    ]  # fmt: skip


def test_a_change_without_which_glue_would_wait_too_long_is_no_reason_and_stops_no_other():
    rows = [row("fold", 60), row("cover", 30, wait_seconds=9000),
            row("glue", 60, "fold", max_wait_seconds=250), row("label", 60, "glue"),
            row("close", 60, "glue", wait_seconds=5000),
            row("case in", 20, "label|close|cover")]  # fmt: skip
    work = work_of(frame(rows), [Batch("book", 6)])
    found = reasons(work, order(work, 1.0), 0.5)
    assert [change.operation for change in found] == ["cover"]


def test_a_gap_says_what_is_waited_for():
    rows = [row("glue", 30, wait_seconds=1200), row("trim", 10, "glue")]
    work = work_of(frame(rows), [Batch("book", 2)])
    plan = order(work, 0.5)
    found = gaps(work, plan)
    assert critical_wait(found)[0] == "glue"
    assert found[0].waiting_for == "glue"
    assert found[0].end_seconds - found[0].start_seconds >= 1170


def test_makespan_ends_with_the_last_work_and_drying_after_it_is_ready_time():
    plan = planned([row("glue", 10, wait_seconds=500)], 2)
    assert (plan.makespan_seconds, plan.ready_seconds) == (20, 520)


def test_hundredths_of_a_second_are_kept():
    assert planned([row("punch", 0.33)], 3).makespan_seconds == 0.99


def test_a_press_warms_up_while_other_work_is_done():
    rows = [row("cut", 100), row("stamp", 10, "cut", setup_seconds=20, setup_wait_seconds=80)]
    assert planned(rows, 1).makespan_seconds == 20 + 100 + 10


def test_a_predecessor_may_carry_its_own_wait():
    rows = [row("glue", 10, wait_seconds=900), row("sew", 10, "glue:0"), row("trim", 5, "glue|sew")]
    plan = planned(rows, 1)
    assert plan.makespan_seconds == 915
    assert [s.start_seconds for s in plan.steps if s.operation == "sew"][0] < 900


def test_a_station_with_one_place_cannot_be_shared_by_two_people():
    rows = [row("punch", 60, station="punch")]
    assert planned(rows, 4, workers=2).makespan_seconds == 240
    assert planned([row("punch", 60)], 4, workers=2).makespan_seconds == 120


def test_a_press_takes_so_many_pieces_in_one_go():
    rows = [row("press", 60, pieces_at_once=4, station="press")]
    plan = planned(rows, 10)
    assert plan.makespan_seconds == 180
    assert sum(step.units for step in plan.steps) == 10


def test_what_waits_in_the_press_keeps_the_next_load_out():
    rows = [row("press", 10, pieces_at_once=2, station="press", wait_seconds=100,
                wait_holds_station="true")]  # fmt: skip
    assert planned(rows, 4).makespan_seconds == 10 + 100 + 10


def test_a_full_rack_keeps_further_pieces_from_being_coated():
    """Two lie from 10 and 20 on; the next may come when these are dry, at 110 and 120."""
    rows = [row("coat", 10, wait_seconds=100, rack="line", rack_places=2)]
    assert planned(rows, 4).makespan_seconds == 120


def test_glue_that_must_be_closed_in_time_is_closed_in_time():
    rows = [row("glue", 30, max_wait_seconds=20), row("close", 10, "glue"), row("cut", 40)]
    plan = planned(rows, 5)
    assert plan.makespan_seconds == 5 * 80
    assert not plan.as_listed_possible


def test_a_wait_that_nobody_can_keep_is_refused_with_its_row():
    rows = [row("glue", 30, max_wait_seconds=5), row("tack", 30, max_wait_seconds=5),
            row("close", 10, "glue|tack")]  # fmt: skip
    with pytest.raises(BadInput, match="max_wait_seconds"):
        planned(rows, 1)
    assert planned(rows, 1, workers=2).makespan_seconds == 40


def test_changes_of_task_cost_what_they_cost_and_make_few_blocks():
    rows = [row("fold", 10), row("sew", 10, "fold"), row("wrap", 10, "sew")]
    plan = planned(rows, 6, change=30)
    assert plan.changes == 2
    assert plan.makespan_seconds == 180 + 60


def test_only_those_with_the_skill_do_it():
    rows = [row("sew", 50, skill="maker"), row("wrap", 50)]
    plan = planned(rows, 4, workers=2)
    assert {s.worker for s in plan.steps if s.operation == "sew"} == {"maker"}
    assert plan.makespan_seconds == 200
    assert plan.workers == ("maker", "worker 2")


def test_fewer_blocks_cost_elapsed_time_and_the_frontier_shows_how_much():
    work = work_of(frame(BOOK), [Batch("book", 12)], 1, 5)
    points = frontier(work, order(work, 0.5), tries=40)
    blocks = [point.blocks for point in points]
    spans = [point.makespan_seconds for point in points]
    assert blocks == sorted(set(blocks))
    assert spans == sorted(set(spans), reverse=True)


def test_two_products_share_one_warming_of_the_press():
    rows = [row("stamp", 10, station="press", setup_seconds=60, setup_wait_seconds=300)]
    rows += [{**rows[0], "product": "card"}]
    work = work_of(frame(rows), [Batch("book", 5), Batch("card", 5)])
    plan = order(work, 0.5)
    assert sum(step.activity == "setup" for step in plan.steps) == 1
    assert plan.makespan_seconds == 360 + 100


def test_a_second_batch_fills_the_wait_of_the_first():
    rows = [row("glue", 60, wait_seconds=600), row("trim", 30, "glue")]
    one = planned(rows, 5)
    both = order(work_of(frame(rows), [Batch("book", 5), Batch("book", 5)]), 1.0)
    assert both.makespan_seconds < 2 * one.makespan_seconds - 200


def test_stopping_gives_the_best_order_so_far():
    calls = []
    work = work_of(frame(BOOK), [Batch("book", 25)], 2, 7)
    plan = order(work, 5.0, stop=lambda: calls.append(1) or len(calls) > 3)
    assert plan.stopped
    assert faults(BOOK, "book", 25, 2, 7, order_contract(plan)) == []


def test_progress_tells_best_and_bound_as_they_close_in():
    told = []
    order(work_of(frame(BOOK), [Batch("book", 10)]), 1.0, report=told.append)
    assert told
    assert all(p.bound_seconds <= p.best_seconds for p in told)
    assert told[-1].best_seconds <= told[0].best_seconds


def test_a_walk_between_stations_is_charged_with_the_change():
    rows = [row("cut", 10, station="saw"), row("glue", 10, "cut", station="table")]
    work = work_of(frame(rows), [Batch("book", 1)], walk_seconds={("saw", "table"): 25})
    assert order(work, 0.5).makespan_seconds == 45


@pytest.mark.parametrize(
    ("rows", "units", "workers", "fault"),
    [
        ([row("sew", 5, skill="binder")], 0, 1, "units"),
        ([row("sew", 5)], 3, 0, "workers"),
        ([row("sew", 5, skill="binder"), row("cut", 5, skill="cutter")], 1, 1, "routing:3: skill"),
        ([row("dip", 5, pieces_at_once=5, rack="line", rack_places=3)], 9, 1, "2: rack_places"),
        ([row("dip", 5, pieces_at_once=5, station="vat", wait_seconds=9, rack_places=3,
              wait_holds_station="true")], 9, 1, "2: rack_places"),
    ],
)  # fmt: skip
def test_work_that_cannot_be_planned_is_refused_with_row_and_column(rows, units, workers, fault):
    with pytest.raises(BadInput, match=fault):
        work_of(frame(rows), [Batch("book", units)], workers)


def test_an_unknown_product_or_variant_is_named_with_those_there_are():
    routing = frame([row("sew", 5, variant="linen")])
    with pytest.raises(BadInput, match="one of book"):
        work_of(routing, [Batch("box", 1)])
    with pytest.raises(BadInput, match="one of linen"):
        work_of(routing, [Batch("book", 1, "silk")])


def test_where_no_variant_is_named_the_first_whole_route_is_planned():
    common = [row("cut", 5), row("stamp", 5, "cover")]
    variants = [row("cover", 9, "cut", variant="linen"), row("cover", 7, "cut", variant="silk")]
    assert whole_route(frame(common + variants), "book") == "linen"
    assert (
        whole_route(frame([row("cut", 5), row("cover", 9, "cut", variant="linen")]), "book") == ""
    )


@pytest.mark.parametrize("places", ["", "4"])
def test_what_goes_into_a_press_in_no_time_lies_in_it_as_one_filling(places):
    """Found by the property of moved plans: two goes of one piece each at the same moment."""
    press = row("press", 0, wait_seconds=6, station="bench", pieces_at_once=2, rack_places=places,
                wait_holds_station="true")  # fmt: skip
    dry = row("dry", 0, "" if places else "press", rack="shelf", rack_places=3)
    plan = order(work_of(frame([press, dry]), [Batch("book", 3)], 2), 0.05)
    assert faults([press, dry], "book", 3, 2, 0.0, order_contract(plan)) == []


def test_a_setup_that_takes_no_time_parts_the_work_it_comes_between():
    """A warm-up switched on by the second person while the first goes on at the same bench."""
    rows = [row("cut", 9, station="bench"),
            row("glue", 2.5, "cut", station="bench", setup_wait_seconds=5)]  # fmt: skip
    plan = order(work_of(frame(rows), [Batch("book", 4)], 2, 2.5), 0.05)
    assert faults(rows, "book", 4, 2, 2.5, order_contract(plan)) == []
