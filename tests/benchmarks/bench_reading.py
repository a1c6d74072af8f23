"""One million laps from CSV to a checked frame, against splitting the file into strings."""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pacsv

from analysis.problems import BadInput
from analysis.records.laps import read_laps
from tests.benchmarks.million import LAPS, million_laps
from tests.benchmarks.rows import Row, most_memory

FAULTS = 1000
REPEATS = 7


def rows() -> list[Row]:
    with _files() as (good, faulty):
        return [
            _compared("1,000,000 laps, CSV to checked frame", good, lambda: read_laps(good), 2.5),
            _compared(
                f"the same with {FAULTS:,} faults, all found", faulty, lambda: _refused(faulty), 2.5
            ),
            _peak(good),
        ]


@contextmanager
def _files() -> Iterator[tuple[str, str]]:
    with tempfile.TemporaryDirectory() as folder:
        good, faulty = str(Path(folder) / "good.csv"), str(Path(folder) / "faulty.csv")
        million_laps().to_csv(good, index=False)
        million_laps(FAULTS).to_csv(faulty, index=False)
        yield good, faulty


def _compared(name: str, file: str, ours: Callable[[], object], limit: float) -> Row:
    """Medians of runs taken in turns, so that what else the machine does falls on both."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(REPEATS):
        for run, into in zip((lambda: _split(file), ours), times, strict=True):
            start = time.perf_counter()
            kept = run()
            into.append(time.perf_counter() - start)
            del kept
    reference, own = map(statistics.median, times)
    ratio = own / reference
    note = "reference: pyarrow's CSV reader, all columns as strings"
    return Row(name, reference, own, ratio, f"at most {limit}x", ratio <= limit, note)


def _split(file: str) -> pa.Table:
    with open(file, encoding="utf-8") as lines:
        names = lines.readline().strip().split(",")
    types = pacsv.ConvertOptions(column_types=dict.fromkeys(names, pa.string()))
    return pacsv.read_csv(file, convert_options=types)


def _refused(file: str) -> int:
    try:
        read_laps(file)
    except BadInput as refused:
        return refused.count
    raise AssertionError("faults went unnoticed")


def _peak(file: str) -> Row:
    """The most memory a fresh process needs, the libraries it loads included (as Linux tells)."""
    work = [sys.executable, "-m", "tests.benchmarks.bench_reading", file]
    done = subprocess.run(work, capture_output=True, text=True, check=True)
    gigabytes = int(done.stdout) / 1e9
    name = "peak memory of reading them"
    return Row(name, None, gigabytes, None, "at most 1.5 GB", gigabytes <= 1.5, unit="GB")


if __name__ == "__main__":
    assert len(read_laps(sys.argv[1]).frame) == LAPS
    print(most_memory())
