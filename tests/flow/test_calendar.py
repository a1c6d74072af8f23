"""Orders of work on the shop's hours: work inside them, waits through them, files to share."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from analysis.flow.calendar import batch_ends, ics, on_the_calendar, work_card
from analysis.flow.contract import order_contract
from analysis.flow.hours import Hours
from analysis.flow.order import order
from analysis.flow.plan import make_plan
from analysis.flow.search import attempt, simple_rules
from analysis.flow.work import Batch, work_of
from analysis.problems import BadInput
from analysis.records.shop import ordinary_week
from tests.examples import examples
from tests.flow.checker import faults
from tests.flow.routings import frame
from tests.flow.test_order import row

VIENNA = ZoneInfo("Europe/Vienna")
MONDAY = datetime(2026, 3, 23, 8, 0, tzinfo=VIENNA)


def on_hours(rows, units, start=MONDAY, workers=1, batches=None, effort=0.5):
    batches = batches or [Batch("book", units)]
    work = on_the_calendar(work_of(frame(rows), batches, workers), ordinary_week(), start)
    return work, order(work, effort)


def on_the_clock(plan, start):
    """(begin, end) of each thing to do, as the calendar file tells it."""
    events = [e for e in Calendar.from_ical(ics(plan, start, start)).walk() if e.name == "VEVENT"]
    return [tuple(e[end].dt.astimezone(VIENNA) for end in ("dtstart", "dtend")) for e in events]


def test_work_stops_for_lunch_and_night_and_drying_does_not():
    rows = [row("glue", 1800, wait_seconds=3 * 3600), row("trim", 1800, "glue")]
    work, plan = on_hours(rows, 10)
    for begin, end in on_the_clock(plan, MONDAY):
        opens = begin.hour + begin.minute / 60
        closes = end.hour + end.minute / 60
        assert opens >= 8 and closes <= 17 and not (opens < 12 < closes) and not 12 <= opens < 13
    assert faults(rows, "book", 10, 1, 0, order_contract(plan)) == []
    # Ten hours of hands in days of eight: glued on Monday, what dried overnight trimmed on Tuesday.
    assert plan.makespan_seconds == (24 + 2) * 3600
    assert plan.optimal


def test_a_piece_that_would_not_be_through_by_lunch_is_begun_after_it():
    _, plan = on_hours([row("sew", 3 * 3600)], 2)
    assert [f"{begin:%H:%M}" for begin, _ in on_the_clock(plan, MONDAY)] == ["08:00", "13:00"]


def test_planning_on_the_hours_beats_laying_a_plan_over_them():
    """Glue last thing on the day dries overnight for nothing; in a plan made without hours, the
    long work comes first and the drying falls into the morning."""
    rows = [row("fold", 3600), row("glue", 600, wait_seconds=7200), row("case", 600, "fold|glue")]
    _, plan = on_hours(rows, 6)
    assert plan.makespan_seconds <= 9 * 3600


def test_the_hour_that_daylight_saving_skips_is_not_worked():
    """29 March 2026, Vienna: 02:00 becomes 03:00; Monday's work still begins at 08:00."""
    friday = datetime(2026, 3, 27, 16, 0, tzinfo=VIENNA)
    _, plan = on_hours([row("sew", 3600)], 2, friday)
    _, (begin, _) = on_the_clock(plan, friday)
    assert f"{begin:%a %H:%M}" == "Mon 08:00"
    assert plan.makespan_seconds == (2 * 24 + 17 - 1) * 3600


def test_two_batches_in_flight_use_each_others_waits():
    rows = [row("glue", 600, wait_seconds=4 * 3600), row("trim", 600, "glue")]
    _, one = on_hours(rows, 6)
    _, both = on_hours(rows, 6, batches=[Batch("book", 6), Batch("book", 6)])
    ends = batch_ends(both, MONDAY)
    assert sorted(ends) == [0, 1]
    assert both.makespan_seconds < 2 * one.makespan_seconds
    assert max(ends.values()) == MONDAY + timedelta(seconds=both.makespan_seconds)


def test_the_ics_file_is_read_back_by_a_calendar_with_every_step():
    work, plan = on_hours([row("glue", 600, wait_seconds=3600), row("trim", 300, "glue")], 3)
    again = Calendar.from_ical(ics(plan, MONDAY, MONDAY, "Bindery"))
    events = [part for part in again.walk() if part.name == "VEVENT"]
    steps = [step for step in plan.steps if step.activity != "change"]
    for end, seconds in (("dtstart", "start_seconds"), ("dtend", "end_seconds")):
        told = [MONDAY + timedelta(seconds=getattr(step, seconds)) for step in steps]
        assert [event[end].dt for event in events] == told
    assert len({str(event["uid"]) for event in events}) == len(events)


def test_going_to_and_fro_is_one_entry_of_calendar_and_card_parted_by_the_night():
    rows = [row("trim", 2000), row("check", 2000, "trim")]
    work = on_the_calendar(work_of(frame(rows), [Batch("book", 12)]), ordinary_week(), MONDAY)
    met = attempt(work, simple_rules(work)["furthest along, one in a row"])
    plan = make_plan(work, list(met.blocks), 0, met.span)
    card = work_card(work, plan, MONDAY)
    assert {line.what for line in card} == {"trim and check, by turns, book"}
    assert sum(line.pieces for line in card) == 12
    assert len({line.day for line in card}) == 2, "the night parts it"
    events = [e for e in Calendar.from_ical(ics(plan, MONDAY, MONDAY)).walk() if e.name == "VEVENT"]
    assert len(events) == len(card) < 8
    worked = sum(step.end_seconds - step.start_seconds for step in plan.steps)
    assert sum((e["dtend"].dt - e["dtstart"].dt).total_seconds() for e in events) == worked


def test_the_card_says_when_what_dries_is_ready():
    work, plan = on_hours([row("glue", 600, wait_seconds=3600), row("trim", 300, "glue")], 3)
    card = work_card(work, plan, MONDAY)
    assert card[0].time == "08:00-08:30"
    assert card[0].then == "ready Mon 09:30"
    assert sum(line.pieces for line in card if line.what.startswith("trim")) == 3


def test_work_longer_than_the_shop_stays_open_is_refused_with_its_row():
    work = work_of(frame([row("bake", 5 * 3600)]), [Batch("book", 1)])
    with pytest.raises(BadInput, match=r"routing:2: seconds"):
        on_the_calendar(work, ordinary_week(), MONDAY)


@settings(max_examples=examples(100), deadline=None)
@given(
    lengths=st.lists(st.tuples(st.integers(1, 9), st.integers(1, 9)), min_size=1, max_size=4),
    start=st.integers(0, 40),
    ticks=st.integers(0, 12),
)
def test_hours_agree_with_counting_every_tick(lengths, start, ticks):
    spans, at = [], 0
    for closed, open_ in lengths:
        spans.append((at + closed, at + closed + open_))
        at += closed + open_
    hours = Hours(tuple(spans))
    inside = [t for begin, end in spans for t in range(begin, end)]
    fits = [t for t in range(start, at + 1)
            if any(begin <= t and t + ticks <= end for begin, end in spans)]  # fmt: skip
    assert hours.fit(start, ticks) == (fits[0] if fits else None)
    left = [t for t in inside if t >= start]
    if 0 < ticks <= len(left):
        assert hours.advance(start, ticks) == left[ticks - 1] + 1
