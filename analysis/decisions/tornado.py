"""Which assumption moves the answer: each at its likely low and high end, all else as it comes.

Three kinds, told apart by how their effect is found:
- money (prices, wages, rent): exactly, since the net present value is in proportion to each entry;
- what every run draws anew (times, practice, faults, a machine's or a helper's range): by least
  squares of the runs' net present values on the draws, taken in one by one, the strongest first,
  as long as chance among so many draws would not show one as strong (Bonferroni, ERROR_SHARE);
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
ERROR_SHARE = 0.05
MOST_MOVERS = 10
LEAST = 0.01  # of the largest swing: smaller ones are not shown
REACH = 2.0  # times as much, or as little, may still be said to be within reach
FARTHEST = NORMAL_95  # standard deviations: beyond its likely ends a draw is not followed


def movers(
    ledger: Ledger,
    draws: Mapping[str, np.ndarray],
    doubts: Mapping[str, Doubt],
    demand: list[Mover],
    currency: str = "",
) -> tuple[Mover, ...]:
    """All assumptions that move the answer, largest first, at most MOST_MOVERS."""
    values = ledger.net_present_values
    money = _money_movers(ledger, values.mean(), currency)
    found = [*money, *_drawn_movers(values, draws, doubts), *demand]
    least = LEAST * max((mover.swing for mover in found), default=0.0)
    found = [mover for mover in found if mover.swing > least]
    return tuple(sorted(found, key=lambda mover: -mover.swing)[:MOST_MOVERS])


def _money_movers(ledger: Ledger, mean: float, currency: str):
    for entry in ledger.entries:
        worth = float(ledger.worth(entry).mean())
        low, high = _ends(entry)
        at_low, at_high = mean + worth * (low - 1), mean + worth * (high - 1)
        yield Mover(
            name=entry.name,
            low=_amount(entry, low, currency),
            high=_amount(entry, high, currency),
            value_at_low=at_low,
            value_at_high=at_high,
            source=entry.source if entry.estimate else GIVEN,
            turns_at=_turn(entry, mean, worth, currency),
            settled_by=_question(entry),
            worth_knowing=gain_from_knowing(mean, abs(at_high - at_low) / (2 * NORMAL_95)),
        )


def _ends(entry: Entry) -> tuple[float, float]:
    """The likely ends of an entry, as shares of what it was reckoned with."""
    estimate = entry.estimate
    if estimate is None or not estimate.is_range:
        return 1 - TENTH, 1 + TENTH
    return estimate.low / entry.drawn, estimate.high / entry.drawn


def _amount(entry: Entry, share: float, currency: str) -> str:
    """An entry's figure at a share of what it was reckoned with: `18 USD a week`."""
    if entry.estimate is None:
        change = "less" if share < 1 else "more"
        return f"{figure(100 * abs(share - 1))} % {change} than now"
    per = f" a {entry.per}" if entry.per == "week" else " an hour" if entry.per else ""
    return f"{figure(entry.drawn * share, 3)} {currency}".rstrip() + per


def _question(entry: Entry) -> str:
    if entry.estimate is not None and entry.estimate.is_range:
        return f"get a written offer that fixes the {entry.name.removeprefix('the ')}"
    return ""


def _turn(entry: Entry, mean: float, worth: float, currency: str) -> str:
    """The figure at which the net present value is 0, where it is within reach."""
    share = 1 - mean / worth if worth else -1.0
    if not 1 / REACH < share < REACH:
        return ""
    return _amount(entry, share, currency)


def _drawn_movers(values: np.ndarray, draws: Mapping, doubts: Mapping[str, Doubt]):
    mean = float(values.mean())
    names = [name for name in draws if name in doubts]
    if not names:
        return
    z = np.column_stack([draws[name] for name in names])
    for place, slope, error in effects(z, values):
        doubt, turn = doubts[names[place]], -mean / slope
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


def effects(z: np.ndarray, values: np.ndarray) -> list[tuple[int, float, float]]:
    """The columns of z (runs, draws) that move the values: (column, slope, standard error).

    Forward selection: the draw that explains most of what is left is taken in, and all slopes are
    fitted anew, until its t is below the Bonferroni quantile for all draws together.
    """
    runs, count = z.shape
    z, values = z - z.mean(axis=0), values - values.mean()
    taken: list[int] = []
    found: list[tuple[int, float, float]] = []
    while len(taken) < min(MOST_MOVERS, count, runs - 4):
        slopes, left = _fitted(z[:, taken], values)
        size = np.sqrt((z**2).sum(axis=0) * max((left**2).sum(), 1e-300))
        likeness = np.abs(left @ z) / np.where(size > 0, size, np.inf)
        likeness[taken] = 0.0
        best = int(likeness.argmax())
        freedom = runs - len(taken) - 2
        if likeness[best] ** 2 * (freedom + _quantile(count, freedom) ** 2) < (
            _quantile(count, freedom) ** 2
        ):
            break
        taken.append(best)
    if taken:
        slopes, left = _fitted(z[:, taken], values)
        variance = (left**2).sum() / (runs - len(taken) - 1)
        errors = np.sqrt(variance * np.diag(np.linalg.pinv(z[:, taken].T @ z[:, taken])))
        found = [
            (column, float(slope), float(error))
            for column, slope, error in zip(taken, slopes, errors, strict=True)
            if slope
        ]
    return found


def _fitted(z: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(slopes, what is left) of least squares on the centred columns."""
    if not z.shape[1]:
        return np.zeros(0), values
    slopes = np.linalg.lstsq(z, values, rcond=None)[0]
    return slopes, values - z @ slopes


def _quantile(draws: int, freedom: int) -> float:
    """t above which one of so many draws lies by chance in ERROR_SHARE of all cases."""
    from scipy.special import stdtrit  # slow to import beside all that does not simulate

    return float(stdtrit(freedom, 1 - ERROR_SHARE / (2 * draws)))


def range_mover(
    name: str,
    ends: tuple[str, str],
    at_ends: tuple[float, float],
    mean: float,
    settled_by: str = "",
) -> Mover:
    """A mover found by simulating again at both ends."""
    low, high = at_ends
    worth = gain_from_knowing(mean, abs(high - low) / (2 * NORMAL_95))
    return Mover(name, *ends, low, high, GIVEN, settled_by=settled_by, worth_knowing=worth)
