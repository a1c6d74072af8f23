"""A real server that can be killed in the middle of anything, its store, and a phone to tap on."""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Error

ROOT = Path(__file__).parents[2]
PHONE = {"width": 390, "height": 844}

# Notes every press that lands on a target, by the browser's own clock and apart from the page's
# code; `testerTap` is bound to the test, so that it outlives a reload.
WATCH_TAPS = """
  const note = (event) => {
    if (event.type === "pointerdown" && !event.target.closest?.(".target")) return;
    const isPedal = [" ", "Enter", "PageDown"].includes(event.key);
    if (event.type === "keydown" && (event.repeat || !isPedal)) return;
    window.testerTap(performance.timeOrigin + event.timeStamp, performance.timeOrigin);
  };
  window.addEventListener("pointerdown", note, true);
  window.addEventListener("keydown", note, true);
"""


class BenchServer:
    """`streamlit run app.py` on one port and one store, to be started, killed and started again."""

    def __init__(self, folder: Path, host: str = "127.0.0.1"):
        self.folder, self.host = folder, host
        self.store = folder / "workshop.sqlite"
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.address = f"http://{host}:{self.port}"
        self.process: subprocess.Popen | None = None

    def start(self) -> None:
        environment = os.environ | {
            "HOME": str(self.folder),
            "WORKSHOP_STORE": f"sqlite:///{self.store}",
            "WORKSHOP_DEMO_FOLDER": str(self.folder / "demo"),
        }
        options = ["--server.headless", "true", "--server.port", str(self.port)]
        if self.host != "127.0.0.1":
            environment["WORKSHOP_OPEN"] = "1"
            options += ["--server.address", "0.0.0.0"]
        with open(self.folder / "server.log", "a") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "streamlit", "run", "app.py", *options],
                cwd=ROOT,
                env=environment,
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        self._wait_until_it_answers()

    def _wait_until_it_answers(self, patience_seconds: float = 60) -> None:
        deadline = time.monotonic() + patience_seconds
        while time.monotonic() < deadline:
            if self.process.poll() is not None:
                raise RuntimeError((self.folder / "server.log").read_text()[-2000:])
            try:
                lists = f"http://127.0.0.1:{self.port}/bench/lists"
                with urllib.request.urlopen(lists, timeout=5):
                    return
            except OSError:
                time.sleep(0.1)  # between two questions to a process that is still starting
        raise TimeoutError(self.address)

    def kill(self) -> None:
        """SIGKILL: no chance to finish anything."""
        if self.process and self.process.poll() is None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()

    def rows(self, query: str) -> list[sqlite3.Row]:
        """What another program reads in the store's file."""
        connection = sqlite3.connect(f"file:{self.store}?mode=ro", uri=True, timeout=20)
        try:
            connection.row_factory = sqlite3.Row
            return connection.execute(query).fetchall()
        finally:
            connection.close()

    def laps(self) -> list[dict]:
        """The laps that count, oldest first, each with the flags of its newest revision."""
        return [dict(row) for row in self.rows(LAPS)]


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """A server with an empty store, for the tests of one file."""
    server = BenchServer(tmp_path_factory.mktemp("bench"))
    server.start()
    yield server
    server.kill()


@pytest.fixture
def context(browser):
    """A phone's browser, with nothing kept in it."""
    context = browser.new_context(viewport=PHONE, has_touch=True, accept_downloads=True)
    yield context
    context.close()


@pytest.fixture
def phone(server, context, request):
    """A page of the bench with work chosen; worker and product are the test's own."""
    phone = Phone(context, server.address, worker=request.node.name[5:65].strip())
    phone.open().choose_work(product=f"notebook of {phone.worker}")
    yield phone
    assert phone.errors == []


def laps_of(server: BenchServer, worker: str) -> list[dict]:
    """The laps that count of one worker, oldest first."""
    return [lap for lap in server.laps() if lap["worker"] == worker]


LAPS = """
  SELECT lap.*, (SELECT flags FROM bench_delivery AS d WHERE d.lap_id = lap.lap_id
                 ORDER BY revision DESC LIMIT 1) AS flags
  FROM lap WHERE ended_by IS NULL ORDER BY started_at
"""


@dataclass
class Phone:
    """One page of the bench, and when its target was really pressed (wall milliseconds)."""

    context: object
    address: str
    worker: str
    taps: list[tuple[float, float]] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    page: object = None
    opened_at: int = field(default_factory=lambda: time.time_ns() // 1000)

    def open(self) -> "Phone":
        """A new tab; its presses are noted with those of the tabs before it."""
        self.page = self.context.new_page()
        self.page.set_default_timeout(60_000)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.expose_function("testerTap", lambda at, origin: self.taps.append((at, origin)))
        self.page.add_init_script(WATCH_TAPS)
        self.page.goto(f"{self.address}/bench")
        self.page.locator(".target").first.wait_for()
        return self

    def choose_work(self, product="pocket notebook", operation="sew", known=False) -> "Phone":
        """Type worker, product and operation, as on the very first day, or pick `known` ones."""
        page = self.page
        self._type("#who", "Somebody new", self.worker)
        if known:
            page.locator("#work").click()
            page.get_by_role("button", name=product, exact=True).click()
            page.locator("#sheet-close").click()
            return self.choose_operation(operation, known=True)
        page.locator("#work").click()
        page.get_by_label("Another product").fill(product)
        page.get_by_role("button", name="Use this name").click()
        page.get_by_role("button", name=product, exact=True).wait_for()
        page.locator("#sheet-close").click()
        return self.choose_operation(operation)

    def choose_operation(self, operation: str, known: bool = False) -> "Phone":
        """Tap an operation's chip, or type one that the shop's lists do not have yet."""
        chip = self.page.locator("#route").get_by_text(operation, exact=True)
        if known:
            chip.click()
        else:
            self._type("#route button:last-child", "What is it called?", operation)
        chip.wait_for()
        return self

    def more(self, sheet: str) -> None:
        """Open a sheet of the More button."""
        self.page.locator("#more").click()
        self.page.locator("#sheet").get_by_role("button", name=sheet, exact=True).click()

    def _type(self, opener: str, label: str, name: str) -> None:
        self.page.locator(opener).click()
        self.page.get_by_label(label).fill(name)
        # Without a pointer: names that come from the shop just then would move the button from
        # under it, and Enter counts as a tap here.
        self.page.get_by_role("button", name="Use this name").dispatch_event("click")
        self.page.locator("#sheet").wait_for(state="hidden")

    def tap(self) -> None:
        self.page.locator(".target").first.click()

    def shows(self, figure: str) -> str:
        """A figure of the read-out: "Pieces done", "Last", "Today", "Usual"."""
        cells = self.page.locator("#figures div", has_text=figure)
        return cells.locator("dd").inner_text()

    def waits_for(self, pieces: int) -> None:
        """Until the screen says so: then the laps are on the phone's disk."""
        try:
            self.page.wait_for_function(
                "n => parseInt(document.querySelector('#figures dd').textContent) === n", arg=pieces
            )
        except Error as late:
            shown = self.page.locator("main").inner_text()
            raise AssertionError(f"{pieces} pieces expected, shown:\n{shown}") from late

    def waits_until_sent(self, patience_seconds: float = 60) -> None:
        self.page.wait_for_function(
            "() => document.querySelector('#queue').textContent.includes('all sent')",
            timeout=1000 * patience_seconds,
        )

    def lap_seconds(self) -> list[tuple[float, bool]]:
        """Between one press and the next, and whether the page was loaded anew in between."""
        return [
            ((after - before) / 1000, origin_after != origin_before)
            for (before, origin_before), (after, origin_after) in zip(
                self.taps, self.taps[1:], strict=False
            )
        ]
