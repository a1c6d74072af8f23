"""Putting right: faults by week, how many pieces to start, yields by person and variant."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from analysis.screens import answers, glossary, words
from analysis.screens.answers import Desk, Table
from analysis.screens.putting_right_told import Told
from analysis.screens.source import fault_figures

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from analysis.study.p_chart import PChart
    from analysis.study.putting_right import PuttingRight


def week_by_week(desk: Desk) -> None:
    """The share of faulty pieces by week, and which weeks are news; of one product where chosen."""
    names = desk.kept("fault products", (), lambda: _products(desk.figures.laps))
    product = ""
    if len(names) > 1:
        product = st.selectbox(
            "Product", ["", *names], format_func=lambda name: name or TOGETHER, key="faults_product"
        )
    told = desk.kept("fault weeks", (product,), lambda: _weeks_told(desk, product, len(names)))
    answers.points(told.points, f"**{told.sentence}**")
    glossary.beside("p chart", "overdispersion")
    if told.drawn:
        answers.picture(desk, "fault weeks", (product,), lambda: _weeks_drawn(desk, product))
    answers.table(told.table, "faults_by_week", "Share of faulty pieces by week")


TOGETHER = "all together"
MIXED = (
    "All products are counted together here: a week with more of one that often fails stands out "
    "by that alone. Choose a product to see it by itself."
)


def _products(laps: pd.DataFrame) -> list[str]:
    """The products with laps, as text."""
    return sorted(set(laps["product"].astype(str)) - {""})


def _weeks_of(desk: Desk, product: str) -> tuple[pd.DataFrame, PChart]:
    """The weekly shares and their chart, of one product or of all."""
    from analysis.study.p_chart import weekly_faults

    if not product:
        found = fault_figures(desk.here)
        return found.weeks, found.chart
    return weekly_faults(desk.figures.laps, desk.figures.timezone, product)


def _weeks_told(desk: Desk, product: str, products: int) -> Told:
    import pandas as pd

    weeks, chart = _weeks_of(desk, product)
    frame = pd.DataFrame(
        {
            "week beginning": weeks["week_start"].dt.date,
            "at fault (%)": 100 * weeks["share"],
            "faults": weeks["faults"],
            "pieces through": weeks["units"],
            "ordinary from (%)": 100 * weeks["lower"],
            "ordinary to (%)": 100 * weeks["upper"],
            "judged as": weeks["news"].replace("", "ordinary").where(weeks["units"] > 0, "no work"),
        }
    )
    formats = {name: "%.1f" for name in frame.columns if "%" in name}
    return Told(
        sentence=_weeks_lead(weeks, product),
        points=(*_weeks_points(weeks, chart), MIXED if products > 1 and not product else ""),
        table=Table.of(frame, formats, {}, lead=3),
        drawn=bool(weeks["share"].notna().any() and weeks["faults"].sum() > 0),
    )


def _weeks_lead(weeks: pd.DataFrame, product: str) -> str:
    known = weeks.dropna(subset=["upper"])
    if known.empty:
        if weeks["faults"].sum() == 0:
            return "No fault in any week, so there is nothing to hold a week against."
        return (
            "Too few weeks for limits yet: five worked weeks are needed to tell news from chance."
        )
    usual = words.share(known["centre"].iloc[-1])
    news = known[known["news"] != ""]
    last = known.iloc[-1]
    what = (
        "no week so far was news: the ups and downs are those of chance"
        if news.empty
        else f"{words.count(len(news), 'week')} stood out, the last of them "
        f"{words.week(news['week_start'].iloc[-1].date())}"
    )
    pieces = f"pieces of {words.plain(product)}" if product else "pieces"
    return (
        f"Of the {pieces} that go through an operation, usually {usual} are at fault; {what}. The "
        f"last week had {words.share(last['share'])}."
    )


def _weeks_points(weeks: pd.DataFrame, chart: PChart) -> list[str]:
    lines = []
    if chart.corrected:
        lines.append(
            f"Weeks scatter {words.figure(chart.sigma_z)} times as much as independent pieces "
            "would, since pieces of one batch are alike; the limits are widened by that."
        )
    if (weeks["news"] != "").any():
        lines.append("A week outside the limits has a reason worth finding, good or bad.")
    return lines


def _weeks_drawn(desk: Desk, product: str) -> alt.Chart:
    from analysis.charts.putting_right import share_chart  # altair is slow to import

    return share_chart(_weeks_of(desk, product)[0])


def start(desk: Desk) -> None:
    """How many pieces to start so that enough come out good."""
    wanted = st.number_input(
        "Good pieces wanted", 1, 100_000, None, placeholder="a batch, as on Shop", key="good_wanted"
    )
    told = desk.kept("starts", (wanted,), lambda: _starts_told(desk, wanted))
    answers.points(told.points, f"**{told.sentence}**")
    glossary.beside("scrap", "negative binomial")
    answers.table(told.table, "how_many_to_start", "Pieces to start for the good ones wanted")


def _starts_told(desk: Desk, wanted: int | None) -> Told:
    import numpy as np

    rows = fault_figures(desk.here).starts
    if wanted is not None:
        from analysis.study.starts import starts

        good = dict.fromkeys(zip(rows["product"], rows["variant"], strict=True), wanted)
        study = desk.figures
        rows = starts(study.quality, study.route, good, np.random.default_rng(0))
    return Told(
        sentence=_starts_lead(rows),
        points=(
            "Sure means 19 times out of 20. The number *to be sure* counts that the scrap rates "
            "are only measured, and that some batches are bad; the one *at the rates measured* (in "
            "the table, on a phone it may be under *All columns*) takes them as known.",
            "Pieces put right count as good; only lost ones are made up for.",
        ),
        table=_starts_table(rows),
    )


def _starts_table(rows: pd.DataFrame) -> Table:
    import pandas as pd

    frame = pd.DataFrame(
        {
            "product": rows["product"],
            "variant": rows["variant"],
            "good wanted": rows["good"],
            "start, to be sure": rows["pieces_with_doubt"],
            "start, at the rates measured": rows["pieces"],
            "start from": rows["pieces_low"],
            "start to": rows["pieces_high"],
            "come out good (%)": 100 * rows["good_share"],
            "good from": 100 * rows["good_share_low"],
            "good to": 100 * rows["good_share_high"],
            "note": rows["note"],
        }
    )
    percent = ("come out good (%)", "good from", "good to")
    counts = [name for name in frame.columns if "start" in name or name == "good wanted"]
    spans = {
        "start, at the rates measured": ("start from", "start to"),
        "come out good (%)": ("good from", "good to"),
    }
    formats = dict.fromkeys(counts, "%.0f") | dict.fromkeys(percent, "%.1f")
    return Table.of(frame, formats, spans, lead=4)


def _starts_lead(rows: pd.DataFrame) -> str:
    if rows.empty:
        return "No route is known yet, so there is nothing to reckon with."
    row = rows.loc[rows["pieces_with_doubt"].idxmax()] if rows["pieces"].notna().any() else None
    if row is None:
        return "Every piece so far was lost: no number of starts makes a good one."
    name = words.variant(row["product"], row["variant"])
    return (
        f"To be sure of {words.number(row['good'])} good {name}, start "
        f"{words.number(row['pieces_with_doubt'])}: "
        f"{words.share_range(row['good_share_low'], row['good_share_high'])} of those started "
        "come out good."
    )


def who_and_what(desk: Desk) -> None:
    """Yields by person and by variant, beside what the mix of work would give."""
    told = desk.kept("who", (), lambda: _who_told(fault_figures(desk.here)))
    answers.points(told.points, f"**{told.sentence}**")
    glossary.beside("first-pass yield", "indirect standardisation")
    answers.table(told.table, "yield_by_person", "Yield by person and operation")
    variants = desk.kept("variants", (), lambda: _yield_table(fault_figures(desk.here).variants,
                                                             ["product", "variant"]))  # fmt: skip
    st.markdown("**By variant**")
    answers.table(variants, "yield_by_variant", "Yield by variant")


def _who_told(found: PuttingRight) -> Told:
    rows = found.workers
    compared = rows[(rows["units"] > 0) & (rows["expected_faults"] > 0)]
    several = compared.groupby(["product", "operation"])["worker"].transform("nunique") > 1
    compared = compared[several]
    apart = compared[(compared["against_low"] > 1) | (compared["against_high"] < 1)]
    lines = [
        f"{words.plain(row.worker)} at {words.plain(row.operation)} ({words.plain(row.product)}): "
        f"{words.figure(row.against_low)} to {words.figure(row.against_high)} times the faults of "
        "all who do it."
        for row in apart.itertuples()
    ]
    unknown = rows.loc[rows["worker"] == "", "faults"].sum()
    if unknown:
        lines.append(f"{words.count(unknown, 'fault')} cannot be traced to who made them.")
    if compared.empty:
        sentence = "No operation with faults is done by several people, so nobody can be compared."
    elif apart.empty:
        sentence = "Nobody's faults differ from those of the others by more than chance may do."
    else:
        out = "stands out" if len(apart) == 1 else "stand out"
        some = f"{len(apart)} of {len(compared)} comparisons"
        sentence = f"{some} {out}; one in twenty would by chance."
    return Told(
        sentence=sentence,
        points=(*lines, NOT_A_RANKING),
        table=_yield_table(
            rows[(rows["worker"] != "") & (rows["expected_faults"] > 0)],
            ["worker", "product", "operation"],
        ),
    )


NOT_A_RANKING = (
    "Faults are charged to who did the operation that made them, in that batch, by pieces. It is "
    "no ranking of people: who gets the hard pieces, the worn tool or the first try has more."
)


def _yield_table(rows: pd.DataFrame, keys: list[str]) -> Table:
    import pandas as pd

    frame = pd.DataFrame(
        {
            **{key: rows[key] for key in keys},
            "steps without a fault made (%)": 100 * rows["first_pass_yield"],
            "right from": 100 * rows["first_pass_yield_low"],
            "right to": 100 * rows["first_pass_yield_high"],
            "faults against expected (times)": rows["against_expected"],
            "times from": rows["against_low"],
            "times to": rows["against_high"],
            "faults": rows["faults"],
            "expected": rows["expected_faults"],
            "pieces through": rows["units"],
        }
    )
    formats = {name: "%.1f" for name in frame.columns if name not in keys}
    formats |= {"pieces through": "%.0f"}
    formats |= dict.fromkeys(("faults against expected (times)", "times from", "times to"), "%.2f")
    spans = {
        "steps without a fault made (%)": ("right from", "right to"),
        "faults against expected (times)": ("times from", "times to"),
    }
    return Table.of(frame, formats, spans, lead=len(keys) + 1)
