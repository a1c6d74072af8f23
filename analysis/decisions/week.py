"""An average week before and after, as it is shown: rounded so that the three figures agree."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.decisions.answer import Answer, Spread

IN_MONEY = ("contribution_per_week", "cash_per_week")
TENTHS_BELOW = 99.5  # a difference that reads as 100 or more is shown in whole units


@dataclass(frozen=True)
class WeekRow:
    """One figure of the week, rounded to `places` behind the point; None where not known.

    difference is after less before as they are shown, so that who subtracts finds it. low, high:
    where the difference lies in nine of ten runs.
    """

    places: int
    before: float | None
    after: float | None
    difference: float | None
    low: float | None
    high: float | None


def week_row(answer: Answer, name: str, unit: float = 1.0) -> WeekRow:
    """A figure of `Situation` by its name, in `unit`s (24 makes days of hours).

    To tenths, or to whole numbers where the difference, or money, has three digits before it.
    """
    before, after = (getattr(week, name).mean for week in (answer.baseline, answer.changed))
    apart: Spread = getattr(answer.difference, name)
    sizes = [apart.mean, apart.p5, apart.p95]
    if name in IN_MONEY:
        sizes += [before, after]
    places = 1 if max(abs(size or 0) / unit for size in sizes) < TENTHS_BELOW else 0

    def shown(value: float | None) -> float | None:
        return None if value is None else round(value / unit, places) + 0.0

    was, then = shown(before), shown(after)
    difference = None if was is None or then is None else round(then - was, places) + 0.0
    return WeekRow(places, was, then, difference, shown(apart.p5), shown(apart.p95))
