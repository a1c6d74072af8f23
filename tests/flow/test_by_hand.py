"""A plan moved by hand, its picture, its bound on the shop's hours, and what is scarce."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from analysis.flow.bounds import lower_bound
from analysis.flow.by_hand import moved, polished, runs, timed
from analysis.flow.calendar import on_the_calendar, work_card
from analysis.flow.contract import order_contract
from analysis.flow.frontier import frontier, undominated
from analysis.flow.listed import as_listed
from analysis.flow.make_next import EVERYBODY, open_hours_left, scarcest
from analysis.flow.order import order
from analysis.flow.plan import makespan
from analysis.flow.present import attended_range, present_of
from analysis.flow.search import improve
from analysis.flow.timeline import timeline
from analysis.flow.why import gaps
from analysis.flow.work import Batch, work_of
from analysis.records.shop import ordinary_week
from tests.examples import examples
from tests.flow.checker import faults
from tests.flow.routings import frame, routings
from tests.flow.test_order import BOOK, row

MONDAY = datetime(2026, 3, 23, 8, 0, tzinfo=ZoneInfo("Europe/Vienna"))
few = settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))


def book(units=10, workers=1, change=0.0):
    work = work_of(frame(BOOK), [Batch("book", units)], workers, change)
    return work, order(work, 0.3)


def test_a_block_moved_later_costs_the_wait_it_no_longer_covers():
    """Covers first: 1100 s (see test_order). Folding first, the glue must be waited for."""
    work, plan = book()
    listed = runs(plan)
    assert [run.operation for run in listed[:2]] == ["cover", "fold"]
    later = timed(work, moved(listed, 0, 1), plan)
    assert [run.operation for run in runs(later)[:2]] == ["fold", "cover"]
    # The first cover is dry at 600 + 30 + 600 and cased in at once, the others every 30 s.
    assert later.makespan_seconds == 600 + 10 * 30 + 600 + 20
    assert later.lower_bound_seconds == plan.lower_bound_seconds


def test_a_block_cannot_be_moved_before_what_it_must_follow():
    work, plan = book()
    listed = runs(plan)
    place = next(i for i, run in enumerate(listed) if run.operation == "case in")
    while place:
        changed = moved(listed, place, -1)
        if timed(work, changed, plan) is None:
            return
        listed, place = changed, place - 1
    raise AssertionError("casing in before there is anything to case in was allowed")


def test_presses_of_two_products_are_each_set_up_and_warmed_for_their_own():
    presses = (("book", 600, "large"), ("card", 60, "small"))
    rows = [
        row("press", 60, setup_seconds=120, setup_wait_seconds=warm, station=station)
        | {"product": product}
        for product, warm, station in presses
    ]
    work = work_of(frame(rows), [Batch("book", 4), Batch("card", 4)])
    plan = order(work, 1.0)
    again = timed(work, runs(plan), plan)
    assert again and again.makespan_seconds == plan.makespan_seconds
    drawn = timeline(work, plan)
    warming = drawn[(drawn["activity"] == "wait") & (drawn["units"] == 0)].set_index("product")
    lasts = warming["end_seconds"] - warming["start_seconds"]
    assert lasts.to_dict() == {"book": 600.0, "card": 60.0}
    start = datetime(2026, 11, 23, 8, tzinfo=ZoneInfo("Europe/Vienna"))
    ready = {line.time[-5:]: line.then for line in work_card(work, plan, start) if not line.pieces}
    assert ready == {"08:02": "ready Mon 08:12", "08:04": "ready Mon 08:05"}


def test_the_first_block_cannot_be_moved_earlier_nor_the_last_later():
    _, plan = book()
    listed = runs(plan)
    assert moved(listed, 0, -1) is None
    assert moved(listed, len(listed) - 1, 1) is None


@few
@given(rows=routings(), units=st.integers(1, 4), workers=st.integers(1, 2),
       change=st.sampled_from([0.0, 2.5]), data=st.data())  # fmt: skip
def test_what_was_moved_by_hand_can_be_carried_out(rows, units, workers, change, data):
    work = work_of(frame(rows), [Batch("book", units)], workers, change)
    plan = order(work, 0.05)
    listed = runs(plan)
    place = data.draw(st.integers(0, len(listed) - 1))
    changed = moved(listed, place, data.draw(st.sampled_from([-1, 1])))
    again = timed(work, changed, plan) if changed else None
    for one in [again, polished(work, plan)]:
        if one is not None:
            assert faults(rows, "book", units, workers, change, order_contract(one)) == []
            assert one.lower_bound_seconds <= one.makespan_seconds
    assert polished(work, plan).makespan_seconds <= plan.makespan_seconds


def hourly(rows):
    """The same rows with times a hundred times as long: they meet lunch and night."""
    keys = ("seconds", "setup_seconds", "setup_wait_seconds", "wait_seconds")
    return [
        row | {k: str(float(row.get(k) or 0) * 400) for k in keys}
        | {"after": row["after"].replace(":7.5", ":3000")}
        for row in rows
    ]  # fmt: skip


@few
@given(rows=routings(), units=st.integers(1, 5), workers=st.integers(1, 2),
       change=st.sampled_from([0.0, 60.0]), hour=st.sampled_from([8, 11, 15]))  # fmt: skip
def test_on_the_hours_no_order_beats_its_bound(rows, units, workers, change, hour):
    work = work_of(frame(hourly(rows)), [Batch("book", units)], workers, change)
    work = on_the_calendar(work, ordinary_week(), MONDAY.replace(hour=hour))
    bound = lower_bound(work)
    best = improve(work, 60, bound)
    assume(best is None or best.span > 0)  # work that takes no time at all has nothing to bound
    assert best is None or bound <= best.span
    blocks, possible = as_listed(work)
    assert not possible or bound <= makespan(blocks)


def test_a_bound_on_the_hours_knows_that_a_press_takes_the_night():
    """Cased in all day, pressed four hours: the trimming of the last piece is tomorrow's."""
    rows = [row("case", 3000, wait_seconds=4 * 3600), row("trim", 600, "case")]
    work = work_of(frame(rows), [Batch("book", 9)])
    work = on_the_calendar(work, ordinary_week(), MONDAY)
    assert lower_bound(work) >= (24 * 3600 + 600) * 100
    assert order(work, 0.5).gap < 0.05


def test_a_bound_counts_a_press_by_its_goes():
    """Two pieces go in together in 400 s, lie 3000 s, and are sewn in no time: 3400 s, not 3800."""
    press = row("press", 400, wait_seconds=3000, station="press", pieces_at_once=2,
                wait_holds_station="true")  # fmt: skip
    work = work_of(frame([press, row("sew", 0, "press")]), [Batch("book", 2)])
    assert lower_bound(work) == improve(work, 10, 0).span == 3400 * 100


def test_a_bound_leaves_out_the_wait_that_nobody_waits_for():
    """What lies in the press at the end needs nobody any more: the work ends with putting it in."""
    press = row("press", 30, wait_seconds=600, station="press", wait_holds_station="true",
                rack_places=4, setup_seconds=20)  # fmt: skip
    work = work_of(frame([press]), [Batch("book", 2)])
    assert lower_bound(work) == improve(work, 10, 0).span == 80 * 100


def test_a_gap_at_night_is_no_idle_time():
    rows = [row("glue", 600, wait_seconds=15 * 3600), row("trim", 600, "glue")]
    work = on_the_calendar(work_of(frame(rows), [Batch("book", 3)]), ordinary_week(), MONDAY)
    found = gaps(work, order(work, 0.3))
    assert found
    spans = [(a / 100, b / 100) for a, b in work.hours.spans]
    for gap in found:
        assert any(a <= gap.start_seconds and gap.end_seconds <= b for a, b in spans)


def test_runs_are_the_blocks_a_plan_counts():
    work, plan = book(10, 2, 5.0)
    assert len(runs(plan)) == plan.blocks
    assert sum(run.units for run in runs(plan)) == 30


def test_the_picture_holds_every_minute_of_work_and_the_drying():
    work, plan = book()
    drawn = timeline(work, plan)
    at_work = drawn[drawn.activity == "operation"]
    assert at_work.units.sum() == 30
    assert (at_work.end_seconds - at_work.start_seconds).sum() == pytest.approx(1100, rel=0.02)
    [wait] = drawn[drawn.activity == "wait"].itertuples()
    assert (wait.operation, wait.end_seconds) == ("cover", 300 + 600)


def test_fewer_blocks_are_offered_only_where_nothing_beats_them():
    work, plan = book(10, 1, 20.0)
    points = undominated([point.plan for point in frontier(work, plan)] + [plan])
    blocks = [point.blocks for point in points]
    assert blocks == sorted(set(blocks))
    spans = [point.makespan_seconds for point in points]
    assert spans == sorted(spans, reverse=True)


CELLS = pd.DataFrame(
    {
        "product": ["book"] * 3,
        "operation": ["sew", "sew", "trim"],
        "worker": ["maker", "helper", "maker"],
        "pieces_made": [30, 10, 5],
        "present_seconds": [100.0, 140.0, 20.0],
        "present_low": [90.0, 120.0, 18.0],
        "present_high": [110.0, 160.0, 22.0],
    }
)


def test_the_pace_is_that_of_those_who_are_there():
    key = ("book", "sew")
    assert present_of(CELLS, ["maker"])[key] == 100.0
    assert present_of(CELLS, ["helper"])[key] == 140.0
    assert present_of(CELLS, ["maker", "helper"])[key] == (30 * 100 + 10 * 140) / 40
    assert present_of(CELLS, ["somebody new"])[key] == 110.0
    assert present_of(CELLS, ["helper"])["book", "trim"] == 20.0


def test_the_doubt_of_a_batch_grows_with_its_pieces_and_adds_as_independent_errors():
    """10 s off in 50 sewn, 2 s off in 50 trimmed: sqrt(500² + 100²)."""
    off = attended_range(CELLS, {("book", "sew"): 50, ("book", "trim"): 50}, ["maker"])
    assert off == pytest.approx((500**2 + 100**2) ** 0.5)


CONTENT = pd.DataFrame(
    {
        "product": ["book"] * 3,
        "variant": ["linen"] * 3,
        "operation": ["fold", "sew", "press"],
        "station": ["", "", "press"],
        "total_seconds": [600.0, 1200.0, 300.0],
    }
)
SKILLS = frame([row("fold", 1), row("sew", 1, skill="maker"), row("press", 1)])


def test_what_is_scarce_is_what_demand_asks_most_of():
    demand = {("book", "linen"): 60.0}
    both = {"maker": 35.0, "helper": 35.0}
    alone = scarcest(CONTENT, SKILLS, demand, both, 35.0)
    assert (alone.name, alone.hours_asked) == ("maker", 20.0)  # sewing only: 20 of 35 hours
    little = scarcest(CONTENT, SKILLS, demand, {"maker": 35.0, "helper": 1.0}, 35.0)
    assert (little.name, little.hours_asked) == (EVERYBODY, 35.0)
    narrow = scarcest(CONTENT, SKILLS, demand, both, 5.0)
    assert (narrow.name, narrow.hours_asked) == ("press", 5.0)


def test_only_those_count_as_able_who_may_do_the_work_on_that_variant():
    rows = [row("sew", 1, skill="maker", variant="linen"), row("sew", 1, skill="helper")]
    content = CONTENT[CONTENT["operation"] == "sew"]
    found = scarcest(content, frame(rows), {("book", "linen"): 60.0}, dict.fromkeys(
        ("maker", "helper"), 35.0), 35.0)  # fmt: skip
    assert (found.name, found.hours_asked) == ("maker", 20.0)


def test_the_hours_left_are_those_still_open_this_week():
    week = ordinary_week()
    whole = sum(b - a for spans in week.values() for a, b in spans) / 3600
    assert open_hours_left(week, MONDAY.replace(hour=0)) == whole
    assert open_hours_left(week, datetime(2026, 3, 28, 9, tzinfo=MONDAY.tzinfo)) == 0.0
    begin, end = week["Fri"][-1]
    friday = datetime(2026, 3, 27, end // 3600 - 1, tzinfo=MONDAY.tzinfo)
    assert open_hours_left(week, friday) == 1.0
