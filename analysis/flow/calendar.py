"""The calendar: a session planned on the shop's working hours, with times on the clock.

Work is planned inside the hours, not laid over them afterwards: a wait may run over lunch and
night, work may not, and what would not end before closing time begins after it. Times on the
clock follow the shop's zone, daylight saving included.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

from analysis.flow.by_hand import things_to_do
from analysis.flow.hours import Hours
from analysis.flow.plan import Plan, Step
from analysis.flow.work import TICKS, Work
from analysis.problems import BadInput, Fault
from analysis.records.figures import clock, short_day
from analysis.records.shop import DAYS
from analysis.records.shop import Hours as DayHours

WEEKS_AHEAD = 26


@dataclass(frozen=True)
class DatedStep:
    """A step with its times on the clock (aware, in the shop's zone)."""

    start: datetime
    end: datetime
    worker: str
    activity: str
    operation: str
    product: str
    variant: str
    batch: int
    units: int


@dataclass(frozen=True)
class CardLine:
    """A line of the printable card for the bench; `then` says what to mind afterwards."""

    day: str
    time: str
    worker: str
    what: str
    pieces: int
    then: str


def on_the_calendar(
    work: Work, week: Mapping[str, DayHours], start: datetime, weeks: int = WEEKS_AHEAD
) -> Work:
    """The work with the shop's hours from `start` (aware) on; plan it with `order`.

    week: day name -> (start, end) pairs in seconds of the day, as in `Shop.week`. Raises BadInput
    where no day is open, or where one go of an operation is longer than the longest open span.
    """
    if start.tzinfo is None:
        raise ValueError("start must carry its time zone")
    spans = _spans(week, start, weeks)
    longest = max((end - begin for begin, end in spans), default=0)
    for row, name, duration in _goes(work):
        if duration > longest:
            raise BadInput([Fault(
                work.file, row, "seconds", f"{name} takes longer than the shop stays open",
                f"{duration / TICKS:g}", "longer hours, or shorter goes",
            )])  # fmt: skip
    return replace(work, hours=Hours(tuple(spans)))


def _goes(work: Work) -> Iterator[tuple[int, str, int]]:
    for operation in work.operations:
        yield operation.row, operation.name, operation.duration
    for number, setup in enumerate(work.setups):
        row = next(o.row for o in work.operations if o.setup == number)
        yield row, f"setting up {setup.name}", setup.duration


def _spans(week: Mapping[str, DayHours], start: datetime, weeks: int) -> list[tuple[int, int]]:
    """Open spans in ticks from `start`; each day's hours are wall times of the shop's zone."""
    first, spans = start.date(), []
    for offset in range(7 * weeks):
        day = first + timedelta(days=offset)
        for begin, end in week.get(DAYS[day.weekday()], ()):
            opens, closes = (
                round((_at(day, seconds, start.tzinfo) - start).total_seconds() * TICKS)
                for seconds in (begin, end)
            )
            if closes > 0:
                spans.append((max(opens, 0), closes))
    return spans


def _at(day: date, seconds: int, zone: tzinfo | None) -> datetime:
    """A wall time of a day, as elapsed time can be counted from it (UTC)."""
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
    return (midnight + timedelta(seconds=seconds)).astimezone(ZoneInfo("UTC"))


def _dated(step: Step, start: datetime) -> DatedStep:
    return DatedStep(
        _clock(start, step.start_seconds), _clock(start, step.end_seconds), step.worker,
        step.activity, step.operation, step.product, step.variant, step.batch, step.units,
    )  # fmt: skip


def _clock(start: datetime, seconds: float) -> datetime:
    """Elapsed seconds after `start`, as the shop's clock shows it."""
    moment = start.astimezone(ZoneInfo("UTC")) + timedelta(seconds=seconds)
    return moment.astimezone(start.tzinfo)


def batch_ends(plan: Plan, start: datetime) -> dict[int, datetime]:
    """When the last work on each batch ends."""
    ends: dict[int, float] = {}
    for step in plan.steps:
        if step.activity == "operation":
            ends[step.batch] = max(ends.get(step.batch, 0.0), step.end_seconds)
    return {batch: _clock(start, seconds) for batch, seconds in sorted(ends.items())}


def ics(plan: Plan, start: datetime, now: datetime, shop: str = "Workshop") -> bytes:
    """The plan as an iCalendar file (RFC 5545): one event a step, going to and fro between two
    operations as one, changes of task left out.

    now: the moment of writing (DTSTAMP). A step of the same plan keeps its UID, so that a calendar
    that takes the file twice shows it once.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//workshop time study//order of work//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", f"{shop}: order of work")
    for number, (told, _) in enumerate(things_to_do(plan)):
        step = _dated(told, start)
        event = Event()
        event.add("uid", f"{start:%Y%m%dT%H%M%S}-{number}@order-of-work")
        event.add("dtstamp", now.astimezone(ZoneInfo("UTC")))
        event.add("dtstart", step.start.astimezone(ZoneInfo("UTC")))
        event.add("dtend", step.end.astimezone(ZoneInfo("UTC")))
        event.add("summary", _what(step) + (f" ({step.units})" if step.units else ""))
        event.add("description", f"{step.worker}: {_batch_name(step)}".rstrip(": "))
        calendar.add_component(event)
    return calendar.to_ical()


def _what(step: DatedStep) -> str:
    return f"set up {step.operation}" if step.activity == "setup" else step.operation


def _batch_name(step: DatedStep) -> str:
    return f"{step.product} {step.variant}".strip()


def work_card(work: Work, plan: Plan, start: datetime) -> tuple[CardLine, ...]:
    """The printable card: one line a step, going to and fro as one, with what must wait after."""
    waits = {(o.batch, o.name): o.wait for o in work.operations}
    lines = []
    for told, last in things_to_do(plan):
        step = _dated(told, start)
        wait = (
            work.setups[last.setup].wait
            if last.activity == "setup"
            else waits.get((last.batch, last.operation), 0)
        )
        until = step.end + timedelta(seconds=wait / TICKS)
        lines.append(
            CardLine(
                f"{step.start:%a} {short_day(step.start)}",
                f"{clock(step.start)}-{clock(step.end)}", step.worker,
                f"{_what(step)}, {_batch_name(step)}".rstrip(", "), step.units,
                f"ready {until:%a} {clock(until)}" if wait else "",
            )
        )  # fmt: skip
    return tuple(lines)
