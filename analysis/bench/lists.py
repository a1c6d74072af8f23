"""The page's lists, made from the store and kept until it changes.

Names come from all laps on record, by way of the kept day totals, so that nobody who returns after
a season finds a shorter list. Of each operation the last few laps are read one by one, by an index.
Recent laps are added up by the database, those before yesterday only once, until one of them
changes: a large store costs hardly more than a small one. The present normal seconds of each
operation come from the study, which takes seconds: it runs in a thread of its own, now and then,
and until it has an answer the planned seconds stand.
"""

from __future__ import annotations

import json
import logging
import threading
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from typing import TYPE_CHECKING

import pandas as pd
import sqlalchemy as sa

from analysis.bench import choices
from analysis.records.export import MARKS
from analysis.records.routing import read_routing
from analysis.records.shop import Shop, read_shop
from analysis.store import bench_batches, changes, documents, tables
from analysis.store.bench_tables import delivery
from analysis.store.connection import reading

if TYPE_CHECKING:  # the study is loaded in the thread that works it out
    from analysis.store.store import Store
    from analysis.study.summary import Study

DAY_MICROS = 86_400_000_000
RECENT_MICROS = 120 * DAY_MICROS
DOCUMENTS = ("shop", "routing")
REST_FACTOR = 30  # the study rests so many times as long as it took, so it never takes over
LEAST_REST_SECONDS = 60
THREAD = "bench-study"
FIXED = "fixed_here"  # the page's mark of a piece put right within its lap
NEVER = 2**63 - 1
_log = logging.getLogger(__name__)
_lap = tables.lap.c
NEWEST_FIRST = _lap.started_at.desc(), _lap.id.desc()
_COLUMNS = [_lap[name] for name in choices.RecentLap._fields]
_MADE_OF_ONE = (
    sa.select(_lap.started_at, _lap.id, *_COLUMNS[1:])
    .where(tables.COUNTS_NOW["lap"], _lap.product == sa.bindparam("product"))
    .where(_lap.operation == sa.bindparam("operation"), _lap.activity.in_(choices.MADE))
)
_OF_ONE = (
    _MADE_OF_ONE.order_by(*NEWEST_FIRST).limit(choices.USUAL_LAPS),
    _MADE_OF_ONE.order_by(_lap.started_at, _lap.id).limit(1),
)
_IN_A_SUM = {
    "started_at": sa.func.max(_lap.started_at),
    **{name: sa.func.sum(_lap[name])
       for name in ("seconds", "units", "scrap_units", "rework_units")},
}  # fmt: skip


class Lists:
    """The lists of one store as JSON."""

    def __init__(self, store: Store):
        self.store = store
        self._lock = threading.Lock()
        self._made: tuple[object, bytes] = (None, b"")
        self._present = PresentSeconds(store)
        self._labels = BatchLabels()
        self._earlier = EarlierLaps()

    def present(self, version: int) -> dict[tuple[str, str], float]:
        """Normal seconds a piece by (product, operation), as last worked out."""
        return self._present.latest(version).seconds

    def now(self) -> bytes:
        """The lists as they are now; asked for in a thread."""
        version = self.store.version()
        present = self._present.latest(version)
        with self._lock, reading(self.store.engine) as connection:
            stamp = (version, bench_batches.stamp(connection), id(present), _hour())
            if self._made[0] != stamp:
                self._made = (stamp, self._make(connection, version, present))
        moment = datetime.now(UTC).isoformat(timespec="milliseconds")
        return f'{{"server_time":"{moment}",'.encode() + self._made[1][1:]

    def _make(self, connection: sa.Connection, version: int, present: Present) -> bytes:
        now = time.time_ns() // 1000
        since = _since(connection, now)
        met = _met_names(connection)
        shop, routing = shop_and_routing(*(documents.text(connection, n) for n in DOCUMENTS))
        steps = choices.routes(routing)
        recent = self._earlier.with_the_rest(connection, since, shop.timezone)
        products = choices.products(
            shop, steps, recent, present.seconds, met, present.rushed_below,
            _last_laps(connection, met),
        )  # fmt: skip
        from_phones = bench_batches.latest(connection)
        ends = choices.route_ends(products)
        fixed = _fixed_on_the_spot(connection, since)
        answer = {
            "version": version,
            "shop": shop.name,
            "currency": shop.currency,
            "timezone": shop.timezone,
            "workers": choices.workers(shop, recent, met),
            "products": products,
            "causes": choices.causes(recent),
            "batches": choices.batches(recent, ends, from_phones, now, fixed),
            "next_batch": choices.next_batch(self._labels.all(connection, from_phones)),
        }
        return json.dumps(answer, ensure_ascii=False, separators=(",", ":")).encode()


class BatchLabels:
    """Every batch number there has been; all laps are asked once, then those of new changes."""

    def __init__(self) -> None:
        self._met: set[str] = set()
        self._change = 0  # the latest that these know of

    def all(self, connection: sa.Connection, from_phones: dict) -> set[str]:
        """The numbers of laps, however old, and of the batches `from_phones` (product, number)."""
        change = changes.latest(connection)
        if change != self._change:
            query = sa.select(_lap.batch).where(tables.COUNTS_NOW["lap"]).distinct()
            if self._change:
                query = query.where(_lap.change_id > self._change)
            self._met.update(connection.scalars(query))
            self._change = change
        return self._met | {label for _, label in from_phones}


class EarlierLaps:
    """Laps added up, as `added_up` does; those of earlier days only where one has changed."""

    def __init__(self) -> None:
        self._stands_for: tuple[object, ...] = ()
        self._change = 0  # the latest that these sums know of
        self._sums: list[choices.RecentLap] = []

    def with_the_rest(
        self, connection: sa.Connection, since: int, zone: str
    ) -> list[choices.RecentLap]:
        """The laps from `since` (microseconds UTC) on added up, newest first; `zone` is the shop's,
        which can move laps."""
        day = since + RECENT_MICROS - DAY_MICROS
        change = changes.latest(connection)
        stands = self._stands_for == (since, zone)
        if not stands or _earliest_changed(connection, self._change) < day:
            self._sums = added_up(connection, since, day)
            self._stands_for = (since, zone)
        self._change = change
        return added_up(connection, day) + self._sums


@dataclass(frozen=True)
class Present:
    """What the study says of each (product, operation): normal seconds of a piece, and, where it
    shows, the seconds below which haste spoils more than the time it saves is worth."""

    seconds: dict[tuple[str, str], float] = field(default_factory=dict)
    rushed_below: dict[tuple[str, str], float] = field(default_factory=dict)


class PresentSeconds:
    """`Present` by the study, at times worked out anew."""

    def __init__(self, store: Store):
        self.store = store
        self._lock = threading.Lock()
        self._running = False
        self._of_version: int | None = None
        self._rest_until = 0.0
        self._answer = Present()

    def latest(self, version: int) -> Present:
        """The last answer; where it is of an older version, another one is begun."""
        with self._lock:
            stale = version != self._of_version and time.monotonic() >= self._rest_until
            if stale and not self._running:
                self._running = True
                work = threading.Thread(target=self._work, args=(version,), name=THREAD)
                work.daemon = True
                work.start()
            return self._answer

    def _work(self, version: int) -> None:
        began = time.monotonic()
        try:
            answer = self._study()
        except Exception:  # the lists do without: a figure that is missing stops no lap
            _log.exception("the study for the bench page's lists failed")
            answer = None
        took = time.monotonic() - began
        with self._lock:
            self._running, self._of_version = False, version
            self._rest_until = time.monotonic() + max(LEAST_REST_SECONDS, REST_FACTOR * took)
            self._answer = self._answer if answer is None else answer

    def _study(self) -> Present:
        if not self.store.lap_count():
            return Present()
        from analysis.study.summary import study

        found = study(self.store.laps(), self.store.routing(), self.store.shop())
        table = found.operations
        keys = zip(table["product"].astype(str), table.operation.astype(str), strict=True)
        seconds = dict(zip(keys, table.normal_seconds.astype(float), strict=True))
        return Present(seconds, _rushed_below(found))


def _rushed_below(found: Study) -> dict[tuple[str, str], float]:
    """By (product, operation) the seconds that are too fast for everybody who does it: the lists
    know no worker, and a warning that is not true of somebody would soon be passed over."""
    import numpy as np

    from analysis.study.best_pace import rushed_below_seconds, stakes
    from analysis.study.spoilage import spoilage

    same_draws = np.random.default_rng(0)  # the same laps, the same figures
    curves = spoilage(found.laps, same_draws, found.timezone)
    rows = rushed_below_seconds(curves, stakes(found), found.learning.cells)
    least = rows.groupby(["product", "operation"])["rushed_below_seconds"].min().dropna()
    return {key: float(value) for key, value in least.items()}


@lru_cache(4)
def shop_and_routing(shop: str, routing: str) -> tuple[Shop, pd.DataFrame | None]:
    """The shop and the routing in these two texts, read once; nobody may change the frame."""
    frame = read_routing(routing.encode(), "the stored routing") if routing else None
    return read_shop(shop.encode(), "the stored shop"), frame


def _since(connection: sa.Connection, now: int) -> int:
    """The midnight (UTC) some months before now; if work has rested since, before the last lap."""
    current = tables.COUNTS_NOW["lap"]
    latest = connection.scalar(sa.select(sa.func.max(tables.lap.c.started_at)).where(current))
    return (min(now, latest or now) - RECENT_MICROS) // DAY_MICROS * DAY_MICROS


def recent_laps(connection: sa.Connection, since: int) -> list[choices.RecentLap]:
    """The laps from `since` (microseconds UTC) on, one by one, newest first."""
    where = tables.COUNTS_NOW["lap"] & (_lap.started_at >= since)
    return _read(connection, sa.select(*_COLUMNS).where(where).order_by(*NEWEST_FIRST))


def added_up(
    connection: sa.Connection, since: int, before: int | None = None
) -> list[choices.RecentLap]:
    """The laps from `since` on (and before another moment; microseconds UTC), added up where all
    their names are the same; each sum stands at its latest lap, newest first."""
    among = _lap.started_at >= since
    where = among if before is None else among & (_lap.started_at < before)
    sums = [_IN_A_SUM.get(name, _lap[name]) for name in choices.RecentLap._fields]
    names = [_lap[name] for name in choices.RecentLap._fields if name not in _IN_A_SUM]
    query = sa.select(*sums).where(tables.COUNTS_NOW["lap"], where).group_by(*names)
    newest_first = _IN_A_SUM["started_at"].desc(), sa.func.max(_lap.id).desc()
    return _read(connection, query.order_by(*newest_first))


def _earliest_changed(connection: sa.Connection, change: int) -> int:
    """The earliest lap that came or went after a change; beyond all times where none did."""
    earliest = sa.func.min(_lap.started_at)
    halves = (sa.select(earliest).where(by > change) for by in (_lap.change_id, _lap.ended_by))
    moments = (connection.scalar(half) for half in halves)
    return min((one for one in moments if one is not None), default=NEVER)


def _last_laps(connection: sa.Connection, met: list[choices.Met]) -> list[choices.RecentLap]:
    """The last laps of each product and operation, newest first, and its very first."""
    made = {(one.product, one.operation) for one in met if one.activity in choices.MADE}
    found: set[tuple] = set()
    for product, operation in sorted(made):
        of_it = {"product": product, "operation": operation}
        for query in _OF_ONE:
            found.update(map(tuple, connection.execute(query, of_it)))
    rows = sorted(found, reverse=True)
    return [choices.RecentLap(*row[:1], *row[2:]) for row in rows]


def _read(connection: sa.Connection, query: sa.Select) -> list[choices.RecentLap]:
    return [choices.RecentLap(*row) for row in connection.execute(query)]


def _met_names(connection: sa.Connection) -> list[choices.Met]:
    """What all laps on record speak of."""
    total = tables.day_total.c
    *named, _ = choices.Met._fields
    keys = [total[name] for name in named]
    query = sa.select(*keys, sa.func.min(total.day)).group_by(*keys).order_by(*keys)
    return [choices.Met._make(row) for row in connection.execute(query)]


def _fixed_on_the_spot(connection: sa.Connection, since: int) -> dict[tuple[str, str, str], int]:
    """Pieces put right within their lap, by product, batch and operation: none is left to mend.

    The newest word of the phone says so; for a lap that came from a file, its note, where an export
    had left the mark.
    """
    lap, later = _lap, delivery.alias("later")
    keys = lap.product, lap.batch, lap.operation
    newer = sa.exists().where(later.c.lap_id == lap.lap_id, later.c.revision > delivery.c.revision)
    its_newest = (delivery.c.lap_id == lap.lap_id) & ~newer
    noted = lap.note.contains(f"{MARKS}: ") & lap.note.contains(FIXED, autoescape=True)
    fixed = sa.case(
        (delivery.c.flags.is_not(None), delivery.c.flags.contains(FIXED, autoescape=True)),
        else_=noted,
    )
    query = (
        sa.select(*keys, sa.func.sum(lap.rework_units))
        .join_from(tables.lap, delivery, its_newest, isouter=True)
        .where(tables.COUNTS_NOW["lap"], lap.started_at >= since, lap.rework_units > 0)
        .where(lap.activity.in_(choices.MADE), fixed)
        .group_by(*keys)
    )
    return {tuple(row[:3]): row[3] for row in connection.execute(query)}


def _hour() -> int:
    """Batches grow old without any change of the store; once an hour is often enough."""
    return int(time.time() // 3600)
