"""Which assumption moves the answer: each at its likely low and high end, all else as it comes.

Three kinds, told apart by how their effect is found:
- money (prices, wages, rent): exactly, since the net present value is in proportion to each entry;
- what every run draws anew (times, practice, faults, a machine's or a helper's range): by least
  squares of the runs' net present values on that draw alone; draws are independent, so the slope
  is unbiased, and those that chance explains as well are left out;
- demand: by simulating again with less and with more.
A figure given as sure is moved by TENTH up and down: common practice, no source.

What knowing one of them is worth before deciding is the unit normal loss integral of its part of
the net present value (`money.gain_from_knowing`), effects taken as linear.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analysis.decisions.answer import GIVEN, Mover
from analysis.decisions.doubts import Doubt
from analysis.decisions.ledger import Entry, Ledger
from analysis.decisions.money import NORMAL_95, gain_from_knowing
from analysis.records.figures import figure

TENTH = 0.1
SURE_OF_SLOPE = 3.0  # standard errors: of a hundred draws without effect, fewer than one passes
MOST_MOVERS = 10
ROUNDING = 1e-6  # of the largest swing: what adding floats may leave of none
FARTHEST = 2.5  # standard deviations: what lies farther is not within reach


def movers(
    ledger: Ledger,
    draws: Mapping[str, np.ndarray],
    doubts: Mapping[str, Doubt],
    demand: list[Mover],
) -> tuple[Mover, ...]:
    """All assumptions that move the answer, largest first, at most MOST_MOVERS."""
    values = ledger.net_present_values
    found = [*_money_movers(ledger, values.mean()), *_drawn_movers(values, draws, doubts), *demand]
    least = ROUNDING * max((mover.swing for mover in found), default=0.0)
    found = [mover for mover in found if mover.swing > least]
    return tuple(sorted(found, key=lambda mover: -mover.swing)[:MOST_MOVERS])


def _money_movers(ledger: Ledger, mean: float):
    for entry in ledger.entries:
        worth = float(ledger.worth(entry).mean())
        low, high = _ends(entry)
        at_low, at_high = mean + worth * (low - 1), mean + worth * (high - 1)
        yield Mover(
            name=entry.name,
            low=_amount(entry, low),
            high=_amount(entry, high),
            value_at_low=at_low,
            value_at_high=at_high,
            source=entry.source if entry.estimate else GIVEN,
            turns_at=_turn(entry, mean, worth),
            settled_by=_question(entry),
            worth_knowing=gain_from_knowing(mean, abs(at_high - at_low) / (2 * NORMAL_95)),
        )


def _ends(entry: Entry) -> tuple[float, float]:
    """The likely ends of an entry, as shares of what it was reckoned with."""
    estimate = entry.estimate
    if estimate is None or not estimate.is_range:
        return 1 - TENTH, 1 + TENTH
    return estimate.low / entry.drawn, estimate.high / entry.drawn


def _amount(entry: Entry, share: float) -> str:
    """An entry's figure at a share of what it was reckoned with: `18 a week`, `-10 %`."""
    if entry.estimate is None:
        change = "less" if share < 1 else "more"
        return f"{figure(100 * abs(share - 1))} % {change} than now"
    per = f" a {entry.per}" if entry.per == "week" else " an hour" if entry.per else ""
    return figure(entry.drawn * share, 3) + per


def _question(entry: Entry) -> str:
    if entry.estimate is not None and entry.estimate.is_range:
        return f"get a written offer that fixes the {entry.name.removeprefix('the ')}"
    return ""


def _turn(entry: Entry, mean: float, worth: float) -> str:
    """The figure at which the net present value is 0, where it is one that could be: above 0."""
    share = 1 - mean / worth if worth else -1.0
    if not 0 < share < 10:
        return ""
    return _amount(entry, share)


def _drawn_movers(values: np.ndarray, draws: Mapping, doubts: Mapping[str, Doubt]):
    mean = float(values.mean())
    for name, z in draws.items():
        slope, error = slope_on(z, values)
        if abs(slope) <= SURE_OF_SLOPE * error or name not in doubts:
            continue
        doubt, turn = doubts[name], -mean / slope
        yield Mover(
            name=doubt.name,
            low=doubt.words(-NORMAL_95),
            high=doubt.words(NORMAL_95),
            value_at_low=mean - NORMAL_95 * slope,
            value_at_high=mean + NORMAL_95 * slope,
            source=doubt.source,
            turns_at=doubt.words(turn) if abs(turn) < FARTHEST else "",
            error=2 * NORMAL_95 * error,
            settled_by=doubt.settled_by,
            worth_knowing=gain_from_knowing(mean, abs(slope) * doubt.told_by_laps),
        )


def slope_on(z: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Least squares of values on z: (slope, its standard error); (0, inf) with too few runs."""
    n = len(z)
    moved, spread = z - z.mean(), ((z - z.mean()) ** 2).sum()
    if n < 8 or spread <= 0:
        return 0.0, np.inf
    slope = (moved * values).sum() / spread
    left = values - values.mean() - slope * moved
    return float(slope), float(np.sqrt((left**2).sum() / (n - 2) / spread))


def range_mover(
    name: str, ends: tuple[str, str], at_ends: tuple[float, float], mean: float,
    turns_at: str = "", settled_by: str = "",
) -> Mover:  # fmt: skip
    """A mover found by simulating again at both ends."""
    low, high = at_ends
    worth = gain_from_knowing(mean, abs(high - low) / (2 * NORMAL_95))
    return Mover(
        name, *ends, low, high, GIVEN, turns_at, settled_by=settled_by, worth_knowing=worth
    )
