"""Where the runs are done: here, on several cores, or on a Dask cluster, with the same bits.

A piece of work is a function and its arguments; a run's numbers depend on its number alone, so it
does not matter where or in which order it is done. On this machine joblib uses threads: the
compiled kernel releases Python's lock, and threads need neither start nor memory of their own.

A cluster is worth its setting up for many shops or scenario grids of thousands of points; one
scenario is answered here in seconds. Every worker needs this program at the same version and
processors of one kind (the last bit of `exp` and `log` may differ between kinds).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from analysis.problems import Problem

if TYPE_CHECKING:
    from distributed import Client

DASK = "dask://"
DASK_PORT = 8786
PATIENCE = "5s"


class NoCluster(Problem):
    """The Dask cluster that was named does not answer."""


def in_waves(
    work: Callable,
    pieces: Sequence[tuple],
    jobs: int = 1,
    backend: str | None = None,
    stop: Callable[[], bool] | None = None,
) -> Iterator[tuple[tuple, Any]]:
    """Yield (piece, work(*piece)) in order, wave by wave of as many as are done at once.

    Asks `stop` between waves; what is done by then has been yielded.
    """
    import joblib  # slow to import beside all that does not simulate

    with _workers(jobs, backend) as (at_once, options):
        for first in range(0, len(pieces), at_once):
            if first and stop is not None and stop():
                return
            wave = pieces[first : first + at_once]
            if at_once == 1:
                done = [work(*piece) for piece in wave]
            else:
                done = joblib.Parallel(n_jobs=at_once, **options)(
                    joblib.delayed(work)(*piece) for piece in wave
                )
            yield from zip(wave, done, strict=True)


@contextmanager
def _workers(jobs: int, backend: str | None) -> Iterator[tuple[int, dict[str, str]]]:
    """(how many pieces at once, joblib's options) while the workers are there."""
    if not backend:
        yield (jobs if jobs > 0 else os.cpu_count() or 1), {"prefer": "threads"}
        return
    import joblib

    with _client(backend) as client:
        threads = sum(client.nthreads().values())
        with joblib.parallel_config(backend="dask"):
            yield max(2, 2 * threads), {}


def _client(backend: str) -> Client:
    from distributed import Client

    host = backend.removeprefix(DASK).rstrip("/")
    if not backend.startswith(DASK) or not host:
        raise NoCluster(f"{backend!r} names no cluster; write dask://HOST or dask://HOST:PORT")
    address = host if ":" in host else f"{host}:{DASK_PORT}"
    try:
        return Client(f"tcp://{address}", timeout=PATIENCE)
    except (OSError, ValueError) as error:
        raise NoCluster(
            f"no Dask cluster answers at {address}; start one there or leave --backend out"
        ) from error
