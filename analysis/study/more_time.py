"""What if pieces got some seconds more, or fewer, at one operation: faults, minutes and money.

Two effects are added, each from its own curve: faults made at the operation itself, by the pace of
the pieces just before (best_pace.py), and mending at a later operation in the same batch (care.py).
Both are associations in the laps so far, drawn on to a pace chosen on purpose.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.best_pace import cost_at
from analysis.study.care import Care
from analysis.study.cost_of_quality import pay_per_second
from analysis.study.logistic import chance
from analysis.study.rates import Z95
from analysis.study.spoilage import SEEN, Spoilage

if TYPE_CHECKING:
    from analysis.study.summary import Study

LEAST, MOST = -0.2, 0.4  # of the present seconds
STEPS = 30
TOLD = ("less mending", "more mending")
COLUMNS = (
    "product", "operation", "seconds_now", "more_seconds", "seconds", "chance", "chance_low",
    "chance_high", "cost", "cost_low", "cost_high", "later", "later_seconds", "later_low",
    "later_high", "saved", "saved_low", "saved_high", "in_money", "seen", "told",
)  # fmt: skip


def tries(study: Study, found: Spoilage, at_stake: pd.DataFrame, followed: Care) -> pd.DataFrame:
    """COLUMNS, a row for each product, operation and number of seconds more that can be tried.

    An operation can be tried where faults made there have a curve, or where its time is told to go
    with mending later. more_seconds in whole steps from LEAST to MOST of the present seconds.
    chance: of a fault made here (NaN without a curve); cost: per good piece here, in money, or in
    seconds of work where in_money is False; later, later_seconds: the operation where less
    mending is found, and by how many seconds a piece; saved: per good piece, both together, less
    the time itself. Intervals 95 %; that of the sum takes both effects as independent. seen:
    within the paces there are laps of; told: an effect of time shows at all.
    """
    pairs = followed.pairs
    told = pairs[pairs["verdict"].isin(TOLD) & pairs["mending_seconds"].notna()]
    told = told.merge(_paces_seen(followed.points), on=["operation", "later"], how="left")
    normal = study.operations.set_index(["product", "operation"])["normal_seconds"]
    stakes = at_stake.set_index(["product", "operation"])["seconds"]
    pay = pay_per_second(study)
    tables = [
        _tried(found, at_stake, told, key, float(stakes.get(key, normal[key])), pay)
        for key in _can_be_tried(study, found, at_stake, told)
    ]
    empty = pd.DataFrame(columns=list(COLUMNS))
    return pd.concat([t[list(COLUMNS)] for t in tables], ignore_index=True) if tables else empty


def _paces_seen(points: pd.DataFrame) -> pd.DataFrame:
    """The range of batches' paces (log) of each pair of operations, the outermost left out."""
    by = points.astype({"pace": float}).groupby(["operation", "later"])["pace"]
    low, high = by.quantile(SEEN[0]), by.quantile(SEEN[1])
    return pd.DataFrame({"pace_low": low, "pace_high": high}).reset_index()


def _can_be_tried(study: Study, found: Spoilage, at_stake, told) -> list[tuple[str, str]]:
    """Those whose effect shows first, then in the order of the study."""
    curves = found.curves.set_index("operation")
    drawn = {name for at, name in enumerate(curves.index) if np.isfinite(found.draws[0, at, 0])}
    own = [key for key in at_stake[["product", "operation"]].itertuples(index=False, name=None)
           if key[1] in drawn]  # fmt: skip
    shown = {key for key in own if curves["verdict"][key[1]] in ("haste spoils", "slowness spoils")}
    operations = set(zip(study.operations["product"], study.operations["operation"], strict=True))
    for pair in told.itertuples():
        for product in study.operations["product"].unique():
            if {(product, pair.operation), (product, pair.later)} <= operations:
                shown.add((product, pair.operation))
    return sorted(shown) + [key for key in own if key not in shown]


def _tried(found, at_stake, told, key, now: float, pay: pd.Series) -> pd.DataFrame:
    step = max(round(now * (MOST - LEAST) / STEPS), 1)
    more = step * np.arange(np.ceil(now * LEAST / step), np.floor(now * MOST / step) + 1)
    product, operation = key
    rate = float(pay.get(key, np.nan))
    table = cost_at(found, at_stake, product, operation, now + more)
    stake = at_stake[(at_stake["product"] == product) & (at_stake["operation"] == operation)]
    in_money = bool(stake["in_money"].iloc[0]) if len(stake) else np.isfinite(rate)
    if table.empty:
        table = _time_alone(now + more, now, rate if in_money else 1.0)
    pair = told[told["operation"] == operation].head(1)
    own = found.curves["verdict"][found.curves["operation"] == operation]
    table = table.assign(
        product=product, operation=operation, seconds_now=now, more_seconds=more,
        in_money=in_money, later="", later_seconds=0.0, later_low=0.0, later_high=0.0,
        told=bool(len(pair)) or own.isin(["haste spoils", "slowness spoils"]).any(),
    )  # fmt: skip
    return _with_later(table, next(pair.itertuples()), now, pay) if len(pair) else table


def _time_alone(seconds: np.ndarray, now: float, wage: float) -> pd.DataFrame:
    """Where no fault is made here, time costs what it takes and nothing else."""
    table = pd.DataFrame({"seconds": seconds, "chance": np.nan, "cost": wage * seconds})
    table["saved"] = wage * (now - seconds)
    for name in ("chance", "cost", "saved"):
        table[f"{name}_low"] = table[f"{name}_high"] = table[name]
    return table.assign(seen=True)


def _with_later(table: pd.DataFrame, pair, now: float, pay: pd.Series) -> pd.DataFrame:
    """Mending later that goes with the time: m (p - p'), logit p' = logit p + slope log(s'/s)."""
    log_odds = np.log(pair.chance / (1 - pair.chance))
    longer = np.log(table["seconds"].to_numpy() / now)
    error = (pair.slope_high - pair.slope_low) / 2 / Z95
    slopes = np.array([pair.slope, pair.slope - Z95 * error, pair.slope + Z95 * error])
    spared = pair.mending_seconds * (pair.chance - chance(log_odds + slopes[:, None] * longer))
    later_pay = float(pay.get((table["product"].iloc[0], pair.later), np.nan))
    wage = later_pay if table["in_money"].iloc[0] and np.isfinite(later_pay) else 1.0
    if table["in_money"].iloc[0] and not np.isfinite(later_pay):
        return table
    low, high = np.minimum(*spared[1:]), np.maximum(*spared[1:])
    saved = table["saved"] + wage * spared[0]
    below = np.hypot(table["saved"] - table["saved_low"], wage * (spared[0] - low))
    above = np.hypot(table["saved_high"] - table["saved"], wage * (high - spared[0]))
    seen = table["seen"] & (longer >= pair.pace_low) & (longer <= pair.pace_high)
    return table.assign(
        later=pair.later, seen=seen, later_seconds=spared[0], later_low=low, later_high=high,
        saved=saved, saved_low=saved - below, saved_high=saved + above,
    )  # fmt: skip
