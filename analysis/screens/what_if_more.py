"""What if, beside the answer: scenarios compared, files to take home, the figures in full."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import streamlit as st

from analysis.decisions.bill import CALENDAR_NOTE
from analysis.problems import BadInput
from analysis.records.scenario_text import scenario_toml
from analysis.screens import answers, glossary, parts, what_if_told, words
from analysis.screens.what_if_drafts import from_file

if TYPE_CHECKING:
    import altair as alt

    from analysis.decisions.answer import Answer
    from analysis.screens.what_if import Seen
    from analysis.screens.what_if_drafts import Read
    from analysis.screens.what_if_jobs import Job

LOOK_EVERY_SECONDS = 0.7
PAPERS = {"a4": "A4", "letter": "Letter"}
RESTS_ON = "What the answer rests on: every figure, and how it is known"


def side_by_side(seen: Seen) -> None:
    """All scenarios of the list, with the same random numbers."""
    read = {key: seen.read(key) for key in seen.drafts.all}
    named = {key: seen.job(one) for key, one in read.items() if one.scenario}
    jobs = list(named.values())
    found = [job.answered[0] for job in jobs if job.answered]
    over = all(job.over.is_set() for job in jobs)
    if not over:
        _wait(jobs, _done(jobs))
    if found:
        mark = tuple(job.answered[1] for job in jobs if job.answered)
        told, table = seen.desk.kept("what if compared", (*mark, len(read)), lambda: (
            what_if_told.compared(found, len(read)), what_if_told.comparison(found)))  # fmt: skip
        st.markdown(f"**{told}**" if over else f"A first estimate, still being played: {told}")
        answers.table(table, "what_if_side_by_side", "The scenarios side by side")
    _left_out(seen, "Not yet filled in", [key for key, one in read.items() if not one.scenario])
    _left_out(seen, "Cannot be worked out", [key for key, job in named.items() if job.problem])
    st.caption(
        "Each row is reckoned against going on as before, with the same luck in every run, so "
        "that the rows differ by what is asked and not by chance. Worth a week: all that it costs "
        "and brings over the time looked ahead, as one even payment a week that is worth as much "
        "today, later weeks counting less; below it, what it was in nine of ten runs. It is the "
        "column to compare by, also where two rows look ahead differently far."
    )


def _left_out(seen: Seen, why: str, keys: list[str]) -> None:
    """Which scenarios of the list have no row, where there are any."""
    if keys:
        st.caption(f"{why}: {'; '.join(words.plain(seen.drafts.name(key)) for key in keys)}.")


def _done(jobs: list[Job]) -> tuple[int, ...]:
    return tuple(job.answer.runs if job.answer else 0 for job in jobs)


@st.fragment(run_every=LOOK_EVERY_SECONDS)
def _wait(jobs: list[Job], done: tuple[int, ...]) -> None:
    """How far all are; the page is drawn anew with each better answer."""
    for job in jobs:
        job.asked()
    if _done(jobs) != done or all(job.over.is_set() for job in jobs):
        st.rerun()
    over = sum(job.over.is_set() for job in jobs)
    st.caption(f"{over} of {words.count(len(jobs), 'scenario')} fully played through …")


# --- files ---


def files(seen: Seen, found: Read, job: Job | None) -> None:
    """The page to show, the scenario as a file, and one put in."""
    scenario = found.scenario
    answered = seen.answered(found, job) if job is not None else None
    if job is not None and answered is not None:
        _memo(seen, job, *answered)
    if scenario is not None:
        st.markdown(
            "**This scenario as a file**: to hand on, to put into another store, or for "
            "`python -m analysis whatif`. Your own list stays here, also over a restart."
        )
        st.download_button(
            "Scenario (TOML)", _not_set(found) + scenario_toml(scenario),
            f"{file_name(scenario.name)}.toml",
            "application/toml", on_click="ignore", key="what_if_toml",
        )  # fmt: skip
    _upload(seen)


def _not_set(found: Read) -> str:
    """A first line of the file that names the figures nobody has set; empty where there is none."""
    if not found.proposed:
        return ""
    keys = ", ".join(".".join(str(key) for key in path if key != 0) for path in found.proposed)
    return f"# proposed by the program, not yet set: {keys}\n"


def _memo(seen: Seen, job: Job, answer: Answer, mark: tuple) -> None:
    """The answer on one or two pages, for a partner, a landlord or a lender."""
    shop = seen.desk.settings[0]
    st.markdown(
        "**The answer as a page to show** a partner, a landlord or a lender: question, answer "
        "with its ranges, two charts, the money, what it rests on, cautions. It tells at which "
        "rent or price it stops paying: think of that before whoever lets or sells sees it."
    )
    paper = parts.one_of("Paper", PAPERS, "a4", key="what_if_paper")
    day = datetime.now(ZoneInfo(shop.timezone)).date()
    html, pdf = seen.desk.kept(
        "what if memo", (mark, paper, day),
        lambda: _pages(answer, shop.name, day, paper),
    )  # fmt: skip
    name = file_name(answer.name)
    with st.container(horizontal=True):
        st.download_button("Page to print (PDF)", pdf, f"{name}.pdf", "application/pdf",
                           on_click="ignore", key="what_if_pdf")  # fmt: skip
        st.download_button("Page for a browser (HTML)", html, f"{name}.html", "text/html",
                           on_click="ignore", key="what_if_html")  # fmt: skip
    if not job.over.is_set():
        st.caption(f"It rests on {words.count(answer.runs, 'run')}; the rest is still being made.")


def _pages(answer: Answer, shop: str, day: date, paper: str) -> tuple[bytes, bytes]:
    from analysis.memo.html import memo_html  # both draw charts and load what prints them
    from analysis.memo.pdf import memo_pdf

    return memo_html(answer, shop, day, paper).encode(), memo_pdf(answer, shop, day, paper)


def file_name(name: str) -> str:
    """A scenario's name as that of a file: `A helper, 8 hours` is `a_helper_8_hours`."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:60] or "scenario"


def _upload(seen: Seen) -> None:
    """A scenario's file becomes one more of the list; its faults are told by line."""
    turn = st.session_state.setdefault("what_if_file_turn", 0)
    file = st.file_uploader("Put in a scenario (TOML)", type=["toml"], key=f"what_if_file_{turn}")
    if file is None:
        return
    try:
        tables = from_file(file.name, file.getvalue())
    except BadInput as bad:
        parts.faults_box(bad, file.name, "what_if_file")
        return
    seen.drafts.add(tables)
    st.session_state["what_if_file_turn"] = turn + 1
    st.rerun()


# --- the figures in full ---


def bill(desk: answers.Desk, mark: tuple, answer: Answer) -> None:
    """The money of the change, part by part."""
    if not answer.bill:
        return
    st.markdown("**The money of this change**, part by part, against going on as before")
    table, notes = desk.kept(
        "what if bill", mark, lambda: (what_if_told.bill(answer), what_if_told.bill_notes(answer))
    )
    answers.table(table, "what_if_money", "What is paid and what comes in, and when")
    st.caption(notes)
    with st.expander("The same money by the calendar", key="what_if_calendar"):
        cash = desk.kept("what if cash", mark, lambda: what_if_told.cash(answer))
        answers.table(cash, "what_if_calendar", "Money in these weeks and so far")
        st.caption(CALENDAR_NOTE)


def main_picture(desk: answers.Desk, mark: tuple, answer: Answer) -> None:
    """The money week by week, until it has earned itself back."""
    st.markdown("**How the money adds up**, week by week, against going on as before")

    def drawn() -> alt.Chart:
        from analysis.charts.decision import payback_chart  # altair is slow to import

        return payback_chart(answer.path, answer.currency, answer.money.payback_weeks.p50)

    answers.picture(desk, "what if payback", mark, drawn)


def movers_picture(desk: answers.Desk, mark: tuple, answer: Answer) -> None:
    """How far each assumption moves the answer, as bars."""

    def drawn() -> alt.Chart:
        from analysis.charts.decision import movers_chart

        worth = answer.money.net_present_value.mean
        return movers_chart(answer.movers, worth, answer.currency)

    with st.container():  # also where it is empty: what stands below keeps its place
        if not answer.movers:
            return
        st.caption(
            "The same as bars: what is gained in all with one figure at either of its likely ends, "
            "and all others as they are. The widest bar is worth most care. A thick upright, where "
            "there is one: neither gain nor loss."
        )
        answers.picture(desk, "what if movers", mark, drawn)


def rests_on(desk: answers.Desk, mark: tuple, answer: Answer) -> None:
    """Every figure that the answer takes, and how it is known."""
    with st.expander(RESTS_ON, key="what_if_rests_on"):
        st.html(desk.kept("what if rests on", mark, lambda: answers.figures_page(
            what_if_told.assumption_table(answer.assumptions), RESTS_ON)))  # fmt: skip


def in_full(desk: answers.Desk, mark: tuple, answer: Answer) -> None:
    """The money's percentiles."""
    st.html(desk.kept("what if in full", mark, lambda: answers.figures_page(
        what_if_told.percentiles(answer), "The money in full")))  # fmt: skip
    glossary.beside("percentile", "tornado chart", "common random numbers", "discount rate")


WORKED_OUT = """
**In plain words.** Your shop is played through on the computer, piece by piece and week by week:
batches are begun when the shelf runs short of what is asked for, people take them up as the route
allows, glue dries, the press is full or free, some pieces are spoiled, somebody rings at the door.
The same weeks are then played through with the change in place and the same luck, so that what
differs comes from the change. This is done many times; each time, what is not known for certain
(your times, your faults, how fast somebody new learns, a range you gave) is drawn anew within what
your laps and your figures bear out. What is made beyond what is asked for earns nothing; an owner's
unpaid hours are no cash. "In 2 of 10 runs not at all" counts those runs.

**For those who check the figures**
- **Simulation**: discrete events; operation times log-normal about the fitted curves, practice and
  its loss over breaks, rework, scrap, setups, waits, interruptions, walks, stations and working
  hours as in your records. Sold = min(stock + made, demand); unmet demand is lost.
- **Before and after** share their random numbers (common random numbers), run by run.
- **Ranges**: 5th and 95th percentiles over the runs, as order statistics. A figure you give as a
  range has its ends there too. Money, hours and days are drawn evenly to both sides (normal, not
  below 0): 800 to 1,600 is 1,200 on average. Times, shares and demand are drawn as many times above
  as below (log-normal): 45 to 70 % is 56 % in the middle.
- **Money at today's worth** (net present value): sum of cash(week) / (1 + r)^week with the weekly
  rate (1 + rate a year)^(1/52) - 1. **Earns itself back** (payback): the week from which on what
  came in covers what was paid, not discounted, resale and deposit left out; a dash where it never
  does.
- **Do it, not yet, do not**: a gain in at least 8 of 10 runs and on average, in between, in at
  most 2 of 10 (common practice, no source).
- **What it may cost at most**: the price (rent, an hour, a machine), once fixed, up to which at
  least 8 of 10 runs gain and the average does; and the one at which the average is 0 (break-even),
  its range that of the runs. Each run's gain falls in proportion to that price, all else as
  reckoned, so nothing is played through again.
- **What moves the answer** (tornado): money in proportion; demand, and what the runs drew, by
  simulating again with the figure fixed at either end and everything else drawn as before, in up
  to 64 runs (picked by least squares on the draws, besides the ranges you gave). A figure given as
  one number is moved by a tenth to see what it does.
- **It pays from** (break-even): simulated with demand fixed at some levels up to four times the one
  reckoned with, then closer in where the mean turns to a gain; its range is where the mean plus and
  minus 1.645 standard errors turns. Where those of the money have both signs, it is said that so
  few runs cannot tell a gain from a loss.
- **What would settle it**: the assumption whose knowing is worth most before deciding (unit normal
  loss integral of its part of the net present value).
- Left out: taxes, subsidies, racks as a limit, and batches under way when the weeks begin.
"""
