"""Moments, lengths and blocks of a plan as a maker says them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import streamlit as st

from analysis.flow.calendar import batch_ends
from analysis.flow.plan import Plan
from analysis.problems import BadInput
from analysis.screens import answers, order_choice, parts, words

if TYPE_CHECKING:
    from analysis.flow.by_hand import Run
    from analysis.flow.why import Gap
    from analysis.screens.order_of_work import Seen

MOST_GAPS = 4
WORTH_SECONDS = 300  # a gap to begin something in; common practice, no source


def by_the_clock(start: datetime, seconds: float, said_before: float | None = None) -> str:
    """`on Friday 27 November at 09:07`; `at 09:07` where that day was `said_before` (seconds)."""
    at = moment(start, seconds)
    if said_before is not None and moment(start, said_before).date() == at.date():
        return f"at {words.clock(at)}"
    return f"on {at:%A} {words.short_day(at)} at {words.clock(at)}"


def clock(start: datetime, seconds: float) -> str:
    """`Fri 09:07`."""
    at = moment(start, seconds)
    return f"{at:%a} {words.clock(at)}"


def moment(start: datetime, seconds: float) -> datetime:
    """So many elapsed seconds after the start, as the shop's clock shows it."""
    return (start.astimezone(UTC) + timedelta(seconds=seconds)).astimezone(start.tzinfo)


def span(seconds: float) -> str:
    """A length of time to the minute: `45 s`, `24 min`, `4 h 41 min`."""
    if seconds < 89.5:
        return f"{words.number(seconds)} s"
    minutes = round(seconds / 60)
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {rest:02d} min" if rest else f"{hours} h"


def hands(seen: Seen, plan: Plan) -> str:
    """The attended time with what the laps leave open: `7 h 10 min to 7 h 40 min`."""
    off = seen.desk.kept("order doubt", (seen.choice.batches, seen.choice.people),
                         lambda: _doubt(seen))  # fmt: skip
    if off < 60:
        return span(plan.attended_seconds)
    return f"{span(plan.attended_seconds - off)} to {span(plan.attended_seconds + off)}"


def _doubt(seen: Seen) -> float:
    """How far the attended seconds may be off, by the intervals of the present times."""
    if not seen.desk.here.store.lap_count():
        return 0.0
    from analysis.flow.present import attended_range

    pieces: dict[tuple[str, str], int] = {}
    for operation in seen.work.operations:
        key = seen.work.batches[operation.batch].product, operation.name
        pieces[key] = pieces.get(key, 0) + operation.units
    return attended_range(seen.desk.figures.learning.cells, pieces, seen.choice.people)


def whether_proven(seen: Seen, plan: Plan) -> str:
    """How good the quickest order is, and how far the one shown is from it."""
    quickest = seen.job.quickest
    left = quickest.makespan_seconds - quickest.lower_bound_seconds
    shown = plan.makespan_seconds - quickest.makespan_seconds
    for_ease = f" This one has fewer blocks and takes {span(shown)} longer." if shown >= 30 else ""
    if left < 1:
        return f"**Proven**: no order is quicker than {_done(seen, quickest)}.{for_ease}"
    quick, least = quickest.makespan_seconds, quickest.lower_bound_seconds
    bound = by_the_clock(seen.start, least, quick).removeprefix("at ")
    return (
        f"The quickest order found is done {_done(seen, quickest)}; no order can be done before "
        f"{bound}, so {span(left)} at most could still be won.{for_ease}"
    )


def _done(seen: Seen, plan: Plan) -> str:
    return by_the_clock(seen.start, plan.makespan_seconds)


def what_a_run_is(seen: Seen, run: Run, place: int) -> str:
    """A block in a list: `3. Thu 09:45 sew, 25 pieces (maker)`."""
    pieces = f", {words.count(run.units, 'piece')}" if run.units else ", setting up"
    who = f" ({run.worker})" if len(seen.choice.people) > 1 else ""
    batch = next((step for step in run.steps if step.units), run.steps[-1])
    of = ""
    if len(seen.choice.batches) > 1:
        of = f" of {order_choice.name((batch.product, batch.variant))}"
    at = clock(seen.start, run.start_seconds)
    return f"{place + 1}. {at} {run.operation}{pieces}{of}{who}"


def in_the_gaps(start: datetime, found: Sequence[Gap]) -> list[str]:
    """What to do in the first gaps that are worth it, and how many there are besides."""
    lengths = [gap.end_seconds - gap.start_seconds for gap in found]
    worth = [pair for pair in zip(found, lengths, strict=True) if pair[1] >= WORTH_SECONDS]
    short = [length for length in lengths if length < WORTH_SECONDS]
    lines = [
        f"{clock(start, gap.start_seconds)}, {words.plain(gap.worker)} free for {span(length)}: "
        f"{words.plain(gap.advice)}."
        for gap, length in worth[:MOST_GAPS]
    ]
    if len(worth) > MOST_GAPS:
        lines.append(f"{words.count(len(worth) - MOST_GAPS, 'later gap')} like these.")
    if short:
        lines.append(
            f"{words.count(len(short), 'gap')} of less than {span(WORTH_SECONDS)}, "
            f"{span(sum(short))} in all: stretch, drink, clear the bench."
        )
    return lines


def cannot(bad: BadInput) -> None:
    """Why what was chosen cannot be planned, and what to change."""
    st.error("**This cannot be planned as chosen.** Change the choice above, or the route on Shop.")
    answers.points(
        f"{words.plain(f.problem)}, found “{words.plain(f.value)}” (*{words.plain(f.column)}*"
        f"{f', row {f.row} of the route' if f.row else ''}): {words.plain(f.remedy)}."
        for f in bad.faults[: parts.FAULTS_READ_OUT]
    )
    parts.screen_link("shop", "The route on Shop")


def batches_in_flight(seen: Seen, plan: Plan) -> list[str]:
    """When each batch is done, and what sharing the session gives."""
    pieces = sum(batch.units for batch in seen.choice.batches)
    rate = pieces / plan.attended_seconds * 3600 if plan.attended_seconds else 0.0
    lines = [
        f"{chr(ord('A') + place)}, {order_choice.said((seen.choice.batches[place],))}: done "
        f"{end:%a} {words.clock(end)}."
        for place, end in batch_ends(plan, seen.start).items()
    ]
    return [
        *lines,
        f"With several batches in flight what counts is pieces per hour of work: "
        f"{words.figure(rate)} an hour here, setups shared where operation and place are the same.",
    ]
