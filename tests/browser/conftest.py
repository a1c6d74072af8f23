"""A real server process with a store of its own, and a real Chromium at phone or desktop size."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import expect

from tests.browser import bench_server

context, phone, server = bench_server.context, bench_server.phone, bench_server.server  # fixtures
ROOT = Path(__file__).parents[2]
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1440, "height": 900}
PATIENCE_SECONDS = 90  # a machine that many share may draw a page so slowly
expect.set_options(timeout=1000 * PATIENCE_SECONDS)
# Without these, Debian's Chromium keeps asking for hosts that a closed network refuses.
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


# Screen by screen, a clean clone is looked at on a phone; main paths at both sizes all the same.
DESKTOP_IN_THE_SLOW_RUN = {
    "test_live.py", "test_look_screens.py", "test_order_of_work.py", "test_pairing.py",
    "test_putting_right.py", "test_what_if.py", "test_export_gives_back_every_lap",
}  # fmt: skip

# The program as it is, but soon through with what it works out beside the page: fewer simulated
# runs, and a shorter search for an order (which counts its own work, not a clock).
HURRIED = """
from analysis.screens import planning, what_if_jobs

planning.FULL_EFFORT, planning.WHY_EFFORT = 0.5, 0.1
planning.FULL_TRIES, planning.FULL_WORTH_SECONDS = 40, (600, 3600)
what_if_jobs.FIRST_RUNS, what_if_jobs.MORE_RUNS, what_if_jobs.ALL_RUNS = 4, 6, 8

"""


def pytest_collection_modifyitems(items):
    """Mark everything here as a browser test; without Chromium skip it, except on CI."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            sizes = item.callspec.params.values() if hasattr(item, "callspec") else ()
            one = {item.path.name, getattr(item, "originalname", "")}
            if one & DESKTOP_IN_THE_SLOW_RUN and "desktop" in sizes:
                item.add_marker(pytest.mark.slow)
            if CHROMIUM is None and not os.environ.get("CI"):
                item.add_marker(pytest.mark.skip(reason="needs Chromium: apt install chromium"))


@contextmanager
def running_app(folder: Path, demo: Path | None = None, before: str = ""):
    """Start `streamlit run app.py` on a free port with a home in `folder`; yield its address.

    `demo` is where the demo stands, so that a second server need not set it out and work it out
    again; `before` is what is to be carried out before app.py, after what it says of itself (which
    Streamlit would print on the page, stood it anywhere but first).
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = os.environ | {
        "HOME": str(folder),
        "WORKSHOP_STORE": f"sqlite:///{folder / 'workshop.sqlite'}",
        "WORKSHOP_DEMO_FOLDER": str(demo or folder / "demo"),
        "PYTHONPATH": str(ROOT),
    }
    script = folder / "app.py" if before else ROOT / "app.py"
    if before:
        said, code = (ROOT / "app.py").read_text().split('\n"""\n', 1)
        script.write_text(f'{said}\n"""\n{before}{code}')
    command = [sys.executable, "-m", "streamlit", "run", str(script)]
    options = ["--server.headless", "true", "--server.port", str(port)]
    with open(folder / "server.log", "w") as log:
        server = subprocess.Popen(
            command + options, cwd=ROOT, env=environment, stdout=log, stderr=subprocess.STDOUT
        )
        try:
            _wait_until_healthy(f"http://127.0.0.1:{port}/_stcore/health", server)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(timeout=20)


def _wait_until_healthy(address: str, server: subprocess.Popen, patience_seconds: float = 60):
    deadline = time.monotonic() + patience_seconds
    while time.monotonic() < deadline:
        if server.poll() is not None:
            raise RuntimeError(f"the server ended with status {server.returncode}")
        try:
            with urllib.request.urlopen(address, timeout=1):
                return
        except OSError:
            server_gone = server.poll() is not None
            if not server_gone:
                time.sleep(0.1)  # between two questions to a process that is still starting
    raise TimeoutError(address)


@pytest.fixture(scope="session")
def browser():
    """One Chromium for the whole run."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def demo(shared_folder):
    """Where the demo stands, set out and worked out once for all servers of this run."""
    return shared_folder("demo of the servers")


@pytest.fixture(scope="session")
def app(tmp_path_factory, demo):
    """The app with an empty store: what a newcomer meets. For tests that leave it as it is."""
    with running_app(tmp_path_factory.mktemp("app"), demo, HURRIED) as address:
        yield address


@contextmanager
def new_page(browser, size: dict[str, int], **reader):
    """A page of one kind of reader with nothing kept in it; an uncaught script error fails at its
    end. Its tab may be one that an earlier test has left, which has the program's scripts compiled
    already: a screen is then drawn in half the time."""
    left = _left_tabs.setdefault(str((size, reader)), [])
    if left:
        page = left.pop()
    else:
        page = browser.new_context(viewport=size, accept_downloads=True, **reader).new_page()
    page.set_default_timeout(1000 * PATIENCE_SECONDS)
    errors = []

    def note(error):
        errors.append(str(error))

    page.on("pageerror", note)
    try:
        yield page
    except BaseException:
        page.context.close()  # whatever it ended in is no start for the next
        raise
    page.remove_listener("pageerror", note)
    empty(page)
    page.set_viewport_size(size)
    left.append(page)
    assert errors == []


_left_tabs: dict[str, list] = {}
FORGET = """async () => {
  try {  // a page without an address keeps nothing
    for (const kept of [localStorage, sessionStorage]) kept.clear();
    for (const { name } of await indexedDB.databases()) indexedDB.deleteDatabase(name);
    for (const worker of await navigator.serviceWorker.getRegistrations()) worker.unregister();
  } catch { /* nothing there to forget */ }
}"""


def empty(page) -> None:
    """Leave a tab as one opened anew: nothing shown, pointed at or kept."""
    page.evaluate(FORGET)
    page.context.clear_cookies()
    page.mouse.move(0, 0)
    page.goto("about:blank")


@pytest.fixture(params=["phone", "desktop"])
def page(request, browser):
    """A fresh page at phone and at desktop size; fails on an uncaught script error."""
    with new_page(browser, PHONE if request.param == "phone" else DESKTOP) as page:
        yield page


def fits(page) -> None:
    """Wait until nothing sticks out of the screen sideways; what always does ends as a failure."""
    page.wait_for_function(
        """() => document.documentElement.scrollWidth <= innerWidth
          && document.querySelector("[data-testid=stMain]").scrollWidth <= innerWidth"""
    )
