"""Screens: what travels to the browser, how long a cached rerun takes, how long a start.

What is compared takes turns, so that both see the same machine, and counts the processor's time,
its own and that of the processes it starts: waiting for other programs says nothing about ours.
"""

import logging
import os
import resource
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.benchmarks.rows import Row

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "data_samples"
LAPS = 100_000
SCREENS = {
    "batch_minutes": "A batch's minutes",
    "getting_faster": "Getting faster",
    "keeping_pace": "Keeping pace",
    "putting_right": "Putting right",
    "piece_cost": "What a piece costs",
    "this_week": "This week",
    "laps": "Laps",
    "shop": "Shop",
}
MOST_KILOBYTES, MOST_RERUN, MOST_START = 100, 4.0, 2.0
RERUNS, STARTS = 21, 5
EMPTY = "import streamlit as st\n"
ONE_TABLE = (
    "from streamlit.testing.v1 import AppTest\n"
    "script = 'import streamlit as st, pyarrow as pa; st.dataframe(pa.table(dict(a=[1])))'\n"
    "assert not AppTest.from_string(script).run().exception\n"
)
START_TIMING, WHOLE = "Start timing", "How this was worked out"  # what the first page says last


def rows() -> list[Row]:
    """Chart payload and cached rerun of each screen at 100,000 laps, and start to first page."""
    with large_store(LAPS) as laps:
        found = [row for name in SCREENS for row in _screen_rows(name, laps)]
    with tempfile.TemporaryDirectory() as folder:
        return [*found, *_start_rows(Path(folder))]


@contextmanager
def large_store(laps: int) -> Iterator[int]:
    """So many laps as the store that screens open, for as long as this lasts; how many they are."""
    from analysis.bench.short_turns import take_short_turns

    take_short_turns()  # as the server does
    logging.disable(logging.WARNING)  # Streamlit says of every run that no browser is there
    try:
        with tempfile.TemporaryDirectory() as folder:
            url = f"sqlite:///{Path(folder) / 'large.sqlite'}"
            own = {"WORKSHOP_STORE": url, "WORKSHOP_DEMO_FOLDER": str(Path(folder) / "demo")}
            before = {name: os.environ.get(name) for name in own}
            os.environ.update(own)
            try:
                yield fill_store(url, laps)
            finally:
                for name, value in before.items():
                    _restore(name, value)
    finally:
        logging.disable(logging.NOTSET)


def _restore(name: str, value: str | None) -> None:
    if value is None:
        del os.environ[name]
    else:
        os.environ[name] = value


def fill_store(url: str, laps: int = LAPS) -> int:
    """The demo's weeks one after another until there are `laps` laps or a few more; how many."""
    import pandas as pd

    from analysis.records.laps import read_laps
    from analysis.records.routing import read_routing
    from analysis.records.shop import read_shop
    from analysis.store.store import open_store

    demo = pd.read_csv(SAMPLES / "laps.csv", dtype=str, keep_default_na=False)
    start = pd.to_datetime(demo["started_at"], utc=True)
    turns = -(-laps // len(demo))
    parts = [
        demo.assign(
            lap_id=demo["lap_id"] + f"-{turn}",
            batch=demo["batch"].where(demo["batch"] == "", demo["batch"] + f"-{turn}"),
            started_at=(start - pd.Timedelta(weeks=21 * turn)).dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
        )
        for turn in range(turns)
    ]
    shop = read_shop(SAMPLES / "shop.toml")
    store = open_store(url)
    store.save_shop(shop)
    store.save_routing(read_routing(SAMPLES / "routing.csv"))
    text = pd.concat(parts).to_csv(index=False).encode()
    store.import_laps(read_laps(text, shop, name="large.csv"))
    store.close()
    return turns * len(demo)


def _screen_rows(name: str, laps: int) -> list[Row]:
    screen, empty = _opened(name), _opened(None)
    kilobytes = sum(_bytes_of_charts(screen)) / 1000
    ours, reference = _in_turns(screen.run, empty.run, RERUNS)
    title = SCREENS[name]
    found = [
        Row(
            f"{title}: cached rerun, {laps:,} laps",
            reference,
            ours,
            ours / reference,
            f"at most {MOST_RERUN:g}x an empty script's",
            ours / reference <= MOST_RERUN,
        )
    ]
    if kilobytes:
        found.append(
            Row(
                f"{title}: charts to the browser, {laps:,} laps",
                None,
                kilobytes,
                None,
                f"at most {MOST_KILOBYTES} kB",
                kilobytes <= MOST_KILOBYTES,
                unit="kB",
            )
        )
    return found


def _opened(name: str | None, runs: int = 2):
    """A screen, or an empty script, run twice: once to work out, once from what was kept."""
    from streamlit.testing.v1 import AppTest

    script = EMPTY if name is None else f"from analysis.screens import {name}\n{name}.show()\n"
    screen = AppTest.from_string(script, default_timeout=300)
    screen.session_state["workshop"] = "My workshop"
    for _ in range(runs):
        screen.run()
        if screen.exception:
            raise RuntimeError(f"{name}: {screen.exception[0].message}")
    return screen


def _bytes_of_charts(screen) -> list[int]:
    """Size of every chart's message on the page, its data included."""
    charts = [*screen.get("vega_lite_chart"), *screen.get("arrow_vega_lite_chart")]
    return [len(chart.proto.SerializeToString()) for chart in charts]


def _in_turns(one, other, repeats: int) -> tuple[float, float]:
    """Median processor seconds of two functions called in turns."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(repeats):
        for run, taken in zip((one, other), times, strict=True):
            start = _processor_seconds()
            run()
            taken.append(_processor_seconds() - start)
    return statistics.median(times[0]), statistics.median(times[1])


def _processor_seconds() -> float:
    """Used so far by this process and by those it has started and seen end."""
    used = [resource.getrusage(whose) for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(part.ru_utime + part.ru_stime for part in used)


def _start_rows(folder: Path) -> list[Row]:
    """The real server, from its start until it has sent its page to a browser: the page's frame,
    the button that opens the bench, and the demo's whole first screen, with nothing new since the
    last start and with all to be worked out. Beside them a page of Streamlit's own with one table.
    The demo's store is made beforehand."""
    demo = folder / "demo"
    environment = os.environ | {
        "WORKSHOP_STORE": f"sqlite:///{folder / 'empty.sqlite'}",
        "WORKSHOP_DEMO_FOLDER": str(demo),
        "PYTHONPYCACHEPREFIX": str(folder / "bytecode"),
    }
    # Compiled once and kept, as Python does for everybody who does not forbid it.
    environment.pop("PYTHONDONTWRITEBYTECODE", None)

    def process(code: str):
        command = [sys.executable, "-c", code]
        return lambda: subprocess.run(
            command, cwd=ROOT, env=environment, check=True, capture_output=True
        )

    def first_page(until: str, forget: bool):
        def run():
            if forget:
                shutil.rmtree(demo / "kept", ignore_errors=True)
            _serve_once(environment, until)

        return run

    _serve_once(environment, WHOLE)
    imported = process("import streamlit")
    first, table = "start of the server to", "start of a process to"
    measured = {
        f"{first} the page's frame": lambda: _serve_once(environment, None),
        f"{first} the whole first screen, demo, nothing new": first_page(WHOLE, forget=False),
        f"{first} *Start timing* on it, demo, all to be worked out": first_page(START_TIMING, True),
        f"{first} the whole first screen, demo, all worked out": first_page(WHOLE, forget=True),
        f"{table} a page of Streamlit's own with one table": process(ONE_TABLE),
    }
    found = []
    for name, run in measured.items():
        run(), imported()
        ours, reference = _in_turns(run, imported, STARTS)
        ratio = ours / reference
        target = f"at most {MOST_START:g}x `import streamlit`"
        if run is measured[f"{table} a page of Streamlit's own with one table"]:
            target = "for comparison"
        met = ratio <= MOST_START or target == "for comparison"
        found.append(Row(name, reference, ours, ratio, target, met))
    return found


def _serve_once(environment: dict, until: str | None) -> None:
    """Start the app's server, ask for the first page as a browser does until it has said `until`
    (None: until the page's frame is there), and end it."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "streamlit", "run", "app.py", "--server.headless", "true"]
    server = subprocess.Popen(
        [*command, "--server.port", str(port)],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        _wait_for_frame(server, port)
        if until:
            _wait_for_words(port, until)
    finally:
        server.kill()  # at once: what it would still do is not asked about
        server.wait()


def _wait_for_frame(server: subprocess.Popen, port: int) -> None:
    while server.poll() is None:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=2).read()
            return
        except OSError:
            time.sleep(0.005)
    raise RuntimeError(f"the server ended with status {server.returncode}")


def _wait_for_words(port: int, words: str) -> None:
    """Open the websocket that a browser opens, ask for the page, and read until it says this."""
    from streamlit.proto.BackMsg_pb2 import BackMsg
    from websockets.sync.client import connect

    place = f"127.0.0.1:{port}"
    address, origin = f"ws://{place}/_stcore/stream", f"http://{place}"
    asked = BackMsg()
    asked.rerun_script.query_string = ""
    with connect(address, origin=origin, subprotocols=["streamlit"], max_size=None) as page:
        page.send(asked.SerializeToString())
        while words.encode() not in page.recv(timeout=120):
            pass
