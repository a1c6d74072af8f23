"""The page's lists, made from the store and kept until it changes.

Names come from all laps on record, by way of the kept day totals, so that nobody who returns after
a season finds a shorter list. Only recent laps are read one by one, and the last few of each
operation before them, which are kept: a large store costs hardly more than a small one. The
present normal seconds of each operation come from the study, which takes seconds: it runs in a
thread of its own, now and then, and until it has an answer the planned seconds stand.
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
from analysis.store import bench_batches, documents, tables
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
_log = logging.getLogger(__name__)


class Lists:
    """The lists of one store as JSON."""

    def __init__(self, store: Store):
        self.store = store
        self._lock = threading.Lock()
        self._made: tuple[object, bytes] = (None, b"")
        self._present = PresentSeconds(store)
        self._met: set[str] | None = None
        self._earlier: tuple[object, list[choices.RecentLap]] = (None, [])

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
        recent = recent_laps(connection, since)
        met = _met_names(connection)
        shop, routing = shop_and_routing(*(documents.text(connection, n) for n in DOCUMENTS))
        steps = choices.routes(routing)
        known = recent + self._laps_before(connection, since)
        products = choices.products(shop, steps, known, present.seconds, met, present.rushed_below)
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
            "next_batch": choices.next_batch(self._labels(connection, recent, from_phones)),
        }
        return json.dumps(answer, ensure_ascii=False, separators=(",", ":")).encode()

    def _laps_before(self, connection: sa.Connection, since: int) -> list[choices.RecentLap]:
        """The last laps of each operation before `since`, asked for anew where any has changed."""
        day = since // DAY_MICROS
        stamp = (day, tuple(map(tuple, connection.execute(_sums_before(day)))))
        if self._earlier[0] != stamp:
            self._earlier = (stamp, _last_laps_before(connection, since))
        return self._earlier[1]

    def _labels(self, connection: sa.Connection, recent: list, from_phones: dict) -> set[str]:
        """Every batch number met so far; all laps are asked once, then only the recent ones."""
        if self._met is None:
            query = sa.select(tables.lap.c.batch).where(tables.COUNTS_NOW["lap"]).distinct()
            self._met = set(connection.scalars(query))
        self._met.update(lap.batch for lap in recent)
        self._met.update(label for _, label in from_phones)
        return self._met


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

    curves = spoilage(found.laps, np.random.default_rng(0))  # the same laps, the same figures
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
    """The laps since then, newest first."""
    lap, current = tables.lap.c, tables.COUNTS_NOW["lap"]
    columns = [lap[name] for name in choices.RecentLap._fields]
    query = sa.select(*columns).where(current, lap.started_at >= since)
    rows = connection.execute(query.order_by(lap.started_at.desc(), lap.id.desc()))
    return [choices.RecentLap(*row) for row in rows]


def _last_laps_before(connection: sa.Connection, since: int) -> list[choices.RecentLap]:
    """The last laps before `since` of each product and operation, newest first."""
    lap = tables.lap.c
    names = choices.RecentLap._fields
    newest_first = lap.started_at.desc(), lap.id.desc()
    among_its_own = sa.func.row_number().over(
        partition_by=(lap.product, lap.operation), order_by=newest_first
    )
    made = tables.COUNTS_NOW["lap"] & (lap.started_at < since) & lap.activity.in_(choices.MADE)
    ranked = sa.select(*(lap[name] for name in names), among_its_own.label("place")).where(made)
    last = ranked.subquery().c
    query = sa.select(*(last[name] for name in names)).where(last.place <= choices.USUAL_LAPS)
    rows = connection.execute(query.order_by(last.started_at.desc()))
    return [choices.RecentLap(*row) for row in rows]


def _sums_before(day: int) -> sa.Select:
    """What the laps before a day add up to, by product, operation and activity."""
    total = tables.day_total.c
    keys = [total[name] for name in ("product", "operation", "activity")]
    sums = [sa.func.sum(total[name]) for name in ("laps", "units", "micros")]
    return sa.select(*keys, *sums).where(total.day < day).group_by(*keys).order_by(*keys)


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
    lap, later = tables.lap.c, delivery.alias("later")
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
