"""What if pieces got some seconds more, or fewer, at one operation: faults, minutes and money.

Two effects are added, each from its own curve: faults made at the operation itself, by the pace of
the pieces just before (best_pace.py), and mending at a later operation in the same batch (care.py).
Both are associations in the laps so far, drawn on to a pace chosen on purpose.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.best_pace import cost_at
from analysis.study.care import Care
from analysis.study.cost_of_quality import pay_per_second
from analysis.study.frames import Row
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


OPTION_COLUMNS = ("product", "operation", "seconds_now", "told")
SHOWN = ("haste spoils", "slowness spoils")


@dataclass(frozen=True)
class MoreTime:
    """What can be tried, and what it is worked out from.

    options     OPTION_COLUMNS, those whose effect shows (told) first: operations where faults made
                there have a curve, or whose time is told to go with mending later
    spoilage, at_stake   the curves, and what hangs on a fault (best_pace.py)
    pairs       the told pairs of `Care`, the surest first, with the paces seen of batches
    pay         of a second by product and operation; NaN where it is not given
    """

    options: pd.DataFrame
    spoilage: Spoilage
    at_stake: pd.DataFrame
    pairs: pd.DataFrame
    pay: pd.Series

    def tried(self, product: str, operation: str) -> pd.DataFrame:
        """COLUMNS, a row for each number of seconds more, of one of the options.

        more_seconds in whole steps from LEAST to MOST of the present seconds. chance: of a fault
        made here (NaN without a curve); cost: per good piece here, in money, or in seconds of work
        where in_money is False; later, later_seconds: the operation where less mending is found,
        the surest where there are several, and by how many seconds a piece; saved: per good piece,
        both together, less the time itself. Intervals 95 %; that of the sum takes both effects as
        independent. seen: within the paces there are laps of; told: an effect of time shows.
        """
        own = self.options["operation"] == operation
        option = self.options[own & (self.options["product"] == product)].iloc[0]
        now = float(option["seconds_now"])
        step = max(round(now * (MOST - LEAST) / STEPS), 1)
        more = step * np.arange(np.ceil(now * LEAST / step), np.floor(now * MOST / step) + 1)
        table = self._here(product, operation, now, now + more).assign(
            product=product, operation=operation, seconds_now=now, more_seconds=more, later="",
            later_seconds=0.0, later_low=0.0, later_high=0.0, told=option["told"],
        )  # fmt: skip
        later = self.pairs[self.pairs["operation"] == operation]
        later = [pair for pair in later.itertuples() if (product, pair.later) in self.pay.index]
        if later:
            table = _with_later(table, later[0], now, float(self.pay[product, later[0].later]))
        return table[list(COLUMNS)]

    def _here(self, product: str, operation: str, now: float, seconds: np.ndarray) -> pd.DataFrame:
        """Cost and faults at the operation itself; time alone where no fault is made in it."""
        table = cost_at(self.spoilage, self.at_stake, product, operation, seconds)
        if len(table):
            same = self.at_stake["product"] == product
            stake = self.at_stake[same & (self.at_stake["operation"] == operation)].iloc[0]
            return table.assign(in_money=bool(stake["in_money"]))
        rate = float(self.pay.get((product, operation), np.nan))
        wage = rate if np.isfinite(rate) else 1.0
        table = pd.DataFrame({"seconds": seconds, "chance": np.nan, "cost": wage * seconds})
        table["saved"] = wage * (now - seconds)
        for name in ("chance", "cost", "saved"):
            table[f"{name}_low"] = table[f"{name}_high"] = table[name]
        return table.assign(seen=True, in_money=np.isfinite(rate))


def more_time(study: Study, found: Spoilage, at_stake: pd.DataFrame, followed: Care) -> MoreTime:
    """What can be tried with the laps there are; each option is worked out when it is asked for.

    at_stake: a row a product and operation, seconds per piece and money of a fault
    (`best_pace.stakes`). Seconds are per piece, money in the shop's currency.
    """
    pairs = followed.pairs
    told = pairs[pairs["verdict"].isin(TOLD) & (pairs["mending_seconds"] > 0)]
    told = told.merge(_paces_seen(followed.points), on=["operation", "later"], how="left")
    normal = study.operations.set_index(["product", "operation"])["normal_seconds"]
    seconds = at_stake.set_index(["product", "operation"])["seconds"]
    options = [
        (*key, float(seconds.get(key, normal.get(key))), shown)
        for key, shown in _can_be_tried(normal.index, found, at_stake, told).items()
    ]
    frame = pd.DataFrame(options, columns=list(OPTION_COLUMNS))
    frame = frame.sort_values(["told", *OPTION_COLUMNS[:2]], ascending=[False, True, True])
    return MoreTime(frame.reset_index(drop=True), found, at_stake, told, pay_per_second(study))


def _paces_seen(points: pd.DataFrame) -> pd.DataFrame:
    """The range of batches' paces (log) of each pair of operations, the outermost left out."""
    by = points.astype({"pace": float}).groupby(["operation", "later"])["pace"]
    low, high = by.quantile(SEEN[0]), by.quantile(SEEN[1])
    return pd.DataFrame({"pace_low": low, "pace_high": high}).reset_index()


def _can_be_tried(
    operations: pd.MultiIndex, found: Spoilage, at_stake: pd.DataFrame, told: pd.DataFrame
) -> dict[tuple[str, str], bool]:
    """Whether an effect of time shows, by product and operation that can be tried."""
    curves = dict(zip(found.curves["operation"], found.curves["verdict"], strict=True))
    drawn = np.isfinite(found.draws[0, :, 0])
    drawn = set(found.curves["operation"][drawn])
    keys = zip(at_stake["product"], at_stake["operation"], strict=True)
    shown = {key: curves[key[1]] in SHOWN for key in keys if key[1] in drawn}
    known = set(operations)
    for pair in told.itertuples():
        for product, operation in known:
            if operation == pair.operation and (product, pair.later) in known:
                shown[product, operation] = True
    return shown


def _with_later(table: pd.DataFrame, pair: Row, now: float, pay: float) -> pd.DataFrame:
    """Mending later that goes with the time: m (p - p'), logit p' = logit p + slope log(s'/s).

    Its interval is that of the slope, widened by the error of m, taken as independent of it.
    pay: of a second of it; where that alone is not given, the effect is left out of a sum of money.
    """
    log_odds = np.log(pair.chance / (1 - pair.chance))
    longer = np.log(table["seconds"].to_numpy() / now)
    slopes = np.array([pair.slope, pair.slope_low, pair.slope_high])
    spared = pair.mending_seconds * (pair.chance - chance(log_odds + slopes[:, None] * longer))
    in_money = bool(table["in_money"].iloc[0])
    if in_money and not np.isfinite(pay):
        return table
    wage = pay if in_money else 1.0
    by_mending = Z95 * np.nan_to_num(pair.mending_error) / pair.mending_seconds * spared[0]
    low = spared[0] - np.hypot(spared[0] - spared[1:].min(axis=0), by_mending)
    high = spared[0] + np.hypot(spared[1:].max(axis=0) - spared[0], by_mending)
    saved = table["saved"] + wage * spared[0]
    below = np.hypot(table["saved"] - table["saved_low"], wage * (spared[0] - low))
    above = np.hypot(table["saved_high"] - table["saved"], wage * (high - spared[0]))
    seen = table["seen"] & (longer >= pair.pace_low) & (longer <= pair.pace_high)
    return table.assign(
        later=pair.later, seen=seen, later_seconds=spared[0], later_low=low, later_high=high,
        saved=saved, saved_low=saved - below, saved_high=saved + above,
    )  # fmt: skip
