"""A batch's minutes: which operation takes the time, what is lost, and the hours nobody worked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analysis.charts.batch import ACTIVITIES, batch_minutes_chart
from analysis.records.figures import DAYS_FROM_HOURS
from analysis.screens import answers, glossary, parts, true_times, words
from analysis.screens.answers import Table
from analysis.screens.putting_right_told import not_timed
from analysis.study.batch_time import BatchTime, MeanRange, batch_time
from analysis.study.begun import begun
from analysis.study.cost_of_quality import untimed_mending

if TYPE_CHECKING:
    import altair as alt

    from analysis.study.summary import Study

ALL = "all"
LAST = 6  # enough for a range, few enough to be of the present level of practice
LATEST = f"the last {LAST} finished"
MOST_LISTED = 100  # batches to choose from
WIDE = 5  # a range whose ends lie further apart than this many times tells no day
TRADE = ("operation", "inspection", "setup", "rework", "transport", "delay")
PER = {"good piece": "one good piece", "batch": "one batch"}
HEADERS = {
    "operation": "operation",
    "kind": "time spent",
    "minutes_per_piece": "per good piece (min)",
    "piece_low": "piece from",
    "piece_high": "piece to",
    "minutes_per_batch": "per batch (min)",
    "batch_low": "batch from",
    "batch_high": "batch to",
    "share": "share of bench time (%)",
    "laps": "laps",
}
FORMATS = {
    **dict.fromkeys(("per good piece (min)", "piece from", "piece to"), "%.2f"),
    **dict.fromkeys(("per batch (min)", "batch from", "batch to"), "%.0f"),
    "share of bench time (%)": "%.1f",
}
SPANS = {
    "per good piece (min)": ("piece from", "piece to"),
    "per batch (min)": ("batch from", "batch to"),
}


@dataclass(frozen=True)
class Page:
    """All that is read out for one choice, ready to be shown."""

    time: BatchTime
    sentence: str
    points: tuple[str, ...]
    has_ranges: bool
    table: Table
    surer: tuple[str, ...]


@dataclass(frozen=True)
class Choices:
    """What one product can be narrowed to."""

    variants: tuple[str, ...]
    batches: dict[str, tuple[str, ...]]  # by variant, blank for all; latest first


def show() -> None:
    """The answer for the batches chosen, the chart by operation, the table, and what is behind."""
    desk = answers.opened("A batch's minutes", "where a batch's time goes")
    if desk is None:
        return
    choice = _choice(desk)
    if choice is None:
        _no_batch(desk)
        return
    page = desk.kept("minutes", choice, lambda: _page(desk.figures, *choice))
    if page is None:
        st.info("No laps match this choice. Next step: choose *all* for the worker or the batch.")
        return
    answers.answer(page.sentence, page.points)
    glossary.beside(*TRADE)
    _picture(desk, page, choice)
    answers.table(page.table, "batch_minutes")
    true_times.show(desk, choice[0])
    answers.surer(page.surer)
    answers.worked_out(WORKED_OUT, PLAINLY)


def _no_batch(desk: answers.Desk) -> None:
    """How to name batches, and what is known without: the time of each operation."""
    st.info(
        "No lap names a batch yet, so a batch's time cannot be added up. Next step: choose a batch "
        "on the bench page before you time, fill in the column *batch* of your file, or tick laps "
        "on **Laps** and give them one. The time of each operation is known without it: see below."
    )
    parts.screen_link("laps", "Give laps a batch, on Laps")
    products = sorted(set(desk.figures.operations["product"].astype(str)))
    if products:
        true_times.show(desk, st.selectbox("Product", products, key="minutes_product"))


def _page(figures: Study, product: str, variant: str, worker: str, batch: str) -> Page | None:
    """Everything for one choice; None where no lap matches it."""
    last = LAST if batch == LATEST else None
    one = "" if batch == LATEST else batch
    time = batch_time(
        figures.laps, figures.batches, figures.route, product, variant, worker, one, last
    )
    if time.minutes.empty:
        return None
    return Page(
        time,
        _lead(time, words.variant(product, variant), worker, one),
        (
            _most(time),
            _loss(time) or _nothing_lost(figures, product, one),
            _nobody(time, bool(one)),
            _left_out(time),
            _short(begun(figures), product),
        ),
        bool(time.operations["per_piece_low"].notna().any()),
        Table.of(_table(time), FORMATS, SPANS),
        tuple(_surer(time)),
    )


def _choice(desk: answers.Desk) -> tuple[str, str, str, str] | None:
    """(product, variant, worker, batch), blank for all; None where no batch is named.

    The batch may also be LATEST.
    """
    choices = desk.kept("batches", (), lambda: _choices(desk.figures.batches))
    if not choices:
        return None
    workers = desk.kept("workers", (), lambda: _workers(desk.figures.laps))
    with st.container(horizontal=True):
        product = st.selectbox("Product", list(choices), key="minutes_product")
        own = choices[product]
        variant = _one_or_all("Variant", own.variants, "minutes_variant")
        batch = _one_or_all("Batch", own.batches[variant], "minutes_batch", LATEST)
        worker = _one_or_all("Worker", workers, "minutes_worker")
    return product, variant, worker, batch


def _workers(laps: pd.DataFrame) -> list[str]:
    return [name for name in laps["worker"].cat.categories if name]


def _choices(batches: pd.DataFrame) -> dict[str, Choices]:
    """By product, that with the most work first: its variants, and the batches of each, the latest
    MOST_LISTED of them."""
    named = batches[batches["batch"] != ""].sort_values("first_at", ascending=False)
    named = named.astype({"product": str, "variant": str, "batch": str})
    choices = {}
    work = named.groupby("product")["worked_hours"].sum()
    named["product"] = pd.Categorical(named["product"], work.sort_values(ascending=False).index)
    for product, own in named.groupby("product", sort=True, observed=True):
        variants = tuple(sorted(set(own["variant"]) - {""}))
        listed = {"": own["batch"], **{v: own.loc[own["variant"] == v, "batch"] for v in variants}}
        latest = {v: tuple(dict.fromkeys(names))[:MOST_LISTED] for v, names in listed.items()}
        choices[product] = Choices(variants, latest)
    return choices


def _one_or_all(label: str, options: Sequence[str], key: str, *first: str) -> str:
    """One of the options, `first` before them, or blank for all; a choice that has gone falls
    back to the first."""
    options = [*first, ALL, *options]
    if st.session_state.get(key) not in (None, *options):
        del st.session_state[key]
    picked = st.selectbox(label, options, key=key)
    return "" if picked == ALL else picked


def _lead(time: BatchTime, what: str, worker: str, batch: str) -> str:
    """The answer in one sentence; `batch` is blank for several."""
    who = f" of {words.plain(worker)}'s time" if worker else ""
    if not time.pieces:
        which = f"batch {words.plain(batch)} of {what}" if batch else f"{what} so far"
        each = "it took" if batch else "a batch took"
        return (
            f"Every piece of {which} was lost: {each} {words.rough(time.per_batch.value)}{who} at "
            "the bench, and no good piece came of it."
        )
    if batch:
        state = "took" if time.finished else "has taken so far"
        return (
            f"Batch {words.plain(batch)} of {what} {state} {words.rough(time.per_batch.value)}"
            f"{who} at the bench: {words.rough(time.per_piece.value)} for each of "
            f"{words.count(time.pieces, 'good piece' if time.finished else 'piece')}."
        )
    if not time.finished:
        return (
            f"No batch of {what} is finished yet; those under way have taken "
            f"{words.rough(time.per_piece.value)}{who} for each piece started so far."
        )
    each = f"A good piece of {what} takes {_about(time.per_piece)}{who} at the bench"
    if pd.isna(time.per_piece.low):
        size = words.count(time.pieces / time.batches, "good piece")
        return (
            f"{each}; a batch, of {size} on average, {_about(time.per_batch)}. Too few "
            "batches for a range."
        )
    size = words.count(time.size, "piece")
    return f"{each} on average; the next batch, if of {size}, {_about(time.next_batch)}."


def _about(found: MeanRange) -> str:
    if pd.isna(found.low):
        return f"about {words.rough(found.value)}"
    return _some(found)


def _most(time: BatchTime) -> str:
    most = time.operations.loc[time.operations["seconds"].idxmax()]
    share = most["seconds"] / time.operations["seconds"].sum()
    each = ""
    if pd.notna(most["per_piece_low"]):
        span = words.time_range(most["per_piece_low"], most["per_piece_high"])
        each = f", {span} on every {'good piece' if time.finished else 'piece started'}"
    return (
        f"Most of it goes into **{words.plain(most['operation'])}**: {words.share(share, 0)}{each}."
    )


def _loss(time: BatchTime) -> str:
    loss = time.loss
    if loss is None:
        return ""
    where = ""
    if loss.operation_share > 0.3:
        much = "most" if loss.operation_share > 0.5 else "much"
        where = f", {much} of it at {words.plain(loss.operation)}"
    kind = {"rework": "putting right", "transport": "walking", "delay": "interruptions"}
    piece = "good piece" if time.finished else "piece started"
    each = f"{_some(loss.per_piece)} on every {piece}, " if time.pieces else ""
    return (
        f"The largest leak is **{kind[loss.activity]}**: {each}{_some(loss.per_batch)} a "
        f"batch{where}."
    )


def _nothing_lost(figures: Study, product: str, batch: str) -> str:
    """That no lap tells of time lost, and whether pieces were put right all the same."""
    laps = figures.laps[figures.laps["product"] == product]
    put_right = untimed_mending(laps[laps["batch"] == batch] if batch else laps)
    if not put_right:
        return "No putting right, walking or interruption was logged."
    return f"{not_timed(put_right)}, so that time hides in the making. No walk was logged."


def _some(found: MeanRange) -> str:
    """A length of time with its range; where there is none, as for one batch, the bare figure."""
    if pd.isna(found.low):
        return words.rough(found.value)
    return f"about {words.time_range(found.low, found.high)}"


def _promise(time: BatchTime) -> str:
    """What to do with the range of the hours by the clock."""
    if time.elapsed_hours.high > WIDE * time.elapsed_hours.low:
        return " That is too wide to promise a day by: past batches took very different times."
    return " Promise a day by the longer one."


def _nobody(time: BatchTime, one: bool) -> str:
    if pd.isna(time.elapsed_hours.value):
        return ""
    within = (
        f", {_hours(time.open_idle_hours)} of that while the shop was open"
        if not pd.isna(time.open_idle_hours.value)
        else ""
    )
    if pd.notna(time.elapsed_hours.low):
        # The hours with nobody at work have a range, too; beside that of the whole, a reader would
        # add its ends to the bench time, and each end belongs to another batch.
        return (
            f"From the first lap of the next batch to its last: {_hours(time.elapsed_hours)}"
            f"{_in_days(time.elapsed_hours)}. But for its time at the bench nobody is at work on "
            f"it then (drying, waiting its turn, nights){within}.{_promise(time)}"
        )
    return (
        f"{'It lay' if one else 'A batch lies'} {_hours(time.idle_hours)} with nobody at work on "
        f"it (drying, waiting its turn, nights){within}. From the first lap to the last: "
        f"{_hours(time.elapsed_hours)}.{_too_few_alike(time)}"
    )


def _too_few_alike(time: BatchTime) -> str:
    """Why these hours have no range, where the batches have one for the bench time."""
    if pd.isna(time.per_piece.low) or not time.finished:
        return ""
    few = words.count(time.alike, "finished batch", "finished batches")
    size = words.count(time.size, "piece")
    return f" No range of these hours: only {few} of about {size}, and it takes three."


def _short(unfinished: pd.DataFrame, product: str) -> str:
    """Batches that wait for ever for a piece that may be lost."""
    short = unfinished[unfinished["short"] & (unfinished["product"] == product)]
    if short.empty:
        return ""
    names = ", ".join(words.plain(name) for name in short["batch"])
    return f"Not finished for want of a few pieces: {names}. Lost? *This week* says how to log it."


def _left_out(time: BatchTime) -> str:
    """What of the time logged is not believed, and counts otherwise."""
    doubted = time.left_out
    if doubted.empty:
        return ""
    at = ", ".join(words.plain(name) for name in doubted["operation"])
    laps = words.count(int(doubted["laps"].sum()), "doubtful lap")
    return (
        f"{laps} (at {at}) counted as the others there, "
        f"{words.rough(doubted['counted_seconds'].sum())} for "
        f"{words.rough(doubted['timed_seconds'].sum())} timed: see *Set aside* on *Laps*."
    )


def _hours(found: MeanRange) -> str:
    """Hours as a length of time with its range; the bare figure where there is none."""
    if pd.isna(found.low):
        return words.rough(3600 * found.value)
    return words.time_range(3600 * found.low, 3600 * found.high)


def _in_days(found: MeanRange) -> str:
    """Many hours by the clock in days as well: ` (1 to 13 days)`."""
    if pd.isna(found.low) or found.high < DAYS_FROM_HOURS:
        return ""
    return f" ({words.number_range(found.low / 24, found.high / 24)} days)"


def _picture(desk: answers.Desk, page: Page, choice: tuple[str, ...]) -> None:
    time = page.time
    per = "batch"
    if time.pieces:  # where all were lost, there is no good piece to have minutes
        per = parts.one_of("Minutes for", PER, "good piece", key="minutes_per")

    def make() -> alt.Chart:
        unit = "piece" if per == "good piece" else "batch"
        minutes = time.minutes.assign(minutes=time.minutes[f"seconds_per_{unit}"] / 60)
        totals = time.operations.assign(
            total=time.operations[f"seconds_per_{unit}"] / 60,
            low=time.operations[f"per_{unit}_low"] / 60,
            high=time.operations[f"per_{unit}_high"] / 60,
        )
        return batch_minutes_chart(minutes, per, totals)

    answers.picture(desk, "minutes", (*choice, per), make)
    if page.has_ranges:
        st.caption(
            "Line across the end of a bar: 19 times out of 20 an operation's time lies in there, "
            "on average, by how much these batches differ. What only some variants go through is "
            "shared out over all pieces; the true times below are those of a piece that has it."
        )


def _table(time: BatchTime) -> pd.DataFrame:
    frame = time.minutes
    frame = frame.assign(
        kind=[ACTIVITIES[activity].words for activity in frame["activity"]],
        minutes_per_piece=frame["seconds_per_piece"] / 60,
        piece_low=frame["per_piece_low"] / 60,
        piece_high=frame["per_piece_high"] / 60,
        minutes_per_batch=frame["seconds_per_batch"] / 60,
        batch_low=frame["per_batch_low"] / 60,
        batch_high=frame["per_batch_high"] / 60,
        share=100 * frame["seconds"] / frame["seconds"].sum(),
    )
    return frame[list(HEADERS)].rename(columns=HEADERS)


def _surer(time: BatchTime) -> list[str]:
    lines = []
    if not time.finished:
        lines.append("Finish the batch: until then its time stands on pieces not yet made.")
    if time.batches < 6:
        stands = "one gives no range"
        if time.batches > 1:
            stands = f"the range stands on {words.count(time.batches, 'batch', 'batches')}"
        lines.append(
            f"More batches: {stands}, and six or more make it trustworthy (common practice, no "
            "source)."
        )
    lines.append(
        "Log walks, interruptions and putting right as laps of their own; what is not logged "
        "hides in the making."
    )
    lines.append("Name the batch on every lap: a lap without one is left out here.")
    return lines


PLAINLY = """
All the time logged on these batches is added up and shared out over the good pieces that came of
them, so a good piece also carries the time in the lost ones. The range comes from how much the
batches differ from one another: six batches that took alike make a narrow one. That of the next
batch is wider than that of the average, since one batch strays more than several; it is for the
size that most of the last batches had, and the days it takes are told by batches of about that size
alone. The hours nobody worked are those between a batch's first lap and its last in which no lap
was running.
"""
WORKED_OUT = """
- **Which batches.** Finished ones only: an unfinished one would put its time on too few pieces.
  The last six show the work as it goes now; *all* takes in the slow first ones. A single batch
  may be chosen while it is under way; its time then stands on the pieces started.
- **Per good piece** = all bench seconds of these batches / their good pieces, so the time in lost
  pieces is carried by the good ones. **Per batch** = bench seconds / batches, of whatever size.
- **Range** = value ± t(.975, m - 1) × standard error of a ratio over the m batches (Cochran,
  *Sampling Techniques*, 1977). Batches, not laps, count as evidence, since the pieces of one
  batch are alike. It holds 19 times out of 20.
- **The next batch** is taken to be of the size that most of the last six were started with, give
  or take a fifth, and of the latest such where sizes alternate. Its bench time = that size × the
  seconds per piece started, mean ± t(.975, m - 1) × √(1 + 1/m) × the scatter between the m
  batches, all of the logs, since times stray by a factor (Hahn & Meeker, *Statistical Intervals*,
  1991, one future observation): one batch strays further than the average of several, whose range
  stands in the chart and the table. 19 times out of 20 it lies in there, as long as batches are
  made as these were. Setting up is shared out over the pieces, so a batch much smaller than those
  seen takes somewhat longer than its pieces say.
- **Its hours by the clock** are those of the finished batches of about that size (within a fifth:
  common practice, no source), the last six or *all*, and may reach back further than the batches
  above; with fewer than three there is no range. They need not grow with the pieces, so that other
  sizes cannot tell them. Hours with nobody at work are never told longer than the whole.
- **Doubtful laps**, such as a stop forgotten, count with the average of the other laps of their
  operation, as in the true times below; the pieces in them took some time.
- **Nobody at work** = time from a batch's first lap to its last, less the time somebody was at
  work on it. Waiting for glue is in it; so are nights and weekends.
- **Interrupted** time that names no batch is not in a batch's minutes; *This week* has it.
- Putting right is booked at the operation it was done in.
"""
