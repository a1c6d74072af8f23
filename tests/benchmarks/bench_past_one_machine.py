"""Past one machine, at small scale: the records on PostgreSQL, the simulated weeks on Dask.

The records by processor time, ours and the server's; the simulations by the clock, in turns. Runs
only when named.
"""

import contextlib
import os
import tempfile
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np

from analysis.decisions.simulate import simulate
from analysis.store.moving import copy_store
from analysis.store.store import open_store
from tests import postgres
from tests.benchmarks.bench_simulated import bindery
from tests.benchmarks.bench_ten_million import each, of_store, row
from tests.benchmarks.large_store import filled
from tests.benchmarks.rows import Row

LAPS = 100_000
WEEKS, RUNS, ROUNDS = 104, 400, 3


def rows() -> Iterator[Row]:
    yield from _records()
    yield from _simulations()


def _records() -> Iterator[Row]:
    """The same laps in SQLite, moved to a PostgreSQL of our own with checksums, and asked there."""
    with tempfile.TemporaryDirectory() as folder, postgres.server() as address:
        here, there = filled(Path(folder) / "large.sqlite", LAPS), open_store(address)
        clock = partial(_processor_seconds, Path(address.partition("host=")[2]))
        moving = each(lambda: copy_store(here, there), 1, clock)
        yield row("PostgreSQL", f"{LAPS:,} laps moved there, checksums compared", moving)
        for store, name in ((there, "PostgreSQL"), (here, "SQLite")):
            yield from of_store(store, f"{name}, {LAPS:,} laps", clock)
            store.close()


def _processor_seconds(server: Path) -> float:
    """Of this process and of all that the PostgreSQL in this folder has running, to 0.01 s."""
    postmaster = (server / "data" / "postmaster.pid").read_text().splitlines()[0]
    ticks = 0
    for process in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):  # one that has ended
            figures = (process / "stat").read_text().rpartition(")")[2].split()
            if figures[1] == postmaster:
                ticks += int(figures[11]) + int(figures[12])
    return time.process_time() + ticks / os.sysconf("SC_CLK_TCK")


def _simulations() -> Iterator[Row]:
    """The same runs here on one core, and on one and two processes of a Dask cluster."""
    model = bindery()
    of_one, here = _of_cluster(model, 1), _timed(model, None)
    of_two = _of_cluster(model, 2)
    for name, (seconds, made) in (("one process", of_one), ("two processes", of_two)):
        same = np.array_equal(made.good, here[1].good)
        yield Row(f"{RUNS} runs of {WEEKS} weeks, Dask, {name}, against here on one core", here[0],
                  seconds, seconds / here[0], "the same bits", same)  # fmt: skip


def _of_cluster(model, processes: int):
    from distributed import LocalCluster

    with LocalCluster(n_workers=processes, threads_per_worker=1, processes=True,
                      dashboard_address=None, silence_logs="ERROR") as cluster:  # fmt: skip
        return _timed(model, "dask://" + cluster.scheduler_address.removeprefix("tcp://"))


def _timed(model, backend: str | None):
    """Seconds of the quickest of some rounds, and what the last one made."""
    simulate(model, weeks=1, runs=8, seed=0, backend=backend)  # machine code loaded everywhere
    seconds = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        made = simulate(model, weeks=WEEKS, runs=RUNS, seed=1, backend=backend)
        seconds.append(time.perf_counter() - start)
    return min(seconds), made
