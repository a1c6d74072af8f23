"""Putting right: whether haste spoils pieces, whether care pays later, and what trials showed.

Each part is drawn when its tab is open, out of answers made once for a version of the store.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from analysis.screens import answers, glossary, words
from analysis.screens.answers import Desk, Table
from analysis.screens.putting_right_told import Told
from analysis.screens.source import fault_figures

if TYPE_CHECKING:
    import altair as alt
    import numpy as np
    import pandas as pd

    from analysis.study.care import Care
    from analysis.study.frames import Row
    from analysis.study.putting_right import PuttingRight

SHOWN = ("haste spoils", "slowness spoils")
MOST_PAIRS = 12
# A range of shares from this width on is left blank; common practice, no source.
TELLS_NOTHING = 0.5
CHANCE = "chance alone would show as much (% of times)"  # Holm's p over all that were looked at
KNOWN = "how well the laps before tell the pace (%, 100 perfectly)"  # its reliability
OFTEN = "spoiled, a tenth faster (times as often)"


def pace(desk: Desk) -> None:
    """Whether haste spoils pieces, operation by operation."""
    names = desk.kept("pace names", (), lambda: _names(fault_figures(desk.here)))
    if not names:
        st.info(
            "Too few faults are on record to hold pace against them. Next step: flag spoiled "
            "pieces on the bench page, where they are found."
        )
        return
    name = st.selectbox("Operation", names, key="faults_operation")
    told = desk.kept("pace told", (name,), lambda: _pace_told(desk, name))
    answers.points(told.points, f"**{told.sentence}**")
    glossary.beside("logistic regression", "confidence interval", "confounding")
    if told.drawn:
        answers.picture(desk, "pace and faults", (name,), lambda: _pace_drawn(desk, name))
        st.caption(
            "Dots: shares seen, in parts with as many laps each, with their ranges; squares: by "
            "the piece's own time, which a spoiled piece makes longer itself. Line and band, "
            "where there are laps enough: the curve by the pieces just before. Left is faster."
        )
    answers.table(told.table, "pace_by_operation", "Pace and faults by operation")


def _names(found: PuttingRight) -> list[str]:
    """Operations where a fault was made, those with a telling curve first."""
    curves = found.spoilage.curves
    return [str(name) for name in curves.loc[curves["faults"] > 0, "operation"]]


def _pace_told(desk: Desk, name: str) -> Told:
    found, money = fault_figures(desk.here), desk.figures.currency
    curve = found.spoilage.curves.set_index("operation").loc[name]
    best = found.paces[found.paces["operation"] == name]
    points = found.spoilage.points
    lines = [_usual(curve)]
    if curve["verdict"] in SHOWN:
        lines += [f"**{words.plain(row.product)}**: {words.plain(words.told(row.note))}"
                  f"{_saves(row, money)}"
                  for row in best.itertuples()]  # fmt: skip
        lines.append(TRIAL)
    lines += [_left_blank(found.spoilage.curves), _faultless(found)]
    return Told(
        sentence=words.plain(words.told(curve["note"])),
        points=tuple(lines),
        table=_pace_table(found),
        drawn=bool((points["operation"] == name).any()),
    )


TRIAL = (
    "So far pace and faults only go together in the laps. Whether one makes the other, a trial "
    "of two ways on the bench page would settle: half of a batch at one pace, half at the other."
)


def _usual(curve: pd.Series) -> str:
    """How many were spoiled, and how many would be if all were worked at the usual pace."""
    share = curve["faults"] / curve["pieces"]
    said = (
        f"Of {words.count(curve['pieces'], 'piece')} that had others just before them "
        f"{words.number(curve['faults'])} were spoiled here, that is put right or lost "
        f"({words.share(share)})."
    )
    if curve["verdict"] not in SHOWN:
        return said
    even = words.share_range(curve["usual_chance_low"], curve["usual_chance_high"])
    return f"{said} Worked evenly at the usual pace it would be {even}."


def _faultless(found: PuttingRight) -> str:
    """Where no fault was found at the operation itself, and for which of them some showed later."""
    curves, caused = found.spoilage.curves, found.cost.caused
    names = curves.loc[(curves["faults"] == 0) & (curves["pieces"] > 0), "operation"]
    if names.empty:
        return ""
    later = names[names.isin(caused.loc[caused["share"] > 0, "operation"])]
    none = names[~names.isin(later)]
    lines = []
    if len(later):
        lines.append(
            f"Faults made at {_listed(later)} show only later, at pieces whose pace is not known: "
            "see *Care that pays later*."
        )
    if len(none):
        lines.append(f"No fault was found yet at {_listed(none)}: pace cannot be judged there.")
    return " ".join(lines)


def _listed(names: pd.Series) -> str:
    return ", ".join(words.plain(name) for name in names)


def _left_blank(curves: pd.DataFrame) -> str:
    """Which shares the table does not tell, and why."""
    names = curves.loc[_open(curves) & (curves["faults"] > 0), "operation"]
    if names.empty:
        return ""
    return (
        f"Left blank in the table: {_listed(names)}. What would be spoiled at the usual pace may "
        "be anything there, since faults are few and the laps tell the pace just before them "
        "poorly."
    )


def _open(curves: pd.DataFrame) -> pd.Series:
    """Whether what is spoiled at the usual pace is as good as not known."""
    return curves["usual_chance_high"] - curves["usual_chance_low"] > TELLS_NOTHING


def _saves(row: Row, money: str) -> str:
    if row.verdict not in ("slower", "faster"):
        return ""
    if row.in_money:
        return f" It would save {words.money_range(row.saved_low, row.saved_high, money)} a piece."
    return f" It would save {words.time_range(row.saved_low, row.saved_high)} of work a piece."


def _pace_drawn(desk: Desk, name: str) -> alt.Chart:
    import numpy as np

    from analysis.charts.putting_right import spoilage_chart  # altair is slow to import

    found = fault_figures(desk.here).spoilage
    points = found.points[found.points["operation"] == name]
    line = found.line[found.line["operation"] == name]
    points, line = (
        frame.assign(percent=100 * np.exp(frame["pace"])).rename(columns={"chance": "share"})
        for frame in (points, line)
    )
    return spoilage_chart(points, line)


def _pace_table(found: PuttingRight) -> Table:
    import pandas as pd

    curves = found.spoilage.curves
    curves = curves[curves["faults"] > 0]
    known = curves.mask(_open(curves))
    frame = pd.DataFrame(
        {
            "operation": curves["operation"],
            "spoiled at the usual pace (%)": 100 * known["usual_chance"].astype(float),
            "spoiled from": 100 * known["usual_chance_low"].astype(float),
            "spoiled to": 100 * known["usual_chance_high"].astype(float),
            **_a_tenth_faster(known),
            "what the laps say": curves["verdict"],
            "more laps needed to tell": curves["laps_more"],
            "laps": curves["laps"],
            "batches": curves["batches"],
            "people": curves["workers"],
            CHANCE: 100 * curves["p_holm"],
            KNOWN: 100 * curves["reliability"],
        }
    )
    formats = {
        **dict.fromkeys(("spoiled at the usual pace (%)", "spoiled from", "spoiled to"), "%.1f"),
        **dict.fromkeys((OFTEN, "times from", "times to"), "%.1f"),
        "more laps needed to tell": "%.0f", "laps": "%.0f", "batches": "%.0f", "people": "%.0f",
        CHANCE: "%.2f", KNOWN: "%.0f",
    }  # fmt: skip
    spans = {
        "spoiled at the usual pace (%)": ("spoiled from", "spoiled to"),
        OFTEN: ("times from", "times to"),
    }
    return Table.of(frame, formats, spans, lead=3)


def _a_tenth_faster(known: pd.DataFrame) -> dict[str, np.ndarray | pd.Series]:
    """How many times as often pieces are then spoiled, and its range, as columns of the table."""
    import numpy as np

    from analysis.study.spoilage import times_as_often

    faster = {
        end: times_as_often(known["usual_chance"], known[f"slope{end}"])
        for end in ("", "_low", "_high")
    }
    return {
        OFTEN: faster[""],
        "times from": np.minimum(faster["_low"], faster["_high"]),
        "times to": np.maximum(faster["_low"], faster["_high"]),
    }


def care(desk: Desk) -> None:
    """Whether time at one operation goes with less mending at a later one."""
    pairs = desk.kept("care pairs", (), lambda: _pairs(fault_figures(desk.here).care))
    if not pairs:
        st.info(desk.kept("care note", (), lambda: _nothing_followed(fault_figures(desk.here))))
        return
    pair = st.selectbox("Time at, faults at", list(pairs), format_func=pairs.get, key="care_pair")
    told = desk.kept("care told", pair, lambda: _care_told(fault_figures(desk.here).care, pair))
    answers.points(told.points, f"**{told.sentence}**")
    glossary.beside("correlation", "power")
    answers.picture(desk, "care", pair, lambda: _care_drawn(desk, pair))
    st.caption(
        "Each dot is as many batches as the others, from those with least time to those with most; "
        "upright lines: 19 times out of 20 the share lies in there."
    )
    answers.table(
        told.table, "care_that_pays_later", "Time at one operation, faults at a later one"
    )


def _pairs(found: Care) -> dict[tuple[str, str], str]:
    """The surest pairs, and what each is called."""
    rows = found.pairs.head(MOST_PAIRS)
    return {
        (str(a), str(b)): f"{a} → {b}"
        for a, b in zip(rows["operation"], rows["later"], strict=True)
    }


def _nothing_followed(found: PuttingRight) -> str:
    return (
        f"{found.care.note or 'No fault was found at an operation that comes after another.'} "
        "Next step: name the batch of each lap, and flag faults where they are found."
    )


def _care_told(found: Care, pair: tuple[str, str]) -> Told:
    import pandas as pd

    table = found.pairs.head(MOST_PAIRS)
    row = table[(table["operation"] == pair[0]) & (table["later"] == pair[1])].iloc[0]
    lines = [
        f"Followed: {words.count(row['batches'], 'batch', 'batches')}, "
        f"{words.count(row['pieces'], 'piece')}, {words.count(row['faults'], 'fault')}"
        + (f" that name {words.plain(pair[0])} as their cause." if row["named"] else "."),
        f"To settle it: half of a batch with half as much time again, half as now; about "
        f"{words.count(row['pieces_each_way'], 'piece')} each way "
        f"({words.count(row['batches_for_trial'], 'batch', 'batches')}).",
    ]
    frame = pd.DataFrame(
        {
            "time at": table["operation"],
            "faults at": table["later"],
            "what the batches say": table["verdict"].replace("too weak", "too little to tell"),
            "mending saved by a tenth more time (s a piece)": table["saved_seconds"],
            "saved from": table["saved_low"],
            "saved to": table["saved_high"],
            "that tenth (s)": table["extra_seconds"],
            "faults": table["faults"],
            "batches": table["batches"],
            "batches more to tell": table["batches_more"],
            "pieces each way for a trial": table["pieces_each_way"],
            CHANCE: 100 * table["p_holm"],
        }
    )
    whole = ("faults", "batches", "batches more to tell", "pieces each way for a trial")
    saved = "mending saved by a tenth more time (s a piece)"
    formats = dict.fromkeys((saved, "saved from", "saved to", "that tenth (s)"), "%.1f")
    formats |= dict.fromkeys(whole, "%.0f") | {CHANCE: "%.2f"}
    return Told(
        sentence=words.plain(words.told(row["note"])),
        points=tuple(lines),
        table=Table.of(frame, formats, {saved: ("saved from", "saved to")}, lead=3),
    )


def _care_drawn(desk: Desk, pair: tuple[str, str]) -> alt.Chart:
    from analysis.charts.putting_right import care_chart  # altair is slow to import
    from analysis.study.putting_right import care_bins

    points = fault_figures(desk.here).care.points
    own = points[(points["operation"] == pair[0]) & (points["later"] == pair[1])]
    return care_chart(care_bins(own), *pair)


def trial(desk: Desk) -> None:
    """Two ways of working, tried on halves of a batch: what came of it."""
    several = desk.kept("trial batches", (), lambda: _several_batches(desk))
    each = several and st.checkbox(
        "Each batch is a trial of its own", key="trial_by_batch",
        help="For when A and B meant other things in the next batch.",
    )  # fmt: skip
    told = desk.kept("trials", (each,), lambda: _trial_told(desk, each))
    answers.points(told.points, f"**{told.sentence}**")
    glossary.beside("power", "confidence interval")
    if told.table:
        answers.table(told.table, "two_ways_tried", "Trials of two ways, by operation")


def _trials(desk: Desk, by_batch: bool) -> pd.DataFrame:
    import pandas as pd

    from analysis.store.trials import trial_ways
    from analysis.study.trial import compare_ways, noted_ways

    laps = desk.figures.laps
    ways = [trial_ways(desk.here.store.engine), noted_ways(laps)]
    marked = pd.concat(ways, ignore_index=True).drop_duplicates("lap_id")
    return compare_ways(laps, marked, by_batch, desk.figures.timezone)


def _several_batches(desk: Desk) -> bool:
    """Whether a trial goes over several batches, so that it may be several trials."""
    return bool((_trials(desk, by_batch=False)["batches"] > 1).any())


def _trial_told(desk: Desk, by_batch: bool) -> Told:
    rows = _trials(desk, by_batch)
    if rows.empty:
        return Told("No trial of two ways yet.", (HOW_TO_TRY,))
    first = rows.iloc[0]
    return Told(
        sentence=f"At {words.plain(first['operation'])}{_of_batch(first['batch'])}: "
        f"{words.plain(words.told(first['note']))}",
        points=(
            *(f"At {words.plain(row.operation)}{_of_batch(row.batch)}, until "
              f"{words.day(row.last_at)}: {words.plain(words.told(row.note))}"
              for row in rows.iloc[1:4].itertuples()),
            "" if by_batch else _taken_together(rows),
            HOW_TO_TRY,
        ),
        table=_trial_table(rows),
    )  # fmt: skip


def _of_batch(batch: str) -> str:
    return f" (batch {words.plain(batch)})" if batch else ""


def _taken_together(rows: pd.DataFrame) -> str:
    """That batches near each other count as one trial, where a trial has several."""
    several = rows[rows["batches"] > 1]
    if several.empty:
        return ""
    where = ", ".join(
        f"{words.count(row.batches, 'batch', 'batches')} at {words.plain(row.operation)}"
        for row in several.itertuples()
    )
    return (
        f"Taken for one trial, since less than two weeks lie between them: {where}. If A and B "
        "meant other things in one of them, tick *Each batch is a trial of its own* above."
    )


HOW_TO_TRY = (
    "To begin one: on the bench page choose *Try two ways* and work half of a batch one way (A), "
    "half the other (B), best by turns of five, so that practice favours neither."
)


def _trial_table(rows: pd.DataFrame) -> Table:
    import pandas as pd

    frame = pd.DataFrame(
        {
            "operation": rows["operation"],
            "what it says": rows["verdict"],
            "batch": rows["batch"],
            "B takes less time by (%)": rows["less_time_percent"],
            "less from": rows["less_time_low"],
            "less to": rows["less_time_high"],
            "B spoils fewer by (% of pieces)": 100 * rows["fewer_faults"],
            "fewer from": 100 * rows["fewer_faults_low"],
            "fewer to": 100 * rows["fewer_faults_high"],
            "A (s a piece)": rows["seconds_a"],
            "B (s a piece)": rows["seconds_b"],
            "pieces A": rows["pieces_a"],
            "pieces B": rows["pieces_b"],
            "batches": rows["batches"],
            "laps each way for 5 % of time": rows["laps_needed"],
            "pieces each way for half the faults": rows["pieces_needed"],
        }
    )
    spans = {
        "B takes less time by (%)": ("less from", "less to"),
        "B spoils fewer by (% of pieces)": ("fewer from", "fewer to"),
    }
    shown = ("B", "less", "fewer", "A")
    formats = {name: "%.1f" if name.startswith(shown) else "%.0f" for name in frame.columns[3:]}
    return Table.of(frame, formats, spans, lead=3)
