"""Order of work, two people: who does what, piece after piece (line balance)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from analysis.flow.calendar import on_the_calendar
from analysis.flow.work import Batch, work_of
from analysis.problems import BadInput
from analysis.screens import answers, glossary, order_choice, words
from analysis.screens.order_words import by_the_clock, cannot, span

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from analysis.screens.order_of_work import Seen

QUICK_EFFORT = 0.3
PROVEN = (
    "Proven: as long as the work is handed on in the order of the route and never back, no sharing "
    "out is more even."
)


@dataclass(frozen=True)
class Sharing:
    """The answer on sharing a product out between people, ready to be shown."""

    sentence: str
    points: tuple[str, ...]
    assignment: pd.DataFrame
    cycle_seconds: float
    table: answers.Table


def sharing(seen: Seen) -> None:
    """Who does what, piece after piece, so that nobody waits for the other."""
    people = _two(seen)
    batch = seen.choice.batches[0]
    choice = (batch, people, seen.choice.change_seconds, seen.start)
    try:
        page = seen.desk.kept("sharing", choice, lambda: _sharing(seen, batch, people))
    except BadInput as bad:
        cannot(bad)
        return
    answers.answer(page.sentence, page.points)
    glossary.beside("line balance", "takt time", "bottleneck")
    answers.picture(seen.desk, "sharing", choice, lambda: _sharing_drawn(page))
    st.caption(
        "Bars: each person's work on one piece, operation after operation, numbered as in the "
        "table. Dashed line: how often a piece comes off the line."
    )
    answers.table(page.table, "sharing", "Who does which operation")
    answers.surer([
        "Say on *Shop*, *Route* (skill) only what one of you truly cannot do: every operation "
        "that both can do makes the sharing more even.",
        "Both are taken to work at the same pace here; where one is slower, give that person the "
        "shorter share.",
    ])  # fmt: skip
    st.warning(HELPER_CAUTION, icon=":material/back_hand:")
    answers.worked_out(SHARING_WORKED_OUT)


def _two(seen: Seen) -> tuple[str, ...]:
    """Those who are there; with one of them, one more."""
    people = seen.choice.people
    if len(people) > 1:
        return people
    everybody = order_choice.people(*seen.desk.settings)
    return (*people, next(name for name in everybody if name not in people))


def _sharing(seen: Seen, batch: Batch, people: tuple[str, ...]) -> Sharing:
    import pandas as pd

    from analysis.flow.balance import balance_for_workers

    _, routing = seen.desk.settings
    present = order_choice.pace(seen.desk, people)
    line = work_of(routing, [Batch(batch.product, 1, batch.variant)], people, seconds=present,
                   file="the route")  # fmt: skip
    found = balance_for_workers(line)
    seconds = {o.name: o.duration / o.pieces_at_once / 100 for o in line.operations}
    rows = [(place.worker, name, seconds[name]) for place in found.assignment
            for name in place.operations]  # fmt: skip
    assignment = pd.DataFrame(rows, columns=["worker", "operation", "seconds"])
    shares = "; ".join(
        f"**{words.plain(place.worker)}**: {', '.join(map(words.plain, place.operations))} "
        f"({words.rough(place.seconds)} a piece)"
        for place in found.assignment if place.operations
    )  # fmt: skip
    sentence = (
        f"As a line, {_and(people)} finish one {words.variant(batch.product, batch.variant)} every "
        f"{words.rough(found.cycle_seconds)}; {words.share(found.balance_loss, 0)} of their time "
        "somebody waits for the other."
    )
    sure = PROVEN if found.optimal else f"At best a piece every {words.rough(found.lower_bound)}."
    points = (shares, sure, *_with_and_without(seen, batch, people))
    table = assignment.assign(number=assignment.groupby("worker").cumcount() + 1)
    table = table.rename(columns={"seconds": "seconds per piece"})
    table = table[["number", "operation", "worker", "seconds per piece"]]
    return Sharing(sentence, points, assignment[assignment["seconds"] > 0], found.cycle_seconds,
                   answers.Table.of(table, {"seconds per piece": "%.0f"}, lead=4))  # fmt: skip


def _and(people: tuple[str, ...]) -> str:
    *firsts, last = [words.plain(name) for name in people]
    return f"{', '.join(firsts)} and {last}"


def _with_and_without(seen: Seen, batch: Batch, people: tuple[str, ...]) -> list[str]:
    """When the batch is done alone, and when by all of them, each planned freely, at the pace of
    those who do it."""
    from analysis.flow.order import order

    shop, routing = seen.desk.settings
    done = []
    for who in (people[:1], people):
        try:
            work = work_of(
                routing, [batch], who, seen.choice.change_seconds,
                seconds=order_choice.pace(seen.desk, who), file="the route",
            )  # fmt: skip
        except BadInput:
            continue  # the first of them alone cannot do it all
        plan = order(on_the_calendar(work, shop.week, seen.start), QUICK_EFFORT)
        done.append(
            f"{order_choice.said((batch,))} by {_and(who) if len(who) > 1 else words.plain(who[0])}"
            f": done {by_the_clock(seen.start, plan.makespan_seconds)} at the earliest found, with "
            f"{span(plan.attended_seconds)} of work, changes of task among it."
        )
    if done:
        done.append("A batch need not run as a line: planned freely (choose both under *Who is "
                    "there*), each takes what is most pressing.")  # fmt: skip
    return done


def _sharing_drawn(page: Sharing) -> alt.Chart:
    from analysis.charts.line_balance import work_load_chart

    return work_load_chart(page.assignment, page.cycle_seconds)


HELPER_CAUTION = (
    "A share is a plan for hands of equal practice, not a measure of a person. Let people change "
    "places: the same short movement all day strains hands and back. Nobody works at a blade, "
    "needle or hot press they were not shown. Employing somebody brings duties of its own (working "
    "time, insurance, safety): ask those licensed to advise in your place."
)

SHARING_WORKED_OUT = """
- **Line balance**: every operation goes to one person; the work passes them in order and never
  back; the largest share, which sets the pace (cycle), is made as small as can be (OR-tools CP-SAT,
  proven or with its bound). Setups and waits are left aside; skills and places that hold one person
  are kept.
- **Waiting** (balance loss) = 1 − work on a piece / (people × cycle).
"""
