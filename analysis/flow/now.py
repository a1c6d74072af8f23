"""What now: the rest of the session planned again from the laps logged so far, and the next task.

A piece counts as done when its lap ended; lost pieces leave the batch; what dries does so until
its wait is over, whoever is looking. Who is not here cannot be planned for: what only they can do,
and all that comes behind it, is named and left out.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import pandas as pd

from analysis.flow.plan import Block, by_worker, merged
from analysis.flow.search import improve
from analysis.flow.work import TICKS, Begun, Operation, Work, ancestors
from analysis.records.figures import clock

TRIES = 40  # a plan for the next hour: the phone waits for it
WORKED = ("operation", "inspection")


@dataclass(frozen=True)
class Next:
    """One person's next task. starts_at is later than now where they must wait for it."""

    worker: str
    operation: str
    activity: str  # operation, setup, wait, done
    product: str
    variant: str
    pieces: int
    starts_at: datetime
    ends_at: datetime
    sentence: str


@dataclass(frozen=True)
class Waiting:
    """Pieces that dry, cure or cool, and until when the last of them does."""

    operation: str
    product: str
    variant: str
    pieces: int
    until: datetime


@dataclass(frozen=True)
class Now:
    """next: one row a worker here. waiting: what dries. left_out: operations that those here cannot
    do on every piece, and those behind them. ends_at: when the last work that can be done ends."""

    next: tuple[Next, ...]
    waiting: tuple[Waiting, ...]
    left_out: tuple[str, ...]
    ends_at: datetime


def what_now(
    work: Work,
    laps: pd.DataFrame,
    batch_names: Sequence[str],
    here: Sequence[str],
    now: datetime,
    *,
    stop: Callable[[], bool] | None = None,
) -> Now:
    """What each person here should do next.

    work: of the batches under way, from `work_of` with everybody's names, here or not.
    laps: checked laps; batch_names: the name that each of `work.batches` has in them.
    now: aware. Working hours, where wanted, are those of `on_the_calendar(work, week, now)`.
    """
    begun = _begun(work, laps, batch_names, now)
    whole = _less_lost(work, laps, batch_names)
    rest = _for_those_here(whole, begun, here)
    plan = improve(rest, TRIES, 0, stop=stop or (lambda: False))
    blocks = merged(rest, list(plan.blocks)) if plan else []
    rows = by_worker(rest, blocks)
    following = tuple(_next(rest, w, rows[w], now) for w in range(len(rest.workers)))
    left_out = dict.fromkeys(
        o.name
        for o, all_of_it in zip(rest.operations, whole.operations, strict=True)
        if o.units < all_of_it.units
    )
    end = max((block.end for block in blocks), default=0)
    return Now(following, _waiting(rest, now), tuple(left_out), _moment(now, end))


def _own_laps(work: Work, laps: pd.DataFrame, names: Sequence[str], place: int) -> pd.DataFrame:
    """The laps of one of the batches. Where a number covers several variants, a lap that names
    none of them counts for the first."""
    batch = work.batches[place]
    named = [
        other.variant
        for name, other in zip(names, work.batches, strict=True)
        if (name, other.product) == (names[place], batch.product)
    ]
    own = laps["batch"].astype(str).eq(names[place]) & laps["product"].astype(str).eq(batch.product)
    if len(named) > 1:
        variant = laps["variant"].astype(str)
        stray = ~variant.isin(named) if batch.variant == named[0] else False
        own &= variant.eq(batch.variant) | stray
    return laps[own]


def _begun(work: Work, laps: pd.DataFrame, names: Sequence[str], now: datetime) -> Begun:
    """Pieces and setups done, in ticks before now."""
    left: list[tuple[int, ...]] = []
    rows = [_own_laps(work, laps, names, place) for place in range(len(names))]
    gone = _lost_later(work, rows)
    for operation, lost in zip(work.operations, gone, strict=True):
        own = rows[operation.batch]
        done = own[own["operation"].eq(operation.name) & own["activity"].isin(WORKED)]
        left.append(_leaves(done, now)[lost:])
    setups, every = [], pd.concat([laps.iloc[:0], *rows])
    made = every[every["activity"].eq("setup")]
    for number, setup in enumerate(work.setups):
        done = [
            _ticks_before(now, row.started_at, row.seconds) + setup.wait
            for row in made[made["operation"].eq(setup.name)].itertuples()
        ]
        begun = any(left[i] for i, o in enumerate(work.operations) if o.setup == number)
        setups.append(min(done) if done else (0 if begun else None))
    return Begun(tuple(left), tuple(setups))


def _lost_later(work: Work, rows: Sequence[pd.DataFrame]) -> list[int]:
    """Pieces that went through an operation and were lost at one behind it: they are out of the
    batch, and stand for none that is still to be done. Those that went first are taken for lost."""
    lost = [rows[o.batch].loc[rows[o.batch]["operation"].eq(o.name), "scrap_units"].sum()
            for o in work.operations]  # fmt: skip
    later = [0] * len(lost)
    for place, before in enumerate(ancestors(work)):
        for passed in before:
            later[passed] += int(lost[place])
    return later


def _leaves(done: pd.DataFrame, now: datetime) -> tuple[int, ...]:
    """When each piece of these laps left, lost ones off; pieces leave a lap one by one."""
    times = []
    for row in done.itertuples():
        kept = int(row.units) - int(row.scrap_units)
        share = row.seconds / row.units
        end = _ticks_before(now, row.started_at, row.seconds)
        times += [min(end - round((row.units - k) * share * TICKS), 0) for k in range(1, kept + 1)]
    return tuple(sorted(times))


def _ticks_before(now: datetime, started_at: pd.Timestamp, seconds: float) -> int:
    return min(0, round(((started_at - pd.Timestamp(now)).total_seconds() + seconds) * TICKS))


def _less_lost(work: Work, laps: pd.DataFrame, names: Sequence[str]) -> Work:
    """Batches without the pieces lost on the way."""
    lost = [
        int(_own_laps(work, laps, names, place)["scrap_units"].sum()) for place in range(len(names))
    ]
    operations = tuple(replace(o, units=max(o.units - lost[o.batch], 0)) for o in work.operations)
    return replace(work, operations=operations)


def _for_those_here(work: Work, begun: Begun, here: Sequence[str]) -> Work:
    """The work for the people here: pieces as far as they can bring them."""
    known = [work.workers.index(name) for name in here if name in work.workers]
    place = {worker: new for new, worker in enumerate(known)}
    strangers = [name for name in here if name not in work.workers]
    anybody = tuple(range(len(known), len(here)))

    def can(workers: tuple[int, ...]) -> tuple[int, ...]:
        own = tuple(place[w] for w in workers if w in place)
        return own + (anybody if len(workers) == len(work.workers) else ())

    operations = [replace(o, workers=can(o.workers)) for o in work.operations]
    setups = tuple(replace(s, workers=can(s.workers)) for s in work.setups)
    left = tuple(row[: o.units] for row, o in zip(begun.left, operations, strict=True))
    for index, o in enumerate(operations):
        unset = o.setup >= 0 and begun.setups[o.setup] is None and not setups[o.setup].workers
        done = len(left[index])
        reach = done if unset or not o.workers else o.units
        reach = min([reach, *(operations[before].units for before, _ in o.before)])
        operations[index] = replace(o, units=max(reach, done))
    names = tuple(work.workers[w] for w in known) + tuple(strangers)
    return replace(work, operations=tuple(operations), setups=setups, workers=names,
                   begun=Begun(left, begun.setups))  # fmt: skip


def _moment(now: datetime, ticks: int) -> datetime:
    return now + timedelta(seconds=ticks / TICKS)


def _waiting(work: Work, now: datetime) -> tuple[Waiting, ...]:
    rows: list[Waiting] = []
    if work.begun is None:
        return ()
    for operation, left in zip(work.operations, work.begun.left, strict=True):
        still = [t + operation.wait for t in left if t + operation.wait > 0]
        if still:
            batch = work.batches[operation.batch]
            rows.append(Waiting(operation.name, batch.product, batch.variant, len(still),
                                _moment(now, max(still))))  # fmt: skip
    return tuple(sorted(rows, key=lambda row: row.until))


def _next(work: Work, worker: int, row: list[Block], now: datetime) -> Next:
    """The first task of a worker's row, in a sentence."""
    name = work.workers[worker]
    if not row:
        sentence = f"{name}: nothing left to do here."
        return Next(name, "", "done", "", "", 0, now, now, sentence)
    first = _in_one_go(row)
    if first.is_setup:
        setup = work.setups[first.index]
        what, product, variant, doing = setup.name, "", "", f"set up {setup.name}"
    else:
        own: Operation = work.operations[first.index]
        batch = work.batches[own.batch]
        what, product, variant = own.name, batch.product, batch.variant
        doing = f"{what}, {first.units} of {product} {variant}".rstrip()
    starts, ends = _moment(now, first.start), _moment(now, first.end)
    minutes = max(1, round((first.end - first.start) / TICKS / 60))
    about = f"about {minutes} min, until {clock(ends)}"
    if first.start >= 60 * TICKS:
        sentence = f"{name}: nothing until {clock(starts)}; then {doing} ({about})."
        activity = "wait"
    else:
        sentence = f"{name}: {doing} ({about})."
        activity = "setup" if first.is_setup else "operation"
    return Next(name, what, activity, product, variant, first.units, starts, ends, sentence)


def _in_one_go(row: list[Block]) -> Block:
    """The first block with those that go on with it after less than a minute's pause."""
    first = row[0]
    for block in row[1:]:
        goes_on = block.start - first.end <= 60 * TICKS and not first.is_setup
        if not goes_on or (block.is_setup, block.index) != (first.is_setup, first.index):
            break
        first = first._replace(end=block.end, units=first.units + block.units)
    return first
