"""Which assumption moves the answer: each at its likely low and high end, all else as it comes.

Three kinds, told apart by how their effect is found:
- money (prices, wages, rent): exactly, since the net present value is in proportion to each entry;
- what every run draws anew (times, practice, faults, a machine's or a helper's range): the ranges
  given, and those that move it by least squares of the runs' net present values on the draws, taken
  in one by one, the strongest first, as long as chance among so many draws would not show one as
  strong (Bonferroni, ERROR_SHARE); what is told of them is simulated again at either end
  (`again.py`), since a straight line gets the ends of a bent effect wrong;
- demand: likewise (`demand.py`).
A figure given as sure is moved by TENTH up and down: common practice, no source.

What knowing one of them is worth before deciding is the unit normal loss integral of its part of
the net present value (`money.gain_from_knowing`), effects taken as linear.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from analysis.decisions.again import Again
from analysis.decisions.answer import GIVEN, Mover
from analysis.decisions.break_even import crossing
from analysis.decisions.change import DEMAND_DOUBT
from analysis.decisions.doubts import TENTH, Doubt
from analysis.decisions.ledger import Entry, Ledger
from analysis.decisions.money import NORMAL_95, gain_from_knowing
from analysis.decisions.sentences import price_words
from analysis.records.figures import figure

ERROR_SHARE = 0.05
MOST_MOVERS = 10
MOST_AGAIN = 5  # drawn figures that are simulated again; weaker ones are not told
LEAST = 0.01  # of the largest swing: smaller ones are not shown
CLOSE = 0.05  # standard deviations: nearer a turn is not looked for
REACH = 2.0  # times as much, or as little, may still be said to be within reach


def movers(
    again: Again,
    doubts: Mapping[str, Doubt],
    demand: Mover | None,
    currency: str = "",
) -> tuple[tuple[Mover, ...], tuple[str, ...]]:
    """(what moves the answer, largest first, at most MOST_MOVERS; the names of what was looked at
    and moves it by less than the figures told would show)."""
    ledger = again.compared.ledger
    money = _money_movers(ledger, float(again.drawn.mean()), currency)
    found = [*money, *_drawn_movers(again, doubts, demand), *([demand] if demand else [])]
    found.sort(key=lambda mover: -mover.swing)
    least = LEAST * max((mover.swing for mover in found), default=0.0)
    told = [mover for mover in found if mover.swing > least and _shows(mover)]
    still = tuple(mover.name for mover in found if mover not in told)
    return tuple(told[:MOST_MOVERS]), still


def _shows(mover: Mover) -> bool:
    """Whether its two ends differ as they are written, and by more than chance."""
    written = figure(mover.value_at_low) != figure(mover.value_at_high)
    return written and mover.swing > NORMAL_95 * mover.error


def _money_movers(ledger: Ledger, mean: float, currency: str) -> Iterator[Mover]:
    for entry in ledger.entries:
        if not entry.flows.any():  # a price of 0: there is no more or less of it
            continue
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
            tried=entry.estimate is None or not entry.estimate.is_range,
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
    return price_words(entry.drawn * share, entry.per, currency)


def _question(entry: Entry) -> str:
    if entry.estimate is not None and entry.estimate.is_range:
        return f"get a written offer that fixes the {entry.name}"
    return ""


def _turn(entry: Entry, mean: float, worth: float, currency: str) -> str:
    """The figure at which the net present value is 0, where it is within reach."""
    share = 1 - mean / worth if worth else -1.0
    if not 1 / REACH < share < REACH:
        return ""
    return _amount(entry, share, currency)


def _drawn_movers(
    again: Again, doubts: Mapping[str, Doubt], demand: Mover | None
) -> Iterator[Mover]:
    """What the runs drew and what moves the answer, simulated again at both ends."""
    draws = {**again.compared.before.draws, **again.compared.after.draws}
    names = [name for name in draws if name in doubts]
    if not names:
        return
    z = np.column_stack([draws[name] for name in names])
    strong = sorted(effects(z, again.drawn), key=lambda effect: -abs(effect[1]))
    given = [name for name in names if doubts[name].source == GIVEN]
    told = dict.fromkeys([*(names[place] for place, *_ in strong), *given])
    if demand:  # simulated already
        told.pop(DEMAND_DOUBT, None)
    for name in list(told)[:MOST_AGAIN]:
        yield _drawn_mover(again, name, doubts[name])


def _drawn_mover(again: Again, name: str, doubt: Doubt) -> Mover:
    low, high = again.with_draw(name, -NORMAL_95), again.with_draw(name, NORMAL_95)
    mean, apart = float(again.drawn.mean()), high.values - low.values
    turn = None
    if (low.mean < 0) != (high.mean < 0):
        turn = crossing(lambda z: again.with_draw(name, z).mean, -NORMAL_95, NORMAL_95, CLOSE)
    deviation = abs(high.mean - low.mean) / (2 * NORMAL_95)
    return Mover(
        name=doubt.name,
        low=doubt.words(-NORMAL_95),
        high=doubt.words(NORMAL_95),
        value_at_low=low.mean,
        value_at_high=high.mean,
        source=doubt.source,
        turns_at="" if turn is None else doubt.words(turn),
        error=float(apart.std(ddof=1) / np.sqrt(len(apart))) if len(apart) > 1 else 0.0,
        settled_by=doubt.settled_by,
        worth_knowing=gain_from_knowing(mean, deviation * doubt.told_by_laps),
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
