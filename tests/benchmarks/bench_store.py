"""The store: one lap made durable, a week's figures over a million laps, import and loading."""

import dataclasses
import datetime as dt
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from analysis.records.laps import LapsFile, check_laps
from analysis.store import bench, tables
from analysis.store.bench import Delivery, PhoneLap
from analysis.store.connection import writing
from analysis.store.store import Store, open_store
from tests.benchmarks.million import LAPS, million_laps
from tests.benchmarks.rows import Row

SINGLE_LAPS = 400


def rows() -> list[Row]:
    laps = check_laps(million_laps(), "a million laps")
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(str(Path(folder) / "million.sqlite"))
        few = dataclasses.replace(
            laps, frame=laps.frame.iloc[:100_000], clock_at=laps.clock_at[:100_000]
        )
        ours = "at most {} s (our own)"
        found = [
            _value("100,000 laps imported", lambda: store.import_laps(few), 1, ours.format(5), 5),
            _value("100,000 laps read to the checked frame", store.laps, 5, ours.format(1), 1),
        ]
        store.import_laps(laps)
        found.append(_week(store))
        found += [_single(store, laps, folder, mode) for mode in ("WAL", "DELETE")]
        store.close()
    return found


def _week(store: Store) -> Row:
    mondays = iter([dt.date(2021, 1, 4) + dt.timedelta(weeks=week) for week in range(0, 200, 10)])
    name = f"a week's figures over {LAPS:,} stored laps"
    return _value(name, lambda: store.week_figures(next(mondays)), 20, "under 20 ms", 0.020)


def _value(name: str, run: Callable[[], object], times: int, target: str, limit: float) -> Row:
    taken = [_seconds(run) for _ in range(times)]
    median = statistics.median(taken)
    return Row(name, None, median, None, target, median <= limit)


def _single(store: Store, laps: LapsFile, folder: str, mode: str) -> Row:
    """A lap from a phone with its change, receipt and totals, against the bare row alone."""
    bare = sqlite3.connect(Path(folder) / f"bare-{mode}.sqlite", isolation_level=None)
    bare.execute(f"PRAGMA journal_mode = {mode}")
    bare.execute("PRAGMA synchronous = FULL")
    bare.execute(f"CREATE TABLE lap (id INTEGER PRIMARY KEY, {', '.join(tables.CONTENT)})")
    holes = ", ".join("?" * len(tables.CONTENT))
    insert = f"INSERT INTO lap ({', '.join(tables.CONTENT)}) VALUES ({holes})"

    def commit_bare(content: dict) -> None:
        bare.execute("BEGIN")
        bare.execute(insert, tuple(content.values()))
        bare.execute("COMMIT")

    def record(content: dict) -> None:
        now = time.time_ns() // 1000
        lap = PhoneLap(content["lap_id"], 0, False, content)
        with writing(store.engine) as connection:
            bench.record(connection, [Delivery("phone", now, now, (lap,))])

    times: tuple[list[float], list[float]] = ([], [])
    for content in _contents(laps, mode):
        for run, into in zip((commit_bare, record), times, strict=True):
            into.append(_seconds(lambda run=run, content=content: run(content)))
    bare.close()
    reference, ours = map(statistics.median, times)
    ratio = ours / reference
    note = f"into a store of {LAPS:,}; reference: the bare row, journal {mode}, synchronous=FULL"
    name = "one lap made durable"
    return Row(name, reference, ours, ratio, "at most 1.5x", ratio <= 1.5, note)


def _contents(laps: LapsFile, prefix: str) -> list[dict]:
    some = laps.frame.tail(SINGLE_LAPS).drop(columns="row")
    some = some.assign(
        lap_id=prefix + some.lap_id, started_at=some.started_at.astype("int64") + 10**9
    )
    return [
        {name: lap[name] for name in tables.CONTENT}
        for lap in some.astype(object).to_dict("records")
    ]


def _seconds(run: Callable[[], object]) -> float:
    start = time.perf_counter()
    run()
    return time.perf_counter() - start
