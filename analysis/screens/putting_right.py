"""Putting right: what faults cost, which of them, and what would make fewer of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from analysis.screens import answers, glossary, parts
from analysis.screens.answers import Desk, Table
from analysis.screens.putting_right_care import care, pace, trial
from analysis.screens.putting_right_pieces import start, week_by_week, who_and_what
from analysis.screens.putting_right_try import try_it
from analysis.screens.source import fault_figures

if TYPE_CHECKING:
    import altair as alt

TRADE = (
    "cost of poor quality", "internal failure", "appraisal", "rework", "scrap",
    "first-pass yield", "Pareto chart",
)  # fmt: skip
VIEWS = {
    "causes": "by cause",
    "caused": "where they were made",
    "found": "where they were found",
}
PARTS = {
    "Pace": pace,
    "Care that pays later": care,
    "Try it": try_it,
    "Two ways tried": trial,
    "Week by week": week_by_week,
    "How many to start": start,
    "Who and what": who_and_what,
}


@dataclass(frozen=True)
class Page:
    """All that is read out of the study before the parts below, ready to be shown."""

    sentence: str
    points: tuple[str, ...]
    missing: str
    kinds: Table
    surer: tuple[str, ...]
    some: bool  # some fault was logged that cost something


def show() -> None:
    """The answer in money, the Pareto chart, its table, and the parts that say what to do."""
    desk = answers.opened("Putting right", "what putting right costs")
    if desk is None:
        return
    page = desk.kept("faults", (), lambda: _page(desk))
    answers.answer(page.sentence, page.points)
    if page.missing:
        st.info(f"{page.missing} Next step: write it down on *Shop*.")
        parts.screen_link("shop", "Fill it in on Shop")
    glossary.beside(*TRADE)
    if page.some:
        _dearest(desk)
    with st.expander("Putting right and checking, by kind"):
        answers.table(page.kinds, "cost_of_quality", "What faults and checking cost, by kind")
    answers.surer(page.surer)
    parts.draw_open_tab(PARTS, "putting_right_part", desk)
    st.warning(CAUTION, icon=":material/back_hand:")
    answers.worked_out(WORKED_OUT, PLAINLY)


def _page(desk: Desk) -> Page:
    from analysis.screens import putting_right_told as told  # pandas is slow, and pages are kept

    cost, money = fault_figures(desk.here).cost, desk.figures.currency
    some = told.costs_something(cost)
    none = told.only_flagged(cost) if len(cost.causes) else told.faultless(desk.figures)
    return Page(
        sentence=told.lead(cost, money) if some else none,
        points=tuple(told.points(cost, money)) if some else (told.next_step(cost),),
        missing=told.missing(cost) if some else "",
        kinds=told.kinds_table(cost, money),
        surer=tuple(told.surer(cost)),
        some=some,
    )


def _dearest(desk: Desk) -> None:
    """The Pareto chart and its table, in one of three views."""
    view = parts.one_of("Faults", VIEWS, "causes", key="faults_view")
    answers.picture(desk, "pareto", (view,), lambda: _drawn(desk, view))
    st.caption(
        "Bars: what faults cost a week. Line across the end of a bar: 19 times out of 20 it lies "
        "in there. Broken line with diamonds: the bars added up from the top, as a share of all."
    )
    table = desk.kept("pareto table", (view,), lambda: _table(desk, view))
    answers.table(table, f"faults_{view}", f"What faults cost a week, {VIEWS[view]}")


def _drawn(desk: Desk, view: str) -> alt.Chart:
    from analysis.charts.putting_right import pareto_chart  # altair is slow to import
    from analysis.screens import putting_right_told as told

    cost = fault_figures(desk.here).cost
    return pareto_chart(
        told.drawn(cost, getattr(cost, view)), told.unit(cost, desk.figures.currency)
    )


def _table(desk: Desk, view: str) -> Table:
    from analysis.screens import putting_right_told as told

    return told.faults_table(fault_figures(desk.here).cost, desk.figures.currency, view)


CAUTION = (
    "**Fewer faults, not more pressure.** This is about work and tools, not about people. Haste at "
    "a blade, a needle or a press hurts; pain or numb fingers: stop and see a doctor. If you "
    "employ somebody, the rules of your place come first; ask those licensed to advise."
)

PLAINLY = """
What was spent on faulty pieces is added up: the time of mending, and for each piece lost the work
it had been through and its material. It is divided by the weeks that were worked. A fault stands
under its cause, and can be shown where it was found or where it was made, as far as the laps say
so. How far a week's cost may lie from the one you would see in the long run is told by the
batches: some have many faults, some none.
"""

WORKED_OUT = """
- **Kinds** are those of the prevention-appraisal-failure model (BS 6143-2; ASQ): *internal
  failure* is putting right and losing before the sale, *appraisal* is checking. Laps have no
  activity for *prevention*, and what customers find is in no lap: both are left open, not 0.
- **Mending** = the rework laps, at the pay of those who did them. Pieces flagged beyond those that
  rework laps cover count with the mean timed seconds of that operation, and are told apart; so
  do pieces put right within their own lap. A rework lap covers the pieces written on it.
- **Work in a lost piece** = mean observed seconds of the operations it had been through: those
  that must come before the one it was lost in by the routing (without one, all before it in the
  usual order). Setups are left out. **Material** counts whole, wherever the piece was lost.
  A part that is lost before it is joined to the others, such as a book's cover, counts alone here:
  the others may wait for the next batch. *What a piece costs* counts them as lost with it, which
  is the dearer of the two, and takes standard times of today, where these are the means of all
  weeks.
- **Charged to** the operation named as the cause, else to the one the fault was found in.
- **Ranges** hold 19 times out of 20: a bootstrap of whole batches, 1,000 draws, since pieces of one
  batch are alike; wider for few batches (expanded percentile interval). Laps without a batch go
  by day.
- **Pace** = log of seconds over the seconds that practice let expect. A spoiled piece changes its
  own time, so the pace of the pieces just before it counts; both are drawn. The curve is a
  logistic regression over all products and people at an operation, drawn towards none where data
  are few, with a check within batches and within persons.
- **Care that pays later**: logistic regression of faults found later on the time batches got, with
  a permutation test; all pairs looked at are allowed for (Holm). It is an association, not proof.
- **Weekly share**: p chart (NIST/SEMATECH e-Handbook 6.3.3.2) with Laney's correction where the
  weeks scatter more than independent pieces would. Nothing is allowed for the mix of products or
  operations in a week; choose one product to take the first away.
- **How many to start**: negative binomial with the product of (1 - scrap rate) over the route;
  *to be sure* also counts that the rates are only measured and that batches differ.
"""
