"""Print what a shop at work asks of the server: `python -m tests.load [--minutes 10]`."""

import argparse
import os
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.load import dashboards, shop


def main(minutes: float) -> None:
    memory: list[tuple[float, float]] = []  # minutes since the first tap, megabytes
    with tempfile.TemporaryDirectory() as folder, shop.served(Path(folder)) as (server, store):

        def look() -> None:
            minute = (time.monotonic() - began) / 60
            memory.append((minute, _resident_megabytes(server.process.pid)))
            screens.look()

        seeded = store.lap_count()
        with dashboards.opened(server.origin) as screens:
            began = time.monotonic()
            posts = shop.tapped(server, store, 60 * minutes, look, most_seconds=60 * minutes)
            look()
            moved = screens.moved()
        kept, counted = shop.times_kept(store, posts), store.lap_count() - seeded
        log = (Path(folder) / "server.log").read_text()
    more = kept.total() - kept[1] - kept[0]
    failures = [post.failure for post in posts if post.failure]
    times = np.percentile([1000 * post.seconds for post in posts], [50, 99, 100])
    print(f"| {minutes:g} min, {shop.PHONES} phones, {seeded} laps at first | |\n|---|---|")
    due = round(60 * minutes / shop.EVERY_SECONDS) * shop.PHONES
    _row("laps posted, of so many due in this time", f"{len(posts)} of {due}")
    _row("POST: median, 99th percentile, longest", ", ".join(f"{at:.3g} ms" for at in times))
    _row("errors of posts", "; ".join(sorted(set(failures))), len(failures))
    _row("acknowledged", kept.total())
    _row("of these in the store once, not at all, more than once", f"{kept[1]}, {kept[0]}, {more}")
    _row("laps more by the store's totals", counted)
    _row("dashboards that showed new laps", f"{moved} of {len(dashboards.PATHS)}")
    _row("dashboards' errors", "; ".join(sorted(screens.errors)), len(screens.errors))
    _row("tracebacks in the server's log", log.count("Traceback"))
    _row("server's resident memory in MB at the start and at each minute's end",
         ", ".join(f"{megabytes:.0f}" for megabytes in _at_each_minute(memory)))  # fmt: skip
    _row("runnable programs for each core meanwhile (load average)",
         f"{os.getloadavg()[1] / (os.cpu_count() or 1):.1f}")  # fmt: skip


def _row(what: str, *figures: object) -> None:
    print(f"| {what} | {' '.join(str(figure) for figure in figures).strip()} |")


def _at_each_minute(memory: list[tuple[float, float]]) -> list[float]:
    """The first look, then the last of each minute begun."""
    last = {int(minute): megabytes for minute, megabytes in memory}
    return [memory[0][1], *last.values()]


def _resident_megabytes(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.partition("VmRSS:")[2].split()[0]) * 1024 / 1e6


if __name__ == "__main__":
    reader = argparse.ArgumentParser(description=__doc__, prog="python -m tests.load")
    reader.add_argument("--minutes", type=float, default=10)
    main(reader.parse_args().minutes)
