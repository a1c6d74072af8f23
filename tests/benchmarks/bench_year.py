"""A year of laps (500,000): how long each screen takes, from nothing, again, and after a change."""

import os
import time

from tests.benchmarks.bench_screens import SCREENS, _opened, large_store
from tests.benchmarks.rows import Row

LAPS = 500_000
MOST_SECONDS = 1.0
ALSO = {"order_of_work": "Order of work", "what_if": "What if"}  # both go on beside the page


def rows():
    """Each screen by the clock: opened when nothing is worked out yet, opened once more, opened
    after one lap was corrected, and again when the figures have followed.

    The first screen works out the study that the others share, so it stands first.
    """
    first = {"this_week": SCREENS["this_week"]}
    with large_store(LAPS) as laps:
        screens = {}
        for name, title in {**first, **SCREENS, **ALSO}.items():
            screens[title], opened = _timed(lambda name=name: _opened(name, runs=1))
            yield _row(f"{title}: opened from nothing, {laps:,} laps", opened, most=None)
            yield _row(f"{title}: shown, {laps:,} laps", _timed(screens[title].run)[1])
        _correct_the_last_lap()
        for title, screen in screens.items():
            yield _row(f"{title}: after a correction, {laps:,} laps", _timed(screen.run)[1])
        yield _row("from a correction to the figures after it", _timed(_followed)[1], most=None)
        for title, screen in screens.items():
            yield _row(f"{title}: with the figures after it", _timed(screen.run)[1])


def _timed(run):
    """What `run` gives, and the seconds it took."""
    start = time.perf_counter()
    found = run()
    return found, time.perf_counter() - start


def _row(name: str, seconds: float, most: float | None = MOST_SECONDS) -> Row:
    if most is None:
        return Row(name, None, seconds, None, "for comparison", True)
    return Row(name, None, seconds, None, f"under {most:g} s", seconds < most)


def _correct_the_last_lap() -> None:
    from analysis.store.store import open_store

    store = open_store(os.environ["WORKSHOP_STORE"])
    newest, _ = store.page(limit=1)
    store.correct_lap(newest.lap_id.iloc[0], {"seconds": str(newest.seconds.iloc[0] + 1)})
    store.close()


def _followed() -> None:
    """Wait for the work that the first screen after the change has begun."""
    from analysis.screens.up_to_date import following

    following(os.environ["WORKSHOP_STORE"]).wait()
