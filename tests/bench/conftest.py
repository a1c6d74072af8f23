"""Servers that several tests of a file share."""

import time

import pytest

from analysis.store.bench_devices import Devices
from analysis.store.store import open_store
from tests.bench.serving import Server, another_machine, key_in


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """As `streamlit run app.py` starts it: for this computer only."""
    running = Server(tmp_path_factory.mktemp("server")).start()
    yield running
    running.stop()


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """Opened to the local network by its switch."""
    folder = tmp_path_factory.mktemp("opened")
    running = Server(folder, "--server.address", "0.0.0.0", WORKSHOP_OPEN="1").start()
    yield running
    running.stop()


@pytest.fixture
def devices(opened):
    """The devices of the opened server, as its Laps screen sees them."""
    return Devices(open_store(f"sqlite:///{opened.store}").engine)


@pytest.fixture
def code(devices):
    """A pairing code just shown."""
    return devices.new_code(now())


@pytest.fixture
def elsewhere():
    """The address of another machine, new for each test."""
    return another_machine()


@pytest.fixture
def key(opened, code, elsewhere):
    """The cookie of a device just paired from another machine."""
    answer = opened.pair(code, source=elsewhere)
    assert answer.status == 200, answer.body
    return key_in(answer)


def now() -> int:
    return time.time_ns() // 1000
