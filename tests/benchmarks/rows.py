"""One row of the benchmark table, and the clock it is measured with."""

import re
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Row:
    """One comparison: the reference's figure, ours, and what is asked of the two.

    `reference` and `ours` are medians in seconds unless `unit` says otherwise; `ratio` is the
    figure that `target` speaks of (for example "at most 2.5x", "at least 100x"), and `met` says
    whether it was reached in this run.
    """

    name: str
    reference: float | None
    ours: float
    ratio: float | None
    target: str
    met: bool
    note: str = ""
    unit: str = "s"


def median_seconds(run: Callable[[], object], repeats: int = 5) -> float:
    """The median wall-clock time of `repeats` calls of `run`, after one call to warm up."""
    run()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def most_memory() -> int:
    """Bytes, the most this process has held, the libraries it loads included (as Linux tells)."""
    # not ru_maxrss: that of a fresh process begins at what the process that started it held
    found = re.search(r"VmHWM:\s*(\d+) kB", Path("/proc/self/status").read_text())
    assert found
    return 1024 * int(found[1])
