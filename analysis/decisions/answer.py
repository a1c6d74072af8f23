"""The answer to one scenario, as the command line, the screen and the memo read it.

Frozen, plain figures and texts. Money is in the shop's currency; `None` is "not known" or "does not
happen" (a payback that never comes), never infinity or NaN. Figures of a week are averages over the
horizon; a `Spread` is taken over the runs, each of which draws what is not known for certain anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DO, DO_NOT, NOT_YET, NOTHING = "do it", "do not do it", "not yet", "changes nothing"
MEASURED, ASSUMED, PUBLISHED, GIVEN = "measured", "assumed", "published", "given"
PROPOSED = "proposed"  # by the program, and neither changed nor confirmed by who asks

# What a sentence of the answer is about, so that a page can choose and fold.
WORTH, SURE, GIVEN_UP, OUT_OF_POCKET = "worth", "how sure", "given up", "out of pocket"
SOLD, HOURS, HELPER, ORDERS, ASKED_FOR = "sold", "hours", "helper", "orders", "demand"
ENOUGH = "enough made"  # all that is asked for is made already
AT_MOST = "at most"  # what its own price may come to


@dataclass(frozen=True)
class Spread:
    """Mean and percentiles over the runs: in nine of ten runs it lies between p5 and p95."""

    mean: float | None
    p5: float | None
    p50: float | None
    p95: float | None


@dataclass(frozen=True)
class FiniteSpread(Spread):
    """A spread of what comes to a number in every run."""

    mean: float
    p5: float
    p50: float
    p95: float


@dataclass(frozen=True)
class Situation:
    """An average week, before or after, or the difference of the two run by run.

    lead_time_hours: from the start of a batch to its end, by the clock, nights included; spread of
    the runs' means. idle: at the bench without work. contribution: sales less material of what was
    sold or spoiled. cash: contribution less wages, rent, upkeep and power; one-off payments are
    not in it.
    """

    good_units_per_week: FiniteSpread
    sold_per_week: FiniteSpread
    lost_demand_per_week: FiniteSpread
    lead_time_hours: Spread
    bench_hours_per_week: FiniteSpread
    idle_hours_per_week: FiniteSpread
    contribution_per_week: FiniteSpread
    cash_per_week: FiniteSpread


@dataclass(frozen=True)
class Stop:
    """Giving up at the end of a week: cash until then against going on as before (not discounted,
    nothing sold again, a deposit back), rent still owed taken off; rent_owed: that rent, mean."""

    after_weeks: int
    money: FiniteSpread
    rent_owed: float


@dataclass(frozen=True)
class Bearable:
    """The most that a price the change asks for may come to, all else as reckoned: of a room, an
    hour of a helper, a machine. In the shop's currency, `per` week, h or once ("").

    given: what is reckoned with (mean); is_range: it is in doubt. at_most: fixed at less, the
    verdict would be DO; breaks_even: fixed there, the mean net present value is 0; low, high: it is
    0 between them in nine of ten runs. Each may lie below 0: then no price is low enough.
    """

    name: str
    per: str
    given: float
    at_most: float
    breaks_even: float
    low: float
    high: float
    is_range: bool = False


@dataclass(frozen=True)
class Money:
    """What the change is worth, over the horizon, against going on as before.

    net_present_value: all differences in cash, one-off payments included, at today's worth.
    payback_weeks: simple (not discounted, resale and deposit left out), from the start until what
    came in has covered what was paid, for good; a percentile is None where that run does not pay
    back, the mean where any does not. pieces_until_paid: pieces sold until then, None likewise.
    probability_of_gain: that the net present value is above 0.
    error: standard error of the mean net present value, from so many runs.
    break_even_demand_per_week: pieces asked for in a week, all products together in today's mix, at
    which the mean net present value is 0, demand fixed there; None where none up to
    `break_even_searched_to` does (0: not looked for). It lies between break_even_low and _high in
    nine of ten cases; None where that end cannot be told.
    best_net_present_value, best_error, best_demand_per_week: the most that any demand looked at
    brings, where none pays; None otherwise.
    demand_now_per_week: with no growth; value_now, value_now_error: the net present value there and
    its standard error, None where it is the demand reckoned with, or not looked for.
    deepest, deepest_low: the most money out of pocket against going on as before, in the middle of
    the runs and in one of twenty, both 0 or more; deepest_week: when, in the middle of the runs.
    worth_per_week: the mean net present value spread evenly over the horizon (annuity).
    paid_at_start: machines, fit-out and deposit, mean.
    stops: what is left of it where it is given up on the way.
    bearable: the most that what it asks for may cost.
    """

    net_present_value: FiniteSpread
    payback_weeks: Spread
    pieces_until_paid: Spread
    probability_of_payback: float
    probability_of_gain: float
    break_even_demand_per_week: float | None
    break_even_searched_to: float
    demand_per_week: float
    worth_per_week: float
    paid_at_start: float
    error: float = 0.0
    break_even_low: float | None = None
    break_even_high: float | None = None
    best_net_present_value: float | None = None
    best_error: float = 0.0
    best_demand_per_week: float | None = None
    demand_now_per_week: float | None = None
    value_now: float | None = None
    value_now_error: float = 0.0
    deepest: float = 0.0
    deepest_low: float = 0.0
    deepest_week: int = 0
    stops: tuple[Stop, ...] = ()
    bearable: tuple[Bearable, ...] = ()


@dataclass(frozen=True)
class Mover:
    """One assumption that moves the answer (one bar of the tornado).

    low, high: its likely ends, in `unit`, as text ready to read; value_at_low, value_at_high: mean
    net present value there, all else as it comes. source: how it is known (MEASURED, ASSUMED,
    PUBLISHED, GIVEN). turns_at: text of the value at which the net present value is 0, "" where
    none within reach does. error: standard error of the swing, 0 where reckoned exactly. tried:
    one figure was given, and the ends are a tenth less and more, to see what it moves.
    settled_by: what would settle it, "" where nothing in reach would.
    worth_knowing: what doing so before deciding is worth in money (effects taken as linear).
    """

    name: str
    low: str
    high: str
    value_at_low: float
    value_at_high: float
    source: str
    turns_at: str = ""
    error: float = 0.0
    settled_by: str = ""
    worth_knowing: float = 0.0
    tried: bool = False

    @property
    def swing(self) -> float:
        """How far it moves the net present value from end to end, in money."""
        return abs(self.value_at_high - self.value_at_low)

    @property
    def turns(self) -> bool:
        """Whether it is a gain at one end and a loss at the other."""
        return (self.value_at_low < 0) != (self.value_at_high < 0)


@dataclass(frozen=True)
class Said:
    """One sentence of the answer. about: what it tells, one of the kinds above."""

    about: str
    text: str


@dataclass(frozen=True)
class MoneyLine:
    """One part of what a change costs and brings, against going on as before; in > 0, out < 0.

    what, when: in words, as `Rent, what is added`, `60 a week`. amount: over the whole time, not
    discounted; worth: at today's worth, mean. Both in the shop's currency.
    """

    what: str
    when: str
    amount: FiniteSpread
    worth: float


@dataclass(frozen=True)
class Stretch:
    """Some weeks' money against going on as before, not discounted, what is got back at the end
    in it. first_week = last_week = 0: what is paid before the first one. money: mean; so_far: from
    the start until its end."""

    first_week: int
    last_week: int
    money: float
    so_far: FiniteSpread


@dataclass(frozen=True)
class Assumption:
    """One thing the answer rests on, in plain words, and how it is known."""

    what: str
    value: str
    source: str


@dataclass(frozen=True)
class Path:
    """Week by week (arrays of length horizon + 1, the start first): for the charts.

    cumulative_*: cash so far against going on as before, not discounted, resale left out; p5, p50,
    p95 over the runs.
    """

    week: np.ndarray
    cumulative_p5: np.ndarray
    cumulative_p50: np.ndarray
    cumulative_p95: np.ndarray


@dataclass(frozen=True)
class Answer:
    """One scenario answered.

    verdict: DO, DO_NOT, NOT_YET or NOTHING. condition: on what it hangs, of what was given as a
    range or is otherwise today, as `demand grows by at least about 12 %`; "" where nothing of that
    turns it. headline: the verdict in one sentence a maker would say. said: what it earns, how
    sure, what it does, in reading order. bill: every part of the money, the last line all together,
    whose worth is the mean net present value. stretches: the same by the calendar. must_be_true:
    what would have to be true for it to pay (or to stop paying). settle: which laps or which
    question would settle it, "" where nothing open could turn the answer. movers: largest first;
    unmoving: the names of what was looked at and hardly moves it. searched: other values were
    simulated; before that there are no movers, no break-even and nothing that would settle it.
    cautions_heading: as `Before anything is signed or the machine is in use`. net_present_values:
    one a run. walk_hours_saved: a week, mean; None where walks stay as they are. stopped: fewer
    runs than asked, by the user.
    """

    name: str
    currency: str
    horizon_weeks: int
    discount_rate_per_year: float
    runs: int
    seed: int
    stopped: bool
    baseline: Situation
    changed: Situation
    difference: Situation
    money: Money
    verdict: str
    headline: str
    said: tuple[Said, ...]
    bill: tuple[MoneyLine, ...]
    stretches: tuple[Stretch, ...]
    must_be_true: tuple[str, ...]
    settle: str
    movers: tuple[Mover, ...]
    assumptions: tuple[Assumption, ...]
    cautions_heading: str
    cautions: tuple[str, ...]
    path: Path
    net_present_values: np.ndarray
    condition: str = ""
    unmoving: tuple[str, ...] = ()
    searched: bool = True
    walk_hours_saved: float | None = None

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is said below the headline, one sentence each, in reading order."""
        return tuple(one.text for one in self.said)

    def about(self, *kinds: str) -> tuple[str, ...]:
        """The sentences about some of it, in reading order."""
        return tuple(one.text for one in self.said if one.about in kinds)


@dataclass(frozen=True)
class SoFar:
    """What is known while the weeks are still being simulated: the estimate so far.

    scenario: its name, "" while the shop as it is is simulated. runs_done of runs_wanted.
    net_present_value: of the runs done, None before there is a change to compare. other_values: how
    many have been simulated again since all runs are done, now: which figure.
    """

    scenario: str
    runs_done: int
    runs_wanted: int
    sold_per_week: FiniteSpread
    net_present_value: FiniteSpread | None = None
    other_values: int = 0
    now: str = ""


def spread(values: np.ndarray) -> Spread:
    """The spread of one value a run; runs at infinity (it never happens) count, NaN do not.

    Percentiles are order statistics of the runs ("inverted_cdf"), so that a percentile among runs
    that never get there is None, and no figure is drawn between a number and never.
    """
    values = np.asarray(values, float)
    values = values[~np.isnan(values)]
    if not len(values):
        return Spread(None, None, None, None)
    ends = np.quantile(values, [0.05, 0.5, 0.95], method="inverted_cdf")
    mean = values.mean() if np.isfinite(values).all() else np.inf
    return Spread(*(float(v) if np.isfinite(v) else None for v in (mean, *ends)))


def finite_spread(values: np.ndarray) -> FiniteSpread:
    """The spread of values, one a run; ValueError where one does not come to a number."""
    found = spread(values)
    known = [end for end in (found.mean, found.p5, found.p50, found.p95) if end is not None]
    mean, p5, p50, p95 = known
    return FiniteSpread(mean, p5, p50, p95)
