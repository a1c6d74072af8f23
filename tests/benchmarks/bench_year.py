"""A year of laps (500,000): how long each screen takes, worked out for the first time and again."""

import time

from tests.benchmarks.bench_screens import SCREENS, _opened, large_store
from tests.benchmarks.rows import Row

LAPS = 500_000
MOST_SECONDS = 1.0
ALSO = {"order_of_work": "Order of work", "what_if": "What if"}  # both go on beside the page


def rows():
    """Each screen by the clock: opened when nothing is worked out yet, and opened once more.

    The first screen works out the study that the others share, so it stands first.
    """
    first = {"this_week": SCREENS["this_week"]}
    with large_store(LAPS) as laps:
        for name, title in {**first, **SCREENS, **ALSO}.items():
            yield from _screen_rows(name, title, laps)


def _screen_rows(name: str, title: str, laps: int):
    start = time.perf_counter()
    screen = _opened(name, runs=1)
    opened = time.perf_counter() - start
    start = time.perf_counter()
    screen.run()
    again = time.perf_counter() - start
    yield Row(f"{title}: first opened after a change, {laps:,} laps", None, opened, None,
              "for comparison", True)  # fmt: skip
    yield Row(f"{title}: shown, {laps:,} laps", None, again, None, "under 1 s",
              again < MOST_SECONDS)  # fmt: skip
