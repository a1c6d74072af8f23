"""Order of work: what to do first so that nobody waits for glue, on the clock of the shop's hours.

The first answer is there at once; a thread looks for a better one (planning.py) while a line shows
how far it is. The tabs below share the choice of product, pieces and people above them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import streamlit as st

from analysis.flow.by_hand import Run, by_turns, moved, runs, timed
from analysis.flow.calendar import on_the_calendar
from analysis.flow.plan import Plan
from analysis.flow.work import Work, work_of
from analysis.problems import BadInput
from analysis.records import figures as writing
from analysis.screens import (
    answers,
    glossary,
    order_batch_size,
    order_choice,
    order_next,
    order_now,
    order_sharing,
    parts,
    planning,
    source,
    up_to_date,
    words,
)
from analysis.screens.order_choice import Choice
from analysis.screens.order_words import (
    batches_in_flight,
    by_the_clock,
    cannot,
    clock,
    hands,
    in_the_gaps,
    span,
    what_a_run_is,
    whether_proven,
)

if TYPE_CHECKING:
    import altair as alt

    from analysis.flow.why import Change

TRADE = ("makespan", "lower bound", "setup", "precedence", "station", "work in process")
LOOK_EVERY_SECONDS = 1.0


@dataclass(frozen=True)
class Seen:
    """What the page has planned: the choice, its work, and how far the planning is."""

    desk: answers.Desk
    choice: Choice
    work: Work
    name: str
    job: planning.Job

    @property
    def start(self) -> datetime:
        """When the session begins, by the shop's clock."""
        return self.choice.start

    def shown(self, plan: Plan) -> tuple:
        """What the words, times and files of a plan hang on: work that is alike from its beginning
        on has one plan, and days of its own."""
        return self.name, self.start, _key(plan)


def show() -> None:
    """The next task, the choice, the answer, and the tabs."""
    here = source.current()
    st.title("Order of work")
    parts.demo_line(here)
    desk = answers.desk(up_to_date.shown(here))
    shop, routing = desk.settings
    if routing is None or not len(routing):
        _no_route(desk)
        return
    now, above = datetime.now(UTC), st.empty()
    choice = order_choice.chosen(desk, now)
    try:
        work, name = desk.kept("order work", (choice,), lambda: _work(desk, choice))
        job = planning.jobs().of(work, name)
    except BadInput as bad:
        cannot(bad)
        return
    seen = Seen(desk, choice, work, name, job)
    draw = {
        "The batch": _batch,
        "Batch size": order_batch_size.sizes,
        "Two people": order_sharing.sharing,
        "What to make": order_next.next_makes,
    }
    parts.draw_open_tab(draw, "order_part", seen)
    with above:  # planned last, so that the answer need not wait for it
        order_now.line(desk, now)


def _no_route(desk: answers.Desk) -> None:
    if desk.here.store.lap_count():
        st.info(
            "One thing is missing: what must wait for what, and how long it dries; laps cannot "
            "tell that. Next step: on **Shop**, *Route* your operations stand already, as your "
            "laps had them. Look them over and press *Save route*."
        )
        parts.screen_link("shop", "Look over the route on Shop")
        return
    st.info(
        "The order of work needs a route: which operations a product has, which must come before "
        "which, and how long things dry. Next step: write it on **Shop**, *Route*; or look around "
        "in the demo (choose *Demo bindery* at the side)."
    )
    parts.screen_link("shop", "Write the route on Shop")


def _work(desk: answers.Desk, choice: Choice) -> tuple[Work, str]:
    """The work on the shop's hours, at the pace of those who are there, and its digest."""
    shop, routing = desk.settings
    work = work_of(
        routing, choice.batches, choice.people, choice.change_seconds,
        seconds=_pace(desk, choice), file="the route",
    )  # fmt: skip
    work = on_the_calendar(work, shop.week, choice.start)
    return work, planning.digest(work)


def _pace(desk: answers.Desk, choice: Choice) -> dict[tuple[str, str], float]:
    """Present seconds per piece by (product, operation), of those who are there."""
    people = choice.people
    return desk.kept("order pace", (people,), lambda: order_choice.pace(desk, people))


def _batch(seen: Seen) -> None:
    """The plan chosen, drawn; its blocks; by hand; why."""
    plan = _chosen_plan(seen)
    state = *seen.shown(plan), seen.job.over.is_set()
    sentence, points, reasons = seen.desk.kept("order told", state, lambda: (
        _sentence(seen, plan), _points(seen, plan), _reasons(seen, plan)))  # fmt: skip
    answers.answer(sentence, points)
    glossary.beside(*TRADE)
    _progress_line(seen)
    shown = _by_hand(seen, plan)
    answers.picture(seen.desk, "schedule", seen.shown(shown), lambda: _drawn(seen, shown))
    st.caption(_legend(seen))
    _choose_blocks(seen)
    _move(seen, plan, shown)
    table = seen.desk.kept("blocks", seen.shown(shown), lambda: _table(seen, shown))
    answers.table(table, "order_of_work", "Who does what from when to when")
    _take_home(seen, shown)
    answers.points(reasons, "**Why this order, and what to do in the gaps**")
    st.warning(CAUTION, icon=":material/back_hand:")
    answers.surer(_surer(seen))
    answers.worked_out(WORKED_OUT)


def _key(plan: Plan) -> tuple:
    return plan.blocks, round(plan.makespan_seconds), hash(plan.steps)


def _chosen_plan(seen: Seen) -> Plan:
    """The plan of the blocks picked below; the sensible one until somebody picks."""
    points = seen.job.choices
    picked = st.session_state.get(_picked_key(seen))
    found = next((point for point in points if point.blocks == picked), None)
    return (found or seen.job.sensible(points)).plan


def _picked_key(seen: Seen) -> str:
    return f"order_picked_{seen.name}"


def _sentence(seen: Seen, plan: Plan) -> str:
    """What to do first, how long it takes, when it is done, and what that gains."""
    firsts = list(dict.fromkeys(run.operation for run in runs(plan)))[:3]
    order = ", then ".join(words.plain(name) for name in firsts)
    whose = "your time" if len(plan.workers) == 1 else "work in all"
    done = by_the_clock(seen.start, plan.makespan_seconds)
    return (
        f"{order[:1].upper()}{order[1:]}: {order_choice.said(seen.choice.batches)} take about "
        f"{hands(seen, plan)} of {whose} and are done {done}{_gain(seen, plan)}."
    )


def _gain(seen: Seen, plan: Plan) -> str:
    """Against the order in which the route lists the operations, by one person alone."""
    if not plan.as_listed_possible:
        return ""
    # Between the minutes that both clocks show, which a reader would subtract.
    gained = 60 * (plan.as_listed_seconds // 60 - plan.makespan_seconds // 60)
    if gained < 60:
        return ", as they would be in the order of the route"
    alone = "" if len(plan.workers) == 1 else " by one person"
    listed = by_the_clock(seen.start, plan.as_listed_seconds, plan.makespan_seconds)
    return f"; in the order of the route{alone}, {listed} ({span(gained)} later)"


def _points(seen: Seen, plan: Plan) -> list[str]:
    lines = [whether_proven(seen, plan)]
    if plan.ready_seconds > plan.makespan_seconds + 60:
        ready = by_the_clock(seen.start, plan.ready_seconds)
        lines.append(f"The last pieces are dry, set or cooled {ready}.")
    if len(seen.choice.batches) > 1:
        lines += batches_in_flight(seen, plan)
    lines.append(
        f"**{words.count(len(by_turns(runs(plan))), 'block')} to remember** "
        f"({words.count(plan.changes, 'change')} of task at "
        f"{words.number(seen.choice.change_seconds)} s){_turns(plan)}."
    )
    lines.append(
        "Hands at work alone: rests, walks, the telephone and putting right come on top. What a "
        "piece costs counts them, so its minutes a piece are more."
    )
    return lines


def _progress_line(seen: Seen) -> None:
    """How far the search is; when it is over, whether it went through."""
    if not seen.job.over.is_set():
        _watch(seen)
    elif seen.job.stopped or seen.job.left:
        st.caption("The search was stopped; this is the best order met so far.")


@st.fragment(run_every=LOOK_EVERY_SECONDS)
def _watch(seen: Seen) -> None:
    writing.write_as(seen.desk.manner)  # a part that draws itself again has its own thread
    job = seen.job
    job.asked()
    if job.over.is_set():
        st.rerun()
    best, bound = (clock(seen.start, seconds) for seconds in (job.best_seconds, job.bound_seconds))
    with st.container(horizontal=True, vertical_alignment="center", key="order_progress"):
        st.caption(
            f"Still {job.stage or 'at it'} … best so far: done {best}; no order can be done "
            f"before {bound}.",
            width="stretch",
        )
        if st.button("Stop here", key="order_stop"):
            job.stop()


def _choose_blocks(seen: Seen) -> None:
    """Fewer changes of task against the time they cost."""
    points = seen.job.choices
    if len(points) < 2:
        return
    quickest = points[-1].makespan_seconds
    sensible = seen.job.sensible(points)
    key = f"order_blocks_{seen.name}"
    met = {point.blocks for point in points}
    if st.session_state.get(_picked_key(seen)) not in met:  # nobody picked, or it is gone meanwhile
        st.session_state[key] = sensible.blocks

    def said(blocks: int) -> str:
        point = next(one for one in points if one.blocks == blocks)
        later = point.makespan_seconds - quickest
        return f"{blocks} blocks, " + (f"{span(later)} longer" if later >= 30 else "the quickest")

    def picked() -> None:
        st.session_state[_picked_key(seen)] = st.session_state[key]

    st.radio(
        "Fewer blocks are easier to keep; what they cost in time",
        [point.blocks for point in points], format_func=said, key=key, horizontal=True,
        on_change=picked,
    )  # fmt: skip


# --- by hand --------------------------------------------------------------------------------------


def _moved_key(seen: Seen, plan: Plan) -> str:
    return f"order_moved_{seen.name}_{plan.blocks}"


def _by_hand(seen: Seen, plan: Plan) -> Plan:
    """The plan with the blocks moved that somebody moved."""
    listed = st.session_state.get(_moved_key(seen, plan))
    return (timed(seen.work, listed, plan) if listed else None) or plan


def _move(seen: Seen, plan: Plan, shown: Plan) -> None:
    """A block earlier or later, and what that costs."""
    with st.expander("Move a block earlier or later, and see what it costs"):
        listed = runs(shown)
        key = f"order_block_{seen.name}_{plan.blocks}"
        at = min(st.session_state.get(key) or 0, len(listed) - 1)
        st.session_state[key] = at
        st.selectbox(
            "Block", range(len(listed)), key=key,
            format_func=lambda place: what_a_run_is(seen, listed[place], place),
        )  # fmt: skip
        with st.container(horizontal=True):
            for label, by in (("Earlier", -1), ("Later", 1)):
                st.button(
                    label,
                    key=f"order_{label}",
                    icon=":material/arrow_upward:" if by < 0 else ":material/arrow_downward:",
                    on_click=_try_move,
                    args=(seen, plan, listed, at, by, key),
                )
            st.button("Back to the plan", key="order_back", on_click=_forget, args=(seen, plan))
        st.markdown(_cost_of_moves(seen, plan, shown))


def _try_move(seen: Seen, plan: Plan, listed: tuple[Run, ...], at: int, by: int, key: str) -> None:
    st.session_state.pop("order_refused", None)
    changed = moved(listed, at, by)
    block = words.plain(listed[at].operation)
    if changed is None:
        edge = "first" if by < 0 else "last"
        st.session_state["order_refused"] = f"*{block}* is the {edge} already."
        return
    again = timed(seen.work, changed, plan)
    if again is None:
        way = "earlier" if by < 0 else "later"
        st.session_state["order_refused"] = (
            f"*{block}* cannot come {way}: a piece would be taken up before what must come first "
            "is done on it, or wait longer than it may."
        )
        return
    st.session_state[_moved_key(seen, plan)] = changed
    st.session_state[key] = _place_of(listed[at], runs(again), at)


def _place_of(run: Run, listed: tuple[Run, ...], otherwise: int) -> int:
    """Where the moved block stands now: two of one operation that met have become one."""
    alike = [
        place for place, one in enumerate(listed)
        if (one.worker, one.operation) == (run.worker, run.operation) and one.units >= run.units
    ]  # fmt: skip
    return min(alike, key=lambda place: abs(place - otherwise), default=otherwise)


def _forget(seen: Seen, plan: Plan) -> None:
    st.session_state.pop(_moved_key(seen, plan), None)
    st.session_state.pop("order_refused", None)


def _cost_of_moves(seen: Seen, plan: Plan, shown: Plan) -> str:
    refused = st.session_state.pop("order_refused", "")
    if refused:
        return refused
    if shown is plan:
        return "Nothing moved: this is the plan."
    more = shown.makespan_seconds - plan.makespan_seconds
    done = by_the_clock(seen.start, shown.makespan_seconds)
    if abs(more) < 30:
        return f"**Costs nothing**: done {done}, as in the plan."
    way = "later than" if more > 0 else "sooner than"
    return f"**Done {done}, {span(abs(more))} {way} in the plan.**"


# --- what is drawn and taken home -----------------------------------------------------------------


def _drawn(seen: Seen, plan: Plan) -> alt.Chart:
    from analysis.charts.schedule import schedule_chart  # altair is slow to import
    from analysis.flow.timeline import timeline
    from analysis.flow.work import TICKS

    spans = [(a / TICKS, b / TICKS) for a, b in seen.work.hours.spans]
    return schedule_chart(timeline(seen.work, plan), seen.start, spans)


def _legend(seen: Seen) -> str:
    letters = ""
    if len(seen.choice.batches) > 1:
        letters = " " + "; ".join(
            f"{chr(ord('A') + place)}: {order_choice.said((batch,))}"
            for place, batch in enumerate(seen.choice.batches)
        ) + "."  # fmt: skip
    return (
        "One row an operation, from left to right on the clock. Upright grey strips: the shop is "
        "closed (lunch, night), drawn narrow; what dries or lies in a press goes on in them."
        + letters
    )


def _table(seen: Seen, plan: Plan) -> answers.Table:
    import pandas as pd

    from analysis.flow.timeline import wait_after

    rows = []
    place = 1
    for block in by_turns(runs(plan)):
        run, last = block[0], block[-1]
        begins, ends = clock(seen.start, run.start_seconds), clock(seen.start, last.end_seconds)
        wait = wait_after(seen.work, last.steps[-1])
        batch = next((step for step in run.steps if step.units), run.steps[-1])
        rows.append({
            "from": begins,
            "what": _what(block),
            "pieces": sum(one.units for one in block if one.operation == run.operation) or None,
            "to": ends,
            "who": run.worker,
            "of": order_choice.name((batch.product, batch.variant)),
            "at the bench (min)": sum(one.attended_seconds for one in block) / 60,
            "then": f"ready {clock(seen.start, last.end_seconds + wait)}" if wait else "",
            "block": f"{place} to {place + len(block) - 1}" if len(block) > 1 else f"{place}",
        })  # fmt: skip
        place += len(block)
    # One person or one batch stands above the table, and need not stand in each of its rows.
    alone = {"who": len(plan.workers) == 1, "of": len(seen.choice.batches) == 1}
    frame = pd.DataFrame(rows).astype({"pieces": float})
    frame = frame.drop(columns=[name for name, only_one in alone.items() if only_one])
    return answers.Table.of(frame, {"at the bench (min)": "%.0f", "pieces": "%.0f"})


def _what(block: tuple[Run, ...]) -> str:
    """A row's work: `sew`, `foil-stamp, setting up`, `trim and inspect, by turns`."""
    if len(block) > 1:
        return f"{block[0].operation} and {block[1].operation}, by turns"
    return block[0].operation if block[0].units else f"{block[0].operation}, setting up"


def _turns(plan: Plan) -> str:
    """Which blocks are two operations in turn."""
    told = [
        f"*{words.plain(block[0].operation)}* and *{words.plain(block[1].operation)}* by turns"
        for block in by_turns(runs(plan))
        if len(block) > 1
    ]
    return f"; {', '.join(dict.fromkeys(told))} count as one" if told else ""


def _take_home(seen: Seen, plan: Plan) -> None:
    """The plan for a calendar, and as a card to print for the bench."""
    shop = seen.desk.settings[0]
    title = f"{shop.name}: {', '.join(_plain_batches(seen))}"
    files = seen.desk.kept(
        "order files", seen.shown(plan), lambda: _files(seen, plan, shop.name, title)
    )
    with st.container(horizontal=True):
        st.download_button("For the calendar (.ics)", files[0], "order_of_work.ics",
                           "text/calendar", on_click="ignore", key="order_ics")  # fmt: skip
        st.download_button("Work card to print (HTML)", files[1], "work_card.html", "text/html",
                           on_click="ignore", key="order_card")  # fmt: skip


def _plain_batches(seen: Seen) -> list[str]:
    return [f"{b.units} {order_choice.name((b.product, b.variant))}" for b in seen.choice.batches]


def _files(seen: Seen, plan: Plan, shop: str, title: str) -> tuple[bytes, bytes]:
    from analysis.flow.calendar import ics, work_card
    from analysis.screens.work_card import card_page

    now = datetime.now(UTC)
    card = card_page(title, seen.start, work_card(seen.work, plan, seen.start))
    return ics(plan, seen.start, now, shop), card


# --- why ------------------------------------------------------------------------------------------


def _reasons(seen: Seen, plan: Plan) -> list[str]:
    from analysis.flow.why import critical_wait, gaps

    found = gaps(seen.work, plan)
    waited, seconds = critical_wait(found)
    lines = [*_in_parts(seen, plan), *_savings(plan, seen.job.changes)]
    if not lines:
        lines = ["The search for what each change saves is still under way."
                 if not seen.job.over.is_set() else
                 "No single change against the route's order saves much by itself."]  # fmt: skip
    if waited:
        lines.append(
            f"What is waited for longest: **{words.plain(waited)}** "
            f"({span(seconds)} of working hours with idle hands). Only a shorter wait, or other "
            "work beside it, ends this batch sooner."
        )
    return [*lines, *in_the_gaps(seen.start, found)]


def _in_parts(seen: Seen, plan: Plan) -> list[str]:
    """Where a press or the like is filled in parts, so that the rest is made while they lie."""
    lines = []
    for operation in seen.work.operations:
        own = [
            run.units for run in runs(plan)
            if run.operation == operation.name and run.steps[-1].batch == operation.batch
        ]  # fmt: skip
        if operation.holds and len(own) > 1:
            sizes = " and ".join(map(str, own))
            lines.append(
                f"**{words.plain(operation.name)}** in lots of {sizes}: the rest of the batch is "
                "made while the first lie in it, so that the wait costs no hands."
            )
    return lines


KEPT = {
    "wholly": "{operation} before {before}",
    "begun": "{operation} begun before {before}",
    "interleaved": "{operation} begun before the last of {before}",
}


def _savings(plan: Plan, changes: Sequence[Change]) -> list[str]:
    """What each change saves against keeping the listed order for that pair. They were found in the
    quickest plan: those that the plan shown has not are no reasons for it."""
    return [_saving(change, kept) for change in changes if (kept := change.kept_in(plan))]


def _saving(change: Change, kept: str) -> str:
    most, least = change.saves_seconds, change.saves_at_least_seconds
    saves = f"about {span(most)}"
    if 60 <= least < most - 60:
        saves = f"{span(least)} at least, {span(most)} at most"
    elif least < 60:
        saves = f"up to {span(most)}"
    how = KEPT[kept].format(
        operation=words.plain(change.operation), before=words.plain(change.before)
    )
    return f"**{how}** saves {saves}."


def _surer(seen: Seen) -> list[str]:
    timed_ones, batches = _pace(seen.desk, seen.choice), seen.work.batches
    planned = {
        one.name for one in seen.work.operations
        if (batches[one.batch].product, one.name) not in timed_ones
    }  # fmt: skip
    lines = []
    if planned:
        names = ", ".join(words.plain(name) for name in sorted(planned))
        lines.append(f"Time what is only planned so far: {names}.")
    lines.append(
        "Check on *Shop*, *Route* what really must wait for what, and how long things dry: every "
        "needless *after* and every minute of drying is in this plan."
    )
    lines.append(
        "Interruptions are not in the plan; what they usually take stands on *A batch's minutes*."
    )
    if len(seen.choice.people) > 1:
        lines.append(
            "Where two people do the same operation, both are planned at the mean of their present "
            "times, weighted by the pieces they have made: the slower one falls behind the clock."
        )
    return lines


CAUTION = (
    "**A plan is no whip.** It leaves hands no rest but its gaps: take the pauses you need, they "
    "cost less than a cut or a spoiled piece. Mind the blade, the needle and the press as on any "
    "day; never leave a hot press or a heated tool on unattended because the card says so; let "
    "solvents and coatings dry where the air moves, away from flame, as their labels say. Where "
    "you employ somebody, working-time and safety rules of your place come first; ask those "
    "licensed to advise on them."
)

WORKED_OUT = """
- **Times**: the present seconds per piece from the fitted curves, of those who are there; where no
  lap tells, the planned ones of the route. Setups, waits, stations, skills, racks and presses are
  those of the route. A setup is done once for the session.
- **Rules kept**: what must come *after* what, and each wait, hold for every single piece; a station
  takes one person at a time; a change of task costs the seconds given. Work stays within the
  shop's hours; waits run through lunch and night.
- **Goal**: least elapsed time (makespan), then fewest changes of task. A **block** is what one
  person does in a row on one operation. Of the orders no more than 5 % of the working time slower
  than the quickest, the one with fewest blocks is shown first (common practice, no source).
- **How it is found**: dispatching rules, changed some thousand times; within limits a constraint
  solver (OR-tools CP-SAT); then neighbouring blocks exchanged. Effort is counted in work done, not
  by a clock, so the same question has the same answer.
- **No order can be done before …** (lower bound): from the work of people and stations and the
  longest chain of steps and waits (heads and tails, Carlier 1982). Where it meets the plan, the
  plan is proven best; else the gap says how much could still be won at most.
- **What a change saves**: planned again with the listed order kept for that pair of operations
  alone. Up to: against the best plan then found, which a longer search might better. At least:
  against the bound of all such plans.
- **The range of the working time** holds 19 times out of 20 for the mean times, taken as
  independent; a bad day is not in it.
"""
