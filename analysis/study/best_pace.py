"""The pace with the least cost per good piece, and the time below which haste costs more than it
saves.

Aimed at a pace d slower (log of seconds) than now, pieces scatter about it as they do about the
usual one, so that the chance of a fault is the mean of the operation's curve over that scatter:
    p(d) = mean over x of chance(x + d),
and with s the seconds of a piece now, w the wage of a second, q the share of the spoiled that is
lost, r the seconds that mending takes and V what a piece is worth when it comes here (work so far,
and material),
    cost of a good piece here = (V + w (s e^d + p (1 - q) r)) / (1 - p q) - V.
The least is sought over the paces seen, never beyond. That a pace chosen on purpose spoils as one
that came about by itself is taken from the laps, not proven by them: half a batch each way is the
proof (trial.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.cost_of_quality import Tally, seconds_to_mend, tallied
from analysis.study.frames import Row
from analysis.study.logistic import chance
from analysis.study.spoilage import Spoilage

if TYPE_CHECKING:
    from analysis.study.summary import Study

KEYS = ["product", "operation"]
STEPS = 61  # paces tried between the fastest and the slowest seen
RUSHED_CERTAINTY = 0.05  # of the best pace being faster still, where a piece is called rushed
STAKE_COLUMNS = (
    "product", "operation", "seconds", "wage_per_hour", "rework_seconds", "value_before",
    "in_money", "found_later",
)  # fmt: skip
BEST_COLUMNS = (
    "product", "operation", "usual_seconds", "best_seconds", "best_low", "best_high",
    "fastest_seconds", "slowest_seconds", "chance_now", "chance_best", "cost_now", "cost_best",
    "saved", "saved_low", "saved_high", "in_money", "laps_more", "verdict", "note",
)  # fmt: skip
COST_COLUMNS = (
    "seconds", "chance", "chance_low", "chance_high", "cost", "cost_low", "cost_high", "saved",
    "saved_low", "saved_high", "seen",
)  # fmt: skip
RUSHED_COLUMNS = ("worker", "product", "operation", "rushed_below_seconds")
TELLING = ("haste spoils", "slowness spoils")


def stakes(study: Study, tally: Tally | None = None) -> pd.DataFrame:
    """What hangs on a fault made at an operation: STAKE_COLUMNS, a row each product and operation
    where a piece was spoiled.

    seconds: of a piece now, at the bench, workers weighted by what they made; rework_seconds: to
    mend one of the faults made here, as timed (where none of them was: as timed at the operation,
    else elsewhere), 0 where no mending was ever timed; value_before: work in a piece that comes
    here, and its material; all of these are means over the faults made and found here, so a kind of
    fault or a variant counts by its pieces. found_later: share of the pieces with a fault made here
    at which it was found in another operation, as far as the laps say. Where a wage or a material
    cost is not given in_money is False, and costs are in seconds of work: a wage of one a second,
    material left out. tally: that of the study, where it is there already.
    """
    table = _by_faults(tally or tallied(study)).reset_index()
    table = table.merge(_present(study.learning.cells), on=KEYS)
    table["in_money"] = table[["work_pay", "material", "pay_rate"]].notna().all(axis=1)
    wage = np.where(table["in_money"], table["pay_rate"], 1.0)
    worth = np.where(
        table["in_money"], table["work_pay"] + table["material"], table["work_seconds"]
    )
    table["found_later"] = table["elsewhere"] / (table["elsewhere"] + table["pieces"])
    table["value_before"] = np.maximum(worth - wage * table["seconds"], 0.0)
    table["wage_per_hour"] = 3600 * wage
    return table[list(STAKE_COLUMNS)]


def _by_faults(tally: Tally) -> pd.DataFrame:
    """Means over the faults made where they were found, by product and operation, each cell
    weighted by its pieces at fault; a price that one of several variants lacks is left out."""
    counts = {name: np.asarray(of.sum(axis=0)).ravel() for name, of in tally.counts.items()}
    pieces = np.maximum(counts["flagged"], counts["mended"]) + counts["lost"]
    cells = tally.cells.assign(
        rework_seconds=np.nan_to_num(seconds_to_mend(tally)[0]), pieces=pieces,
        timed=counts["seconds"], mended=counts["mended"],
    )  # fmt: skip
    here = (cells["cause_operation"] == "") | (cells["cause_operation"] == cells["operation"])
    own = cells[here]
    values = own[["work_seconds", "work_pay", "material", "pay_rate", "rework_seconds"]]
    keys = [own[key] for key in KEYS]
    weights = values.notna().mul(own["pieces"], axis=0)
    sums = values.fillna(0.0).mul(own["pieces"], axis=0).groupby(keys).sum()
    table = sums / weights.groupby(keys).sum().replace(0.0, np.nan)
    timed = own[["timed", "mended"]].groupby(keys).sum()
    each = timed["timed"] / timed["mended"].where(timed["mended"] > 0)
    later = cells[~here].groupby(["product", "cause_operation"])["pieces"].sum()
    later.index = later.index.set_names(KEYS)
    return table.assign(
        rework_seconds=each.fillna(table["rework_seconds"]),
        pieces=own.groupby(KEYS)["pieces"].sum(),
        elsewhere=later.reindex(table.index, fill_value=0.0),
    )


def _present(cells: pd.DataFrame) -> pd.DataFrame:
    """Present seconds of a piece by product and operation, workers weighted by pieces made."""
    weighed = cells.assign(total=cells["present_seconds"] * cells["pieces_made"])
    sums = weighed.groupby(KEYS)[["total", "pieces_made"]].sum()
    return (sums["total"] / sums["pieces_made"]).rename("seconds").reset_index()


def best_paces(found: Spoilage, at_stake: pd.DataFrame) -> pd.DataFrame:
    """The cheapest pace of every product and operation at stake: BEST_COLUMNS, the most to be
    saved first.

    Seconds are per piece as timed at the bench; cost, saved: per good piece at this operation, in
    money, or in seconds of work where in_money is False; intervals 95 %, from joint draws of
    intercept and slope. verdict: "slower", "faster" (the whole interval on that side of now, and
    something is surely saved), "as now", "cannot tell" (no effect of pace shows: the figures are
    then NaN). Faults that are found later, in another operation, are not in it: see care.py.
    """
    rows = [_best_row(found, row) for row in at_stake.itertuples()]
    table = pd.DataFrame(rows, columns=list(BEST_COLUMNS))
    return table.sort_values("saved", ascending=False, kind="stable", ignore_index=True)


def _best_row(found: Spoilage, stake: Row) -> dict:
    at, curve = _curve(found, stake.operation)
    row = {"product": stake.product, "operation": stake.operation, "in_money": stake.in_money}
    row |= {"usual_seconds": stake.seconds}
    if curve is None:
        note = "No fault made here has pieces just before it to judge by."
        return row | {"verdict": "cannot tell", "note": note}
    row |= {"laps_more": curve.laps_more}
    if curve.verdict not in TELLING:
        return row | {"verdict": "cannot tell", "note": curve.note}
    slower = _paces_tried(curve)
    spoiled = _spoiled(found, at, slower)
    cost = _cost(stake, curve.scrap_share, slower, spoiled)
    spoiled_now = _spoiled(found, at, np.zeros(1))
    now = _cost(stake, curve.scrap_share, np.zeros(1), spoiled_now)
    best = int(cost.mean(axis=0).argmin())
    low, high = np.quantile(slower[cost.argmin(axis=1)], [0.025, 0.975])
    saved = now[:, 0] - cost[:, best]
    pace = {
        "best_seconds": slower[best], "best_low": min(low, slower[best]),
        "best_high": max(high, slower[best]), "fastest_seconds": slower[0],
        "slowest_seconds": slower[-1],
    }  # fmt: skip
    row |= {name: stake.seconds * np.exp(value) for name, value in pace.items()}
    row |= {
        "chance_now": spoiled_now.mean(),
        "chance_best": spoiled[:, best].mean(),
        "cost_now": now.mean(), "cost_best": cost[:, best].mean(), "saved": saved.mean(),
    }  # fmt: skip
    row["saved_low"], row["saved_high"] = np.quantile(saved, [0.025, 0.975])
    surely = row["saved_low"] > 0
    row["verdict"] = (
        "slower" if surely and low > 0 else "faster" if surely and high < 0 else "as now"
    )
    more = spoiled[:, best] - spoiled_now[:, 0]
    return row | {"note": _note(row, curve, more, stake.found_later)}


def _note(row: dict, curve: Row, more: np.ndarray, found_later: float) -> str:
    """What the row says, in plain words. more: draws of the chance there, less that of now."""
    low, high = round(row["best_low"]), round(row["best_high"])
    said = f"About {low} s" if low == high else f"About {low} to {high} s"
    parts = [f"{said} a piece costs least, against {round(row['usual_seconds'])} s now."]
    if curve.verdict == "haste spoils" and row["best_seconds"] < row["usual_seconds"]:
        parts.append(_although_it_spoils(row, more))
    if row["verdict"] == "as now":
        parts.append("What that would save is too little to be sure of.")
    if row["best_seconds"] == row["fastest_seconds"]:
        parts.append("It is the fastest pace seen: faster was never tried.")
    if row["best_seconds"] == row["slowest_seconds"]:
        parts.append("It is the slowest pace seen: slower was never tried.")
    if row["best_seconds"] < row["usual_seconds"] and found_later > 0:
        parts.append(
            f"Only faults found at {row['operation']} itself count in this: "
            f"{100 * found_later:.0f} % of those it makes show later, and if haste makes them "
            "too, the best pace is a slower one."
        )
    if curve.differs:
        parts.append(f"Something else that differs by {curve.differs} may be behind it.")
    return " ".join(parts)


def _although_it_spoils(row: dict, more: np.ndarray) -> str:
    """Why haste spoils pieces here, and a faster pace costs least all the same."""
    low, high = np.quantile(100 * more, [0.025, 0.975])
    spoiled = f"{low:.0f} to {high:.0f}" if round(low) < round(high) else f"about {high:.0f}"
    less = row["usual_seconds"] - row["best_seconds"]
    worth = "more than" if row["verdict"] == "faster" else "about"
    return (
        f"Of 100 pieces {spoiled} more are then spoiled, but each takes about {less:.0f} s less, "
        f"and that is worth {worth} what the spoiled ones cost."
    )


def cost_at(
    found: Spoilage,
    at_stake: pd.DataFrame,
    product: str,
    operation: str,
    seconds: float | Sequence[float] | np.ndarray,
) -> pd.DataFrame:
    """What pieces cost here at these seconds a piece: COST_COLUMNS, a row for each of `seconds`.

    cost as in `best_paces`; saved: against the present seconds, draw by draw; seen: within the
    paces there are laps of; beyond, the curve is drawn on. No rows where the operation has no
    curve, or no fault of the product was made in it.
    """
    stake = at_stake[(at_stake["product"] == product) & (at_stake["operation"] == operation)]
    at, curve = _curve(found, operation)
    seconds = np.atleast_1d(np.asarray(seconds, float))
    if curve is None or stake.empty:
        return pd.DataFrame(columns=list(COST_COLUMNS))
    stake = next(stake.itertuples())
    slower = np.log(seconds / stake.seconds)
    spoiled = _spoiled(found, at, slower)
    cost = _cost(stake, curve.scrap_share, slower, spoiled)
    now = _cost(stake, curve.scrap_share, np.zeros(1), _spoiled(found, at, np.zeros(1)))
    tried = _paces_tried(curve)
    table = {"seconds": seconds, "seen": (slower >= tried[0]) & (slower <= tried[-1])}
    for name, drawn in (("chance", spoiled), ("cost", cost), ("saved", now - cost)):
        table[name] = drawn.mean(axis=0)
        table[f"{name}_low"], table[f"{name}_high"] = np.quantile(drawn, [0.025, 0.975], axis=0)
    return pd.DataFrame(table, columns=list(COST_COLUMNS))


def rushed_below_seconds(
    found: Spoilage, at_stake: pd.DataFrame, cells: pd.DataFrame
) -> pd.DataFrame:
    """RUSHED_COLUMNS for every worker, product and operation of `learning.cells`.

    Seconds per piece below which this shop's own spoilage costs more than the time saved: the pace
    that the cheapest one is slower than with 95 % certainty, at each worker's own present time.
    NaN where the data cannot tell, or where the fastest pace seen may be the cheapest.
    """
    slower = {
        (stake.product, stake.operation): _rushed(found, stake) for stake in at_stake.itertuples()
    }
    table = cells[["worker", *KEYS]].astype(str)
    log_pace = [slower.get(key, np.nan) for key in zip(table["product"], table["operation"],
                                                       strict=True)]  # fmt: skip
    seconds = cells["present_seconds"].to_numpy(float) * np.exp(np.array(log_pace, float))
    return table.assign(rushed_below_seconds=seconds)[list(RUSHED_COLUMNS)]


def _rushed(found: Spoilage, stake: Row) -> float:
    at, curve = _curve(found, stake.operation)
    if curve is None or curve.verdict != "haste spoils":
        return np.nan
    slower = _paces_tried(curve)
    cost = _cost(stake, curve.scrap_share, slower, _spoiled(found, at, slower))
    least = np.quantile(slower[cost.argmin(axis=1)], RUSHED_CERTAINTY)
    return float(least) if least > slower[0] else np.nan


def _curve(found: Spoilage, operation: str) -> tuple[int, Row | None]:
    """(place, row) of an operation's curve; None where it has none."""
    places = np.flatnonzero((found.curves["operation"] == operation).to_numpy())
    if not len(places) or not np.isfinite(found.draws[0, places[0], 0]):
        return -1, None
    return int(places[0]), next(found.curves.iloc[places].itertuples())


def _paces_tried(curve: Row) -> np.ndarray:
    """How much slower than now, from the fastest to the slowest pace seen (log of seconds)."""
    return np.linspace(curve.pace_low, curve.pace_high, STEPS) - curve.usual_pace


def _spoiled(found: Spoilage, at: int, slower: np.ndarray) -> np.ndarray:
    """p(d): (draws, paces) mean chance over the scatter of paces about the one aimed at."""
    usual = found.curves["usual_pace"].to_numpy()[at]
    pace = usual + slower[:, None] + found.scatter[at]
    intercept, slope = found.draws[:, at, 0], found.draws[:, at, 1]
    return chance(intercept[:, None, None] + slope[:, None, None] * pace).mean(axis=2)


def _cost(stake: Row, scrap_share: float, slower: np.ndarray, spoiled: np.ndarray) -> np.ndarray:
    """(draws, paces): (V + w (s e^d + p (1 - q) r)) / (1 - p q) - V."""
    wage = stake.wage_per_hour / 3600
    work = stake.seconds * np.exp(slower) + spoiled * (1 - scrap_share) * stake.rework_seconds
    lost = np.minimum(spoiled * scrap_share, 1 - 1e-9)
    return (stake.value_before + wage * work) / (1 - lost) - stake.value_before
