"""Putting right, told: what faults cost in a maker's words, and as tables."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isclose
from typing import TYPE_CHECKING

import pandas as pd

from analysis.screens import words
from analysis.screens.answers import Table
from analysis.study.this_week import LEAK_WEEKS

if TYPE_CHECKING:
    from analysis.study.cost_of_quality import CostOfQuality
    from analysis.study.summary import Study

FEW_BATCHES = 6  # below, the scatter between batches says little; as the study has it


@dataclass(frozen=True)
class Told:
    """One choice of a part: its sentences, its table where it has one, whether there is a chart."""

    sentence: str
    points: tuple[str, ...] = ()
    table: Table | None = None
    drawn: bool = False


NONE_YET = (
    "Flag a piece on the bench page when it has to be put right or is lost, with its cause: "
    "what that costs then stands here."
)


def next_step(cost: CostOfQuality) -> str:
    """What to do where nothing tells yet what faults cost."""
    return TIME_IT if cost.untimed_units else NONE_YET


def faultless(figures: Study) -> str:
    """No fault was logged; how many there may be all the same."""
    from analysis.study.quality import wilson

    passed = int(figures.quality["units"].sum())
    if not passed:
        return "No piece went through an operation so far, so there is no fault to tell of."
    most = float(wilson(0, passed)[1])
    return (
        f"No piece was put right or lost so far. Pieces went through an operation "
        f"{words.count(passed, 'time')}: at most {words.share(most)} of such times a fault is made "
        "(19 times out of 20)."
    )


def lead(cost: CostOfQuality, money: str) -> str:
    """What a week costs, and what most of it is."""
    total = _total(cost)
    if pd.isna(total["money_per_week"]) or not cost.wage_known:
        spent = _range(total, "seconds", words.time_range, words.rough)
        lost = ""
        if pd.notna(total["money_per_week"]):
            lost = (
                f" and {_range(total, 'money', words.money_range, words.money, money)} of material"
            )
        return f"Putting right cost you about {spent}{lost} a week, {_most(cost)}."
    spent = _range(total, "money", words.money_range, words.money, money)
    return f"Putting right cost you about {spent} a week, {_most(cost)}."


def costs_something(cost: CostOfQuality) -> bool:
    """Whether anything of it was timed or lost; flags alone say no more than how many there are."""
    total = _total(cost)
    return bool(total["seconds_per_week"] > 0 or total["money_per_week"] > 0)


def only_flagged(cost: CostOfQuality) -> str:
    """Pieces were put right, and nothing tells what that cost."""
    return f"{not_timed(cost.untimed_units)}. What it costs is not known yet, which is not nothing."


def not_timed(pieces: float) -> str:
    """Pieces whose mending nobody timed, as every screen says it."""
    return f"{words.count(pieces, 'piece was', 'pieces were')} put right, but no mending was timed"


TIME_IT = (
    "Time the mending of one piece: on the bench page tap *Putting right*, or add a lap "
    "with the activity *rework* on *Laps*. The others then count at that time."
)


def _total(cost: CostOfQuality) -> pd.Series:
    kinds = cost.kinds
    return kinds[(kinds["category"] == "internal failure") & (kinds["kind"] == "all")].iloc[0]


def _range(
    row: pd.Series, name: str, between: Callable[..., str], alone: Callable[..., str], *unit: str
) -> str:
    """A weekly figure as its range, or by itself where one batch, or several alike, give none."""
    low, high = row[f"{name}_low"], row[f"{name}_high"]
    if pd.isna(low) or pd.isna(high) or isclose(low, high):
        return alone(row[f"{name}_per_week"], *unit)
    return between(low, high, *unit)


def _most(cost: CostOfQuality) -> str:
    """`most of it torn section, made at sew`."""
    first = cost.causes.iloc[0]
    made = f"{words.plain(first['cause'])}, made at {words.plain(first['made_in'])}"
    if len(cost.causes) == 1:
        return f"all of it {made}"
    if first["share"] > 0.5:
        return f"most of it {made}"
    return f"the largest part ({words.share(first['share'], 0)}) {made}"


def points(cost: CostOfQuality, money: str) -> list[str]:
    """What the cost is made of, where it arises, and what it leans on; blank ones among them."""
    return [_of_what(cost, money), _two_views(cost), _per_piece(cost, money), _untimed(cost),
            _checking(cost, money), _few(cost)]  # fmt: skip


def _of_what(cost: CostOfQuality, money: str) -> str:
    """What the week's cost is made of."""
    kinds = cost.kinds.set_index("kind")
    parts_of = []
    for kind, said in (
        ("rework, timed", "mending"),
        ("work in pieces lost", "work in lost pieces"),
    ):
        row = kinds.loc[kind]
        if row["seconds_per_week"] > 0:
            parts_of.append(f"{_range(row, 'seconds', words.time_range, words.rough)} of {said}")
    row = kinds.loc["material of pieces lost"]
    if row["money_per_week"] > 0:
        parts_of.append(
            f"{_range(row, 'money', words.money_range, words.money, money)} of material"
        )
    if not parts_of:
        return ""
    # A reader may hold the leaks of This week against these figures.
    recent = f" (*This week* takes the last {LEAK_WEEKS} alone)" if cost.weeks > LEAK_WEEKS else ""
    weeks = "In a week, over the {} worked so far" if cost.weeks > 1 else "In the one week worked"
    return f"{weeks.format(words.count(cost.weeks, 'week'))}{recent}: {_joined(parts_of)}."


def _joined(items: list[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def _two_views(cost: CostOfQuality) -> str:
    """Where faults are made, and how much of that shows only later."""
    made = cost.caused.iloc[0]
    name, share = words.plain(made["operation"]), words.share(made["share"], 0)
    there = cost.found.set_index("operation")["share"].get(made["operation"], 0.0)
    if there > made["share"] - 0.01:
        return f"Faults made at **{name}** are {share} of it, as far as the laps say where."
    return (
        f"Faults made at **{name}** are {share} of it; only {words.share(there, 0)} shows there, "
        "the rest is found later."
    )


def _per_piece(cost: CostOfQuality, money: str) -> str:
    """Each product's share of it, for every good piece."""
    said = []
    for row in cost.products.itertuples():
        if row.good_units == 0 or not row.seconds_per_good_piece > 0:
            continue
        if cost.wage_known and pd.notna(row.money_low):
            amount = words.money_range(row.money_low, row.money_high, money)
        else:
            amount = words.time_range(row.seconds_low, row.seconds_high)
            if pd.isna(row.seconds_low) or isclose(row.seconds_low, row.seconds_high):
                amount = words.rough(row.seconds_per_good_piece)
        said.append(f"{amount} on each good {words.plain(row.product)}")
    if not said:
        return ""
    return (
        f"It puts {_joined(said)}. *What a piece costs* takes today's times, with rests, so its "
        "figures differ a little."
    )


def _untimed(cost: CostOfQuality) -> str:
    """Mending that no lap timed, and how it was reckoned."""
    pieces = words.count(cost.untimed_units, "piece")
    how = {
        "operation": "counted at the mean time of those that were timed there",
        "elsewhere": "some where none was timed, and then counted at the mean time of others",
        "none": "and no mending was ever timed, so their time is not known, and not in the figures",
    }.get(cost.untimed_basis)
    return f"{pieces} flagged for putting right had no mending lap: {how}." if how else ""


def _checking(cost: CostOfQuality, money: str) -> str:
    """What checking takes besides."""
    row = cost.kinds[cost.kinds["category"] == "appraisal"].iloc[0]
    if not row["seconds_per_week"] > 0:
        return ""
    if pd.notna(row["money_per_week"]):
        spent = _range(row, "money", words.money_range, words.money, money)
    else:
        spent = _range(row, "seconds", words.time_range, words.rough)
    return f"Checking takes {spent} a week besides; it is not in the sum above."


def _few(cost: CostOfQuality) -> str:
    if cost.batches < 2:
        return "All of it is one batch, so how it scatters is not known and no range can be given."
    if cost.batches < FEW_BATCHES:
        return f"Only {cost.batches} batches so far: take figures and ranges as rough."
    return ""


def missing(cost: CostOfQuality) -> str:
    """What is still to be written down; blank where nothing is."""
    names = []
    if not cost.wage_known:
        who = ", ".join(words.plain(name) for name in cost.unpaid)
        names.append(f"the hourly pay of {who}, so work is in minutes and not in money")
    if cost.unpriced:
        what = ", ".join(words.plain(name) for name in cost.unpriced)
        names.append(f"the material cost of {what}, which is left out")
    return f"Not given yet: {'; '.join(names)}." if names else ""


def unit(cost: CostOfQuality, money: str) -> str:
    """What the bars are in."""
    return f"{money} a week" if _in_money(cost) else "minutes a week"


def _in_money(cost: CostOfQuality) -> bool:
    return cost.wage_known and pd.notna(_total(cost)["money_per_week"])


def drawn(cost: CostOfQuality, view: pd.DataFrame) -> pd.DataFrame:
    """A view as the chart takes it: money where the pay is known, else minutes; what is not known
    has no bar."""
    name, per = ("money", 1.0) if _in_money(cost) else ("seconds", 60.0)
    view = view[view[f"{name}_per_week"].notna()]
    return pd.DataFrame(
        {
            "name": _names(view),
            "amount": view[f"{name}_per_week"] / per,
            "low": view[f"{name}_low"] / per,
            "high": view[f"{name}_high"] / per,
            "cumulative": view["cumulative_share"],
        }
    )


def _names(view: pd.DataFrame) -> pd.Series:
    """What a bar is called; the operation beside a cause that several have made."""
    if "cause" not in view:
        return view["operation"].astype(str)
    several = view["cause"].duplicated(keep=False)
    return view["cause"].where(~several, view["cause"] + ", " + view["made_in"]).astype(str)


def faults_table(cost: CostOfQuality, money: str, view: str) -> Table:
    """What faults cost a week, by the rows of one view."""
    rows = getattr(cost, view)
    first = {"cause": rows["cause"]} if view == "causes" else {"operation": rows["operation"]}
    frame = pd.DataFrame(
        {
            **first,
            f"{money} a week": rows["money_per_week"] if _in_money(cost) else float("nan"),
            "money from": rows["money_low"],
            "money to": rows["money_high"],
            "minutes a week": rows["seconds_per_week"] / 60,
            "minutes from": rows["seconds_low"] / 60,
            "minutes to": rows["seconds_high"] / 60,
            **({"made at": rows["made_in"]} if view == "causes" else {}),
            "share (%)": 100 * rows["share"],
            "added up (%)": 100 * rows["cumulative_share"],
            "to put right in all (pieces)": rows["rework_units"],
            "lost in all (pieces)": rows["scrap_units"],
            "mending in all (min)": rows["rework_seconds"] / 60,
            "mending not timed, in all (min)": rows["untimed_seconds"] / 60,
            "work in lost pieces in all (min)": rows["scrap_seconds"] / 60,
            f"work in all ({money})": rows["labour"],
            f"material lost in all ({money})": rows["material"],
        }
    )
    if not _in_money(cost):
        frame = frame.drop(columns=[f"{money} a week", "money from", "money to"])
    return Table.of(frame, _formats(frame), _spans(frame, money), lead=3)


def _formats(frame: pd.DataFrame) -> dict[str, str]:
    whole = {"to put right in all (pieces)", "lost in all (pieces)", "share (%)", "added up (%)"}
    return {
        name: "%.0f" if name in whole else "%.1f" if "min" in name else "%.2f"
        for name in frame.columns
        if pd.api.types.is_numeric_dtype(frame[name])
    }


def _spans(frame: pd.DataFrame, money: str) -> dict[str, tuple[str, str]]:
    pairs = {
        f"{money} a week": ("money from", "money to"),
        "minutes a week": ("minutes from", "minutes to"),
    }
    return {name: ends for name, ends in pairs.items() if name in frame}


PLAIN_KINDS = {
    ("prevention", ""): "preventing faults",
    ("appraisal", "inspection"): "checking",
    ("internal failure", "rework, timed"): "putting right, timed",
    ("internal failure", "rework, not timed"): "putting right, not timed",
    ("internal failure", "work in pieces lost"): "work in pieces lost",
    ("internal failure", "material of pieces lost"): "material of pieces lost",
    ("internal failure", "all"): "putting right and losing, in all",
    ("external failure", ""): "faults the customer finds",
}


def kinds_table(cost: CostOfQuality, money: str) -> Table:
    """The kinds of cost under the trade's names; what is not logged says so."""
    kinds = cost.kinds
    none = [f"{money} a week", "money from", "money to"] * bool(
        kinds["money_per_week"].isna().all()
    )
    frame = pd.DataFrame(
        {
            "kind": [
                PLAIN_KINDS[key] for key in zip(kinds["category"], kinds["kind"], strict=True)
            ],
            f"{money} a week": kinds["money_per_week"],
            "money from": kinds["money_low"],
            "money to": kinds["money_high"],
            "minutes a week": kinds["seconds_per_week"] / 60,
            "minutes from": kinds["seconds_low"] / 60,
            "minutes to": kinds["seconds_high"] / 60,
            "in the trade": kinds["category"],
            "note": kinds["note"],
        }
    )
    frame = frame.drop(columns=none)
    return Table.of(frame, _formats(frame), _spans(frame, money), lead=2)


def surer(cost: CostOfQuality) -> list[str]:
    """What would narrow the ranges, or fill in what is reckoned."""
    causes = cost.causes
    lines = []
    if cost.untimed_units:
        lines.append(
            TIME_IT
            if cost.untimed_basis == "none"
            else "Time the mending too: on the bench page, tap *Putting right*."
        )
    unnamed = causes[causes["cause"] == "no cause given"]["share"].sum() if len(causes) else 0
    if unnamed > 0.05:
        lines.append(
            f"Give each fault a cause: {words.share(unnamed, 0)} of the cost has none, and cannot "
            "be gone after."
        )
    if cost.batches < 2 * FEW_BATCHES:
        lines.append("Name the batch of each lap, and log more of them.")
    elif len(causes):
        name = "money" if _in_money(cost) else "seconds"
        widest = causes.loc[(causes[f"{name}_high"] - causes[f"{name}_low"]).idxmax()]
        lines.append(
            f"More batches: most of the doubt comes from *{words.plain(widest['cause'])}*, and it "
            "shrinks with the number of batches, not of pieces."
        )
    lines.append(
        "Say where a fault was made when it is found later, so that it is charged where it can be "
        "prevented."
    )
    return lines
