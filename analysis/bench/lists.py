"""The page's lists, made from the store and kept until it changes.

Only recent laps are read, so a large store costs no more than a small one. The present normal
seconds of each operation come from the study, which takes seconds: it runs in a thread of its
own, now and then, and until it has an answer the planned seconds stand.
"""

import json
import logging
import threading
import time
from datetime import UTC, datetime
from functools import lru_cache

import sqlalchemy as sa

from analysis.bench import choices
from analysis.records.routing import read_routing
from analysis.records.shop import Shop, read_shop
from analysis.store import bench_batches, documents, tables
from analysis.store.connection import reading

RECENT_MICROS = 120 * 86_400_000_000
DOCUMENTS = ("shop", "routing")
REST_FACTOR = 30  # the study rests so many times as long as it took, so it never takes over
LEAST_REST_SECONDS = 60
THREAD = "bench-study"
_log = logging.getLogger(__name__)


class Lists:
    """The lists of one store as JSON."""

    def __init__(self, store):
        self.store = store
        self._lock = threading.Lock()
        self._made: tuple[object, bytes] = (None, b"")
        self._present = PresentSeconds(store)
        self._met: set[str] | None = None

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

    def _make(self, connection: sa.Connection, version: int, present: dict) -> bytes:
        now = time.time_ns() // 1000
        recent = _recent_laps(connection, now)
        shop, steps = _shop_and_routes(*(documents.text(connection, n) for n in DOCUMENTS))
        products = choices.products(shop, steps, recent, present)
        from_phones = bench_batches.latest(connection)
        ends = choices.route_ends(products)
        answer = {
            "version": version,
            "shop": shop.name,
            "currency": shop.currency,
            "timezone": shop.timezone,
            "workers": choices.workers(shop, recent),
            "products": products,
            "causes": choices.causes(recent),
            "batches": choices.batches(recent, ends, from_phones, now),
            "next_batch": choices.next_batch(self._labels(connection, recent, from_phones)),
        }
        return json.dumps(answer, ensure_ascii=False, separators=(",", ":")).encode()

    def _labels(self, connection: sa.Connection, recent: list, from_phones: dict) -> set[str]:
        """Every batch number met so far; all laps are asked once, then only the recent ones."""
        if self._met is None:
            query = sa.select(tables.lap.c.batch).where(tables.COUNTS_NOW["lap"]).distinct()
            self._met = set(connection.scalars(query))
        self._met.update(lap.batch for lap in recent)
        self._met.update(label for _, label in from_phones)
        return self._met


class PresentSeconds:
    """Normal seconds a piece by (product, operation), from the study, at times worked out anew."""

    def __init__(self, store):
        self.store = store
        self._lock = threading.Lock()
        self._running = False
        self._of_version: int | None = None
        self._rest_until = 0.0
        self._answer: dict[tuple[str, str], float] = {}

    def latest(self, version: int) -> dict[tuple[str, str], float]:
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

    def _study(self) -> dict[tuple[str, str], float]:
        if not self.store.lap_count():
            return {}
        from analysis.study.summary import study

        table = study(self.store.laps(), self.store.routing(), self.store.shop()).operations
        keys = zip(table["product"].astype(str), table.operation.astype(str), strict=True)
        return dict(zip(keys, table.normal_seconds.astype(float), strict=True))


@lru_cache(4)
def _shop_and_routes(shop: str, routing: str) -> tuple[Shop, dict[str, list[choices.Step]]]:
    """The shop and the routes in these two texts, read once."""
    frame = read_routing(routing.encode(), "the stored routing") if routing else None
    return read_shop(shop.encode(), "the stored shop"), choices.routes(frame)


def _recent_laps(connection: sa.Connection, now: int) -> list[choices.RecentLap]:
    """The laps of the last months, newest first; if work has rested since, of those before."""
    lap, current = tables.lap.c, tables.COUNTS_NOW["lap"]
    latest = connection.scalar(sa.select(sa.func.max(lap.started_at)).where(current))
    since = min(now, latest or now) - RECENT_MICROS
    columns = [lap[name] for name in choices.RecentLap._fields]
    query = sa.select(*columns).where(current, lap.started_at >= since)
    rows = connection.execute(query.order_by(lap.started_at.desc(), lap.id.desc()))
    return [choices.RecentLap(*row) for row in rows]


def _hour() -> int:
    """Batches grow old without any change of the store; once an hour is often enough."""
    return int(time.time() // 3600)
