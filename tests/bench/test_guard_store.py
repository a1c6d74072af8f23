"""A dashboard that is open on another machine when the store becomes unreadable."""

import sqlite3

import pytest
from websockets.exceptions import ConnectionClosed

from analysis.bench.guard import TRY_AGAIN_LATER
from analysis.store.bench_devices import Devices
from analysis.store.store import open_store
from tests.bench.conftest import now
from tests.bench.serving import Server, another_machine, key_in
from tests.bench.test_guard import websocket


def test_its_websocket_is_closed_to_try_again_and_the_log_says_why_once(tmp_path):
    running = Server(tmp_path, "--server.address", "0.0.0.0", WORKSHOP_OPEN="1").start()
    try:
        devices = Devices(open_store(f"sqlite:///{running.store}").engine)
        elsewhere = another_machine()
        key = key_in(running.pair(devices.new_code(now()), source=elsewhere))
        with websocket(running, elsewhere, running.origin, Cookie=key) as stream:
            assert stream.ping().wait(10)
            with sqlite3.connect(running.store) as other:
                other.execute("ALTER TABLE bench_device RENAME TO gone")
            with pytest.raises(ConnectionClosed) as closed:
                stream.recv(20)
        assert closed.value.rcvd.code == TRY_AGAIN_LATER
        for _ in range(3):
            refused = running.ask("GET", "/bench/lists", source=elsewhere, Cookie=key)
            assert refused.status == 503
    finally:
        running.stop()
    log = (tmp_path / "server.log").read_text()
    assert log.count("who is paired cannot be read") == 1
    assert "Traceback" not in log
