"""An average week as it is shown: three figures that agree, whatever rounding does."""

from dataclasses import dataclass, replace

import pytest

from analysis.decisions.answer import Situation, Spread
from analysis.decisions.week import week_row

NOTHING = Spread(0.0, 0.0, 0.0, 0.0)
WEEK = Situation(*[NOTHING] * 8)


@dataclass
class Weeks:
    """What `week_row` reads of an answer."""

    baseline: Situation
    changed: Situation
    difference: Situation


def weeks(name, before, after, low=None, high=None):
    def week(mean, p5, p95):
        return replace(WEEK, **{name: Spread(mean, p5, mean, p95)})

    apart = None if after is None else after - before
    return Weeks(
        week(before, before, before), week(after, after, after),
        week(apart, apart if low is None else low, apart if high is None else high),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("before", "after", "shown"),
    [
        (40.6, 40.4, (40.6, 40.4, -0.2)),  # 41, 40 and 0 in whole hours
        (40.64, 40.36, (40.6, 40.4, -0.2)),  # -0.28 by itself would be -0.3
        (118.24, 117.87, (118.2, 117.9, -0.3)),
        (1525.4, 1712.7, (1525, 1713, 188)),
        (0.0, 0.0, (0.0, 0.0, 0.0)),
    ],
)
def test_who_subtracts_what_is_shown_finds_the_difference_that_is_shown(before, after, shown):
    row = week_row(weeks("bench_hours_per_week", before, after), "bench_hours_per_week")
    assert (row.before, row.after, row.difference) == shown


def test_money_has_no_tenths_beside_thousands_and_hours_can_be_days():
    row = week_row(weeks("cash_per_week", 1525.4, 1507.2), "cash_per_week")
    assert (row.places, row.before, row.after, row.difference) == (0, 1525, 1507, -18)
    row = week_row(weeks("lead_time_hours", 363.2, 370.6, -0.2, 17.4), "lead_time_hours", 24)
    assert (row.before, row.after, row.difference, row.low, row.high) == (15.1, 15.4, 0.3, 0.0, 0.7)


def test_what_is_not_known_has_no_difference():
    row = week_row(weeks("lead_time_hours", 30.0, None), "lead_time_hours")
    assert (row.before, row.after, row.difference) == (30.0, None, None)
