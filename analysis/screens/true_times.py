"""The part of A batch's minutes that is about operations, not batches: true times, faults, stops.

It takes all laps of the product, whoever did them, whatever was chosen above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analysis.screens import answers, glossary, shown_files, words
from analysis.screens.answers import Table
from analysis.screens.written import as_csv

if TYPE_CHECKING:
    from analysis.records.shop import Allowance
    from analysis.study.summary import Study

TRADE = (
    "observed time", "rating", "normal time", "allowance", "standard time", "first-pass yield",
    "rolled throughput yield", "scrap", "delay",
)  # fmt: skip
FEW_READ_OUT = 3


@dataclass(frozen=True)
class Page:
    """What is said and shown of one product; the stops are the whole shop's."""

    times: tuple[str, ...]
    time_table: Table
    right: str
    right_table: Table
    file: bytes  # of both tables
    stops: str
    stop_table: Table | None


def show(desk: answers.Desk, product: str) -> None:
    """Three short tables, each under the sentence that says what is in it."""
    page = desk.kept("true times", (product,), lambda: _page(desk.figures, product))
    answers.points(page.times, "### True time of each operation")
    glossary.beside(*TRADE)
    st.html(answers.figures_page(page.time_table, "Seconds a piece of each operation"))
    st.markdown(f"### Right first time, by operation\n\n{page.right}")
    faults = answers.figures_page(page.right_table, "Faults and mending of each operation")
    st.html(faults + shown_files.table_link(page.file, "operations", "Both tables as a file (CSV)"))
    st.markdown(f"### Interruptions, by cause\n\n{page.stops}")
    if page.stop_table:
        answers.table(page.stop_table, "interruptions", "Interruptions of each cause")


def _page(figures: Study, product: str) -> Page:
    operations, faults = (
        _in_order(frame[frame["product"] == product], figures.route)
        for frame in (figures.operations, figures.quality)
    )
    rolled = figures.rolled_yield[figures.rolled_yield["product"] == product]
    times_written, faults_written = _times_written(operations), _faults_written(faults)
    return Page(
        times=_times(operations, product, figures.shop.allowance),
        time_table=Table.of(*times_written),
        right=_right(rolled, faults, product),
        right_table=Table.of(*faults_written),
        file=_both(times_written[0], faults_written[0]),
        stops=_stops(figures.delays),
        stop_table=_stop_table(figures.delays) if len(figures.delays) else None,
    )


def _both(times: pd.DataFrame, faults: pd.DataFrame) -> bytes:
    """The file of two tables that have a row for each operation."""
    tables = [table.astype({"operation": str}).set_index("operation") for table in (times, faults)]
    return as_csv(pd.concat(tables, axis=1).reset_index())


def _in_order(own: pd.DataFrame, route: pd.DataFrame) -> pd.DataFrame:
    """Operations of one product as they follow one another on its route."""
    route = route[route["product"].isin(own["product"])]
    place = route.groupby("operation", observed=True)["position"].min()
    at = own["operation"].map(place.to_dict()).rename("at")
    return own.assign(at=at).sort_values("at", kind="stable").drop(columns="at")


def _times(operations: pd.DataFrame, product: str, allowance: Allowance) -> tuple[str, ...]:
    """What the table holds, whose laps are too few, and which laps were left out."""
    percent = allowance.personal_percent + allowance.fatigue_percent + allowance.contingency_percent
    said = (
        f"All laps of {words.plain(product)} count here. *Observed* is their average; *standard* "
        "is what to plan with: today's practice at an ordinary pace, and an allowance for rest and "
        f"small things of {words.figure(percent, 3)} % {words.plain(allowance.convention)}."
    )
    return said, _too_few(operations), _left_out(operations)


def _too_few(operations: pd.DataFrame) -> str:
    """Operations with fewer laps than ±5 % needs, the furthest from it first."""
    once = operations.loc[operations["laps_needed"].isna(), "operation"]
    if len(once):
        names = ", ".join(f"*{words.plain(name)}*" for name in once)
        return f"One lap tells no range, and not how many are needed: time {names} again."
    short = operations[operations["laps_worth"] < operations["laps_needed"]]
    if short.empty:
        return "Each has laps enough to know its average to ±5 %." if len(operations) else ""
    short = short.assign(lack=short["laps_worth"] / short["laps_needed"]).sort_values("lack")
    names = ", ".join(
        f"*{words.plain(row.operation)}* "
        f"({words.number(row.laps_worth)} of {words.number(row.laps_needed)} needed)"
        for row in short.head(FEW_READ_OUT).itertuples()
    )
    more = f" and {len(short) - FEW_READ_OUT} more" if len(short) > FEW_READ_OUT else ""
    return (
        f"To know the average to ±5 %, time more laps of {names}{more}. Laps of one batch are "
        "alike, and count for less than as many from different ones."
    )


def _left_out(operations: pd.DataFrame) -> str:
    aside = operations[operations["laps_set_aside"] > 0]
    if aside.empty:
        return "No lap was left out as doubtful."
    names = "; ".join(
        f"*{words.plain(row.operation)}* {words.number(row.laps_set_aside)} (with "
        f"{'it' if row.laps_set_aside == 1 else 'them'} "
        f"{words.rough(row.observed_with_all_seconds)} instead of "
        f"{words.rough(row.observed_seconds)})"
        for row in aside.itertuples()
    )
    return f"Doubtful laps left out, listed on *Laps*: {names}."


def _times_written(operations: pd.DataFrame) -> tuple[pd.DataFrame, dict, dict]:
    """A row for each operation, how its figures are written, and their ranges: see `Table.of`."""
    seconds = {
        "standard (s a piece)": "standard_seconds",
        "standard from (s)": "standard_low",
        "standard to (s)": "standard_high",
        "observed (s a piece)": "observed_seconds",
        "observed from (s)": "observed_low",
        "observed to (s)": "observed_high",
        "normal (s a piece)": "normal_seconds",
    }
    counts = {
        "laps": "laps",
        "laps they are worth": "laps_worth",
        "laps needed for ±5 %": "laps_needed",
        "doubtful laps left out": "laps_set_aside",
    }
    frame = pd.DataFrame(
        {
            "operation": operations["operation"],
            **{header: operations[name] for header, name in (seconds | counts).items()},
            "still getting faster": operations["still_falling"].map({True: "yes", False: "no"}),
        }
    )
    one = "%.1f" if operations["observed_seconds"].min() < 10 else "%.0f"
    formats = dict.fromkeys(seconds, one) | dict.fromkeys(counts, "%.0f")
    spans = {
        f"{name} (s a piece)": (f"{name} from (s)", f"{name} to (s)")
        for name in ("standard", "observed")
    }
    return frame, formats, spans


def _right(rolled: pd.DataFrame, faults: pd.DataFrame, product: str) -> str:
    """How many go through without a fault, and where most are lost."""
    if rolled.empty:
        return "Nothing to tell yet."
    row = rolled.iloc[0]
    through = words.share_range(row["rolled_low"], row["rolled_high"])
    said = f"**{through} of {words.plain(product)} go through every step without a fault**; " + (
        "none was lost."
        if row["good_share"] == 1
        else f"of those begun, about {words.share(row['good_share'])} come out good in the end "
        "(each variant's range stands on *Putting right*, How many to start)."
    )
    worst = faults.loc[faults["first_pass_yield"].idxmin()]
    if worst["first_pass_yield"] == 1:
        return f"{said} No fault was logged."
    share = words.share_range(worst["first_pass_yield_low"], worst["first_pass_yield_high"])
    return (
        f"{said} Most faults are found at *{words.plain(worst['operation'])}*: {share} go "
        "through it without one. A fault counts where it was found, not where it was made."
    )


def _faults_written(faults: pd.DataFrame) -> tuple[pd.DataFrame, dict, dict]:
    """The same for faults."""
    shares = {
        "no fault found there (%)": "first_pass_yield",
        "right from (%)": "first_pass_yield_low",
        "right to (%)": "first_pass_yield_high",
        "lost (%)": "scrap_rate",
        "lost from (%)": "scrap_rate_low",
        "lost to (%)": "scrap_rate_high",
    }
    frame = pd.DataFrame(
        {
            "operation": faults["operation"],
            **{header: 100 * faults[name] for header, name in shares.items()},
            "putting right (s a piece)": faults["rework_seconds_per_unit"],
            "pieces": faults["units"],
            "put right (pieces)": faults["rework_units"],
            "lost (pieces)": faults["lost_units"],
        }
    )
    spans = {
        f"{name} (%)": (f"{short} from (%)", f"{short} to (%)")
        for name, short in (("no fault found there", "right"), ("lost", "lost"))
    }
    return frame, dict.fromkeys((*shares, "putting right (s a piece)"), "%.1f"), spans


def _stops(delays: pd.DataFrame) -> str:
    if delays.empty:
        return "No interruption was logged in the whole shop. What is not logged hides in the work."
    worst = delays.iloc[0]
    share = words.share_range(worst["share_low"], worst["share_high"])
    taken = share if share != words.NOT_KNOWN else words.share(worst["share_of_bench_time"])
    name = words.plain(worst["cause"]) or "no cause given"
    return (
        f"All of the shop's, whatever they broke into. Most goes to **{name}**: {taken} of all "
        f"time logged, {words.rough(worst['seconds'] / worst['times'])} at a time on average."
    )


def _stop_table(delays: pd.DataFrame) -> Table:
    shares = {
        "share of bench time (%)": "share_of_bench_time",
        "share from (%)": "share_low",
        "share to (%)": "share_high",
    }
    frame = pd.DataFrame(
        {
            "cause": delays["cause"].replace("", "no cause given"),
            "times": delays["times"],
            "hours in all": delays["seconds"] / 3600,
            **{header: 100 * delays[name] for header, name in shares.items()},
        }
    )
    spans = {"share of bench time (%)": ("share from (%)", "share to (%)")}
    return Table.of(frame, dict.fromkeys(shares, "%.1f") | {"hours in all": "%.1f"}, spans)
