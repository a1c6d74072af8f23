"""A phone scans the code, is let in, and is shut out again: in a real browser, over the network.

The browser speaks to this computer by its address in the network, so to the server it is another
machine.
"""

import pytest

from analysis.bench.address import own_addresses, pairing_link
from analysis.store.bench_devices import Devices
from analysis.store.store import open_store
from tests.bench.conftest import now
from tests.bench.serving import Server


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pairing")
    server = Server(folder, "--server.address", "0.0.0.0", WORKSHOP_OPEN="1").start()
    yield server
    server.stop()


@pytest.mark.skipif(not own_addresses(), reason="this computer is in no network")
def test_a_scanned_code_lets_a_phone_in_until_it_is_shut_out(served, page):
    devices = Devices(open_store(f"sqlite:///{served.store}").engine)
    address = f"http://{own_addresses()[0]}:{served.port}"
    page.goto(address)
    page.get_by_role("heading", name="Pair this device with the workshop").wait_for()

    link = pairing_link("http", own_addresses()[0], served.port, devices.new_code(now()))
    page.goto("about:blank")
    page.goto(link)
    name = f"glue bench {page.viewport_size['width']}"
    page.get_by_label("What to call this device").fill(name)
    page.get_by_role("button", name="Pair this device").click()
    page.get_by_role("heading", name="Pair this device").wait_for(state="detached")
    assert "pair=" not in page.url
    [let_in] = [device for device in devices.all() if device.name == name]
    page.goto(f"{address}/shop?workshop=mine")
    page.get_by_role("heading", name="Shop").wait_for()  # its websocket is let in too

    devices.revoke(let_in.id, now())
    page.goto(f"{address}/bench")
    page.get_by_role("heading", name="Pair this device with the workshop").wait_for()


@pytest.mark.skipif(not own_addresses(), reason="this computer is in no network")
def test_a_used_code_says_what_to_do(served, page):
    devices = Devices(open_store(f"sqlite:///{served.store}").engine)
    code = devices.new_code(now())
    devices.pair(code, "first", now())
    page.goto(pairing_link("http", own_addresses()[0], served.port, code))
    page.get_by_role("button", name="Pair this device").click()
    page.get_by_text("Show a new one on the Laps screen").wait_for()
