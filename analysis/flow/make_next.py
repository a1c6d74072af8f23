"""What to make next: which variants and how many of each, in the hours left this week.

Each line (product, variant) may be made in whole batches. Made are pieces that will be sold: what
demand takes until the horizon, less what is on the shelf and under way. Among these the lines that
earn most per hour of the bottleneck come first (trade: contribution per bottleneck hour), until
the hours are used up; the last batch may be cut to the hours left. What runs out before the next
chance to make it is marked urgent and stands before all others.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import ceil, floor, inf

import pandas as pd

from analysis.flow.work import skills
from analysis.records.figures import number
from analysis.records.shop import DAYS


@dataclass(frozen=True)
class Line:
    """What could be made. Money and seconds are per good piece; None where not known.

    earning: price less material and what else each piece costs. bottleneck_seconds: what a piece
    takes of the scarcest person or station. setup_seconds: once a batch. under_way: pieces begun.
    """

    product: str
    variant: str
    stock: float
    demand_per_week: float | None
    batch_size: int
    earning: float | None
    bottleneck_seconds: float
    setup_seconds: float = 0.0
    under_way: float = 0.0


@dataclass(frozen=True)
class Make:
    """One line of the answer; pieces 0 and `why` where it was left out."""

    product: str
    variant: str
    pieces: int
    hours: float
    earns: float | None
    earning_per_bottleneck_hour: float | None
    lasts_days: float | None
    urgent: bool
    why: str


@dataclass(frozen=True)
class MakeNext:
    """make: in the order to make them; left_out: the rest, each with why."""

    make: tuple[Make, ...]
    left_out: tuple[Make, ...]
    hours_left: float
    hours_used: float


def make_next(
    lines: Sequence[Line], hours_left: float, *, cover_weeks: float = 2.0, urgent_days: float = 4.0
) -> MakeNext:
    """What to make in `hours_left` bottleneck hours.

    cover_weeks: stock is built up to demand of so many weeks, no further (unsold stock earns
    nothing). urgent_days: what lasts no longer than this is made before all else.
    """
    made, left, hours = list[Make](), list[Make](), max(hours_left, 0.0)
    for line in sorted(lines, key=lambda one: _turn(one, urgent_days)):
        pieces, why = _wanted(line, cover_weeks)
        if pieces and hours <= 0:
            pieces, why = 0, "no hours left this week"
        if pieces:
            pieces, why = _fitting(line, pieces, hours)
        needed = _hours(line, pieces)
        hours -= needed
        row = _make(line, pieces, needed, urgent_days, why)
        (made if pieces else left).append(row)
    return MakeNext(tuple(made), tuple(left), hours_left, sum(row.hours for row in made))


def _turn(line: Line, urgent_days: float) -> tuple[bool, float | None, float, str, str]:
    """Urgent ones first, the emptiest first; then earning per bottleneck hour; then by name."""
    days = _lasts(line)
    urgent = days is not None and days <= urgent_days
    rate = _rate(line)
    return (
        not urgent, days if urgent else 0.0, -(rate if rate is not None else -inf),
        line.product, line.variant,
    )  # fmt: skip


def _lasts(line: Line) -> float | None:
    """Days until what is on the shelf and under way is sold."""
    if not line.demand_per_week:
        return None
    return 7 * max(line.stock + line.under_way, 0.0) / line.demand_per_week


def _rate(line: Line) -> float | None:
    if line.earning is None:
        return None
    seconds = line.bottleneck_seconds + line.setup_seconds / max(line.batch_size, 1)
    return inf if seconds <= 0 else 3600 * line.earning / seconds


def _wanted(line: Line, cover_weeks: float) -> tuple[int, str]:
    """Pieces in whole batches until demand is covered, or 0 and why."""
    if not line.demand_per_week:
        return 0, "no demand known" if line.demand_per_week is None else "nobody asks for it"
    if line.earning is not None and line.earning <= 0:
        return 0, "each piece loses money"
    short = cover_weeks * line.demand_per_week - line.stock - line.under_way
    if short <= 0:
        weeks = (line.stock + line.under_way) / line.demand_per_week
        return 0, f"what is there lasts {number(weeks, 1)} weeks"
    batch = max(line.batch_size, 1)
    # A batch that would lie on the shelf by more than half is left for later.
    count = max(floor(short / batch + 0.5), 1 if short >= batch / 2 else 0)
    if not count:
        return 0, f"only {ceil(short)} short, less than half a batch"
    return count * batch, ""


def _fitting(line: Line, pieces: int, hours: float) -> tuple[int, str]:
    if _hours(line, pieces) <= hours:
        return pieces, ""
    batch = max(line.batch_size, 1)
    whole = pieces
    while whole > batch and _hours(line, whole) > hours:
        whole -= batch
    if _hours(line, whole) <= hours:
        return whole, f"{pieces - whole} more are wanted, no hours left for them"
    room = 3600 * hours - line.setup_seconds
    part = floor(room / line.bottleneck_seconds) if line.bottleneck_seconds > 0 else whole
    if part < batch / 2:
        return 0, "less than half a batch fits in the hours left"
    return part, f"cut from {pieces}: no hours left for more"


def _hours(line: Line, pieces: int) -> float:
    if not pieces:
        return 0.0
    setups = -(-pieces // max(line.batch_size, 1))
    return (setups * line.setup_seconds + pieces * line.bottleneck_seconds) / 3600


def _make(line: Line, pieces: int, hours: float, urgent_days: float, why: str) -> Make:
    days = _lasts(line)
    earns = None if line.earning is None else pieces * line.earning
    return Make(line.product, line.variant, pieces, hours, earns, _rate(line), days,
                days is not None and days <= urgent_days, why)  # fmt: skip


@dataclass(frozen=True)
class Scarcest:
    """What limits the week: its name (a person, a place, or "everybody together"), the hours of it
    there are in a week, the hours demand asks for, and its seconds per good piece by (product,
    variant)."""

    name: str
    hours_per_week: float
    hours_asked: float
    seconds: Mapping[tuple[str, str], float]


EVERYBODY = "everybody together"


def scarcest(
    content: pd.DataFrame,
    routing: pd.DataFrame | None,
    demand_per_week: Mapping[tuple[str, str], float],
    people: Mapping[str, float],
    open_hours: float,
) -> Scarcest:
    """Which hours run out first: everybody's, those of people alone able to do something, or those
    of a place.

    content: the study's frame (product, variant, operation, station, total_seconds per good piece).
    people: hours a week by name. A place is there while the shop is open; pieces that lie in it are
    left aside.
    """
    found = [Scarcest(EVERYBODY, sum(people.values()), 0.0, _seconds(content))]
    for names, own in _only_by(content, routing, people):
        hours = sum(people[name] for name in names)
        found.append(Scarcest(" or ".join(names), hours, 0.0, _seconds(own)))
    for station, own in content[content["station"].astype(str) != ""].groupby("station"):
        found.append(Scarcest(str(station), open_hours, 0.0, _seconds(own)))
    found = [replace(one, hours_asked=_asked(one, demand_per_week)) for one in found]
    return max(found, key=lambda one: one.hours_asked / max(one.hours_per_week, 1e-9))


def _only_by(
    content: pd.DataFrame, routing: pd.DataFrame | None, people: Mapping[str, float]
) -> Iterator[tuple[tuple[str, ...], pd.DataFrame]]:
    """(people, the content only they can do) for each set of skilled people."""
    if routing is None:
        return
    named = {
        (row.product, row.variant, row.operation): tuple(
            n for n in skills(row.skill) if n in people
        )
        for row in routing.itertuples()
    }
    rows = content[["product", "variant", "operation"]].astype(str)
    who = [  # a row of the variant counts before one for every variant
        named.get((product, variant, operation), named.get((product, "", operation), ()))
        for product, variant, operation in rows.itertuples(index=False)
    ]
    for names in sorted({one for one in who if one and len(one) < len(people)}):
        yield names, content[[set(one) <= set(names) and bool(one) for one in who]]


def _seconds(content: pd.DataFrame) -> dict[tuple[str, str], float]:
    sums = content.groupby(["product", "variant"], observed=True)["total_seconds"].sum()
    return {(str(p), str(v)): float(s) for (p, v), s in sums.items()}


def _asked(one: Scarcest, demand: Mapping[tuple[str, str], float]) -> float:
    return sum(one.seconds.get(key, 0.0) * pieces for key, pieces in demand.items()) / 3600


def open_hours_left(week: Mapping[str, tuple], now: datetime) -> float:
    """Open hours from now to the end of the week (Sunday); `now` in the shop's zone."""
    passed = now.hour * 3600 + now.minute * 60 + now.second
    days = DAYS[now.weekday() :]
    seconds = sum(
        max(0, end - max(begin, passed if place == 0 else 0))
        for place, day in enumerate(days)
        for begin, end in week.get(day, ())
    )
    return seconds / 3600
