"""How far one machine goes: the same store with 100,000, 500,000 and ten million laps.

Runs only when named, since the largest store takes minutes and gigabytes. What waits for the disk
is timed by the clock, everything else by the processor, since the machine may be shared. The two
that load everything have a process of their own, with a limit to its memory and its time.
"""

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path

import pandas as pd

from analysis.records.laps import check_laps
from analysis.store import bench, tables
from analysis.store.backup import back_up
from analysis.store.bench import Delivery, PhoneLap
from analysis.store.connection import writing
from analysis.store.store import Store, open_store
from tests.benchmarks.large_store import FIRST_DAY, filled
from tests.benchmarks.rows import Row, most_memory

SIZES = (100_000, 500_000, 10_000_000)
MORE = 10_000
MOST_GIGABYTES, MOST_SECONDS = 12, 1800
LOADING = {"read": "all laps read to the checked frame", "study": "the study of all laps"}


def rows() -> Iterator[Row]:
    for laps in SIZES:
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "large.sqlite"
            filled(file, laps).close()
            yield from answers(file, laps)


def answers(file: Path, laps: int) -> Iterator[Row]:
    """What a store of so many laps answers, and in what time; the store grows by MORE laps."""
    about = f"{laps:,} laps"
    yield row(about, "size of the file", file.stat().st_size / 1e9, unit="GB")
    store = open_store(str(file))
    yield from of_store(store, about, time.process_time)
    store.close()
    backup = each(lambda: back_up(file, datetime.now(UTC).date()), 1, time.perf_counter)
    yield row(about, "backup, checked, by the clock", backup)
    for what, name in LOADING.items():
        yield from _loaded(what, name, file, about)


def of_store(store: Store, about: str, clock: Callable[[], float]) -> Iterator[Row]:
    """What is asked of a store day by day, which then holds some laps more."""
    newest = store.page(0, MORE)[0]
    singles = iter(_as_phones_send(newest.tail(200)))
    more = check_laps(_with_new_ids(newest), "more")
    monday = date(1970, 1, 5) + timedelta(weeks=FIRST_DAY // 7)
    of_one = {"worker": "hand 7", "operation": "sew"}
    by_clock: list[float] = []

    def one_lap() -> None:
        by_clock.append(each(lambda: _record(store, next(singles)), 1, time.perf_counter))

    for what, run, times in (
        ("one lap made durable", one_lap, 200),
        ("a week's figures", lambda: store.week_figures(monday), 20),
        ("the newest 50 laps, and how many there are", store.page, 5),
        ("the newest 50 of one hand's sewing, and how many", lambda: store.page(0, 50, of_one), 3),
        (f"{MORE:,} laps more taken in", lambda: store.import_laps(more), 1),
        ("the bench page's lists, first asked for", _lists(store), 1),
    ):
        yield row(about, what, each(run, times, clock))
    yield row(about, "one lap made durable, by the clock, median", statistics.median(by_clock))


def row(about: str, what: str, figure: float, unit: str = "s") -> Row:
    """A row without a target."""
    return Row(f"{about}: {what}", None, figure, None, "for comparison", True, unit=unit)


def each(run: Callable[[], object], times: int, clock: Callable[[], float]) -> float:
    """Seconds of one of so many calls, by a clock."""
    start = clock()
    for _ in range(times):
        run()
    return (clock() - start) / times


def _as_phones_send(laps: pd.DataFrame) -> list[PhoneLap]:
    micros = laps.started_at.astype("int64") + 3_600_000_000
    sent = laps.assign(lap_id="phone-" + laps.lap_id, started_at=micros).astype(object)
    contents = sent[list(tables.CONTENT)].to_dict("records")
    return [PhoneLap(content["lap_id"], 0, False, content) for content in contents]


def _record(store: Store, lap: PhoneLap) -> None:
    now = time.time_ns() // 1000
    with writing(store.engine) as connection:
        bench.record(connection, [Delivery("phone", now, now, (lap,))])


def _with_new_ids(laps: pd.DataFrame) -> pd.DataFrame:
    texts = laps.drop(columns="row").astype(object)
    starts = laps.started_at.dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    return texts.assign(lap_id="more-" + laps.lap_id, started_at=starts)


def _lists(store: Store) -> Callable[[], object]:
    from analysis.bench.lists import Lists

    # Without the study of all laps, which they begin beside them and which has a row of its own.
    lists = Lists(store)
    lists._present._running = True
    return lists.now


def _loaded(what: str, name: str, file: Path, about: str) -> Iterator[Row]:
    """Processor seconds and most memory of a process that loads the whole store, or that it is
    more than is allowed."""
    work = [sys.executable, "-m", "tests.benchmarks.bench_ten_million", what, str(file)]
    start = time.perf_counter()
    try:
        done = subprocess.run(work, capture_output=True, text=True, timeout=MOST_SECONDS,
                              preexec_fn=partial(_limit_memory, MOST_GIGABYTES))  # fmt: skip
        gave_out = done.returncode and f"gave out at {MOST_GIGABYTES} GB: {_last(done.stderr)}"
    except subprocess.TimeoutExpired:
        gave_out = f"not done in {MOST_SECONDS} s"
    if gave_out:
        taken = time.perf_counter() - start
        yield Row(f"{about}: {name}", None, taken, None, "for comparison", False, gave_out)
        return
    seconds, gigabytes = map(float, done.stdout.split())
    yield row(about, name, seconds)
    yield row(about, f"{name}, most memory", gigabytes, unit="GB")


def _limit_memory(gigabytes: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (gigabytes * 2**30, gigabytes * 2**30))


def _last(text: str) -> str:
    return text.strip().rpartition("\n")[2][:200]


def _load(what: str, file: str) -> None:
    """Load a store and print processor seconds and gigabytes at most."""
    store = open_store(file)
    start = time.process_time()
    laps = store.laps()
    if what == "study":
        from analysis.study.summary import study

        study(laps, store.routing(), store.shop())
    print(time.process_time() - start, most_memory() / 1e9)


if __name__ == "__main__":
    _load(*sys.argv[1:])
