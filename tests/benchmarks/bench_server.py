"""Laps over HTTP to a real server, each answered when it is on the disk, against bare commits.

The reference writes the same row by itself: SQLite, write-ahead log, synchronous=FULL, in the same
folder and in turns with the server. Both have filled their log once before they are measured: as
long as the log grows, each commit writes the file's length too and takes up to 25 times as long,
which would hide what HTTP costs. Twenty clients are measured in two ways: as fast as they can, and
as twenty people who tap twice a second.

What HTTP itself costs here is measured in the same rounds: the same POST to a bare route of the
same libraries that answers at once, and to our server without a lap in it. No server written in
them can be quicker than that bare route and a bare commit together.
"""

import json
import random
import selectors
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from dataclasses import replace
from pathlib import Path

from tests.bench.serving import HERE, ROOT, Server, body_of, free_port, lap
from tests.benchmarks.rows import Row

ROUNDS = 8
POSTS = 60  # a client and round
MANY = 20
TAP_EVERY_SECONDS = 0.5
BATCH, QUEUED = 500, 50_000
FILLS_THE_LOG = 1500  # commits; SQLite begins its log anew after 1,000 pages
COLUMNS = ("lap_id", "started_at", "seconds", "product", "operation", "worker", "variant", "batch",
           "activity", "units", "rework_units", "scrap_units", "rating", "note")  # fmt: skip


def rows() -> list[Row]:
    """One client, twenty clients, and what an afternoon without network leaves behind."""
    with tempfile.TemporaryDirectory(dir=".") as folder:
        server = Server(Path(folder)).start()
        bare = [BareWriter(Path(folder) / "bare.sqlite") for _ in range(MANY)]
        try:
            _post([_request(server, lap()) for _ in range(FILLS_THE_LOG)], server, 1)
            bare[0].commits(FILLS_THE_LOG)
            one = _one_client(server, bare[0])
            return [*one, *_many_clients(server, bare), _queued(server)]
        finally:
            server.stop()
            for writer in bare:
                writer.connection.close()


def _one_client(server: Server, bare: "BareWriter") -> list[Row]:
    alone, at_once, empty, ours = [], [], [], []
    with BareRoute() as route:
        _post([_request(route, lap()) for _ in range(POSTS)], route, 1)  # what loads at first use
        for _ in range(ROUNDS):
            alone += bare.commits(POSTS)
            at_once += _post([_request(route, lap()) for _ in range(POSTS)], route, 1)
            empty += _post([_request(server) for _ in range(POSTS)], server, 1)
            ours += _post([_request(server, lap()) for _ in range(POSTS)], server, 1)
    floor = statistics.median(alone) + statistics.median(at_once)
    row = _compared("POST /laps of one lap, durable, 1 client", alone, ours)
    note = (f"{row.note}; bare route and bare commit together {1000 * floor:.3g} ms, "
            f"{floor / row.reference:.3g}x")  # fmt: skip
    bare_route = "the same POST to a bare Starlette route that answers at once"
    without_lap = "the same POST without a lap to our server: let in, checked, nothing to write"
    return [
        replace(row, note=note),
        *(replace(_compared(name, alone, times), target="for comparison", met=True)
          for name, times in ((bare_route, at_once), (without_lap, empty))),
    ]  # fmt: skip


def _many_clients(server: Server, bare: list["BareWriter"]) -> list[Row]:
    together, ours, alone, tapped = [], [], [], []
    for _ in range(ROUNDS):
        together += _all_at_once(bare, POSTS // 4)
        ours += _post([_request(server, lap()) for _ in range(MANY * POSTS // 4)], server, MANY)
    for _ in range(ROUNDS // 2):
        alone += bare[0].commits(POSTS)
        requests = [_request(server, lap()) for _ in range(MANY * 4)]
        tapped += _post(requests, server, MANY, TAP_EVERY_SECONDS)
    return [
        _compared("POST /laps, 20 clients without a pause, against 20 bare writers",
                  together, ours),
        _compared("POST /laps, 20 clients tapping twice a second, against one bare writer",
                  alone, tapped),
    ]  # fmt: skip


def _compared(name: str, bare: list[float], ours: list[float]) -> Row:
    reference, median = statistics.median(bare), statistics.median(ours)
    means = statistics.fmean(bare), statistics.fmean(ours)
    note = (f"mean {1000 * means[0]:.3g} ms bare, {1000 * means[1]:.3g} ms ours; 99th percentile "
            f"{1000 * _p99(bare):.3g} ms bare, {1000 * _p99(ours):.3g} ms ours")  # fmt: skip
    ratio = median / reference
    return Row(name, reference, median, ratio, "at most 2x", ratio <= 2, note)


def _p99(times: list[float]) -> float:
    return sorted(times)[int(len(times) * 0.99)]


def _queued(server: Server) -> Row:
    laps = [lap(seconds=random.uniform(1, 200)) for _ in range(QUEUED)]
    requests = [_request(server, *laps[at : at + BATCH]) for at in range(0, QUEUED, BATCH)]
    began = time.perf_counter()
    _post(requests, server, 1)
    took = time.perf_counter() - began
    name = f"{QUEUED:,} laps queued offline, delivered {BATCH} at a time"
    return Row(name, None, took, None, "under 60 s", took < 60)


def _request(server: "Server | BareRoute", *laps: dict) -> bytes:
    body = body_of(*laps).encode()
    head = (
        f"POST /laps HTTP/1.1\r\nHost: {HERE}:{server.port}\r\nOrigin: {server.origin}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode() + body


def _post(
    requests: list[bytes], server: "Server | BareRoute", clients: int, pause: float = 0
) -> list[float]:
    """Seconds from sending to the whole answer of each request, shared out among the clients.

    One thread serves all clients, so that the measuring takes as little of the two processors as
    it can.
    """
    ready = selectors.DefaultSelector()
    for number in range(clients):
        plug = socket.create_connection((HERE, server.port))
        plug.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        client = _Client(plug, requests[number::clients], pause, random.random() * pause)
        ready.register(plug, selectors.EVENT_READ, client)
    everyone = [key.data for key in ready.get_map().values()]
    while not all(client.finished for client in everyone):
        for client in everyone:
            client.send_if_due()
        for key, _ in ready.select(0.001 if pause else 5):
            key.data.receive()
    for client in everyone:
        client.plug.close()
    return [seconds for client in everyone for seconds in client.times]


class _Client:
    """One connection that sends its requests one after another."""

    def __init__(self, plug: socket.socket, requests: list[bytes], pause: float, first: float):
        self.plug, self.requests, self.pause = plug, requests, pause
        self.due = time.perf_counter() + first
        self.times: list[float] = []
        self.answer: bytes | None = None

    @property
    def finished(self) -> bool:
        return len(self.times) == len(self.requests)

    def send_if_due(self) -> None:
        if self.answer is None and not self.finished and time.perf_counter() >= self.due:
            self.answer, self.sent = b"", time.perf_counter()
            self.plug.sendall(self.requests[len(self.times)])

    def receive(self) -> None:
        self.answer += self.plug.recv(1 << 20)
        head, _, body = self.answer.partition(b"\r\n\r\n")
        if len(body) == _length(head) or not self.answer:
            self.times.append(time.perf_counter() - self.sent)
            told, sent = json.loads(body), self.requests[len(self.times) - 1]
            assert len(told["acknowledged"]) == sent.count(b'"lap_id"'), told
            self.answer, self.due = None, self.sent + self.pause


def _length(head: bytes) -> int:
    for line in head.lower().split(b"\r\n"):
        if line.startswith(b"content-length:"):
            return int(line.partition(b":")[2])
    return -1


class BareRoute:
    """A process that serves bare_route.py."""

    def __enter__(self) -> "BareRoute":
        self.port = free_port()
        self.origin = f"http://{HERE}:{self.port}"
        command = [sys.executable, "-m", "uvicorn", "tests.benchmarks.bare_route:app"]
        options = ["--port", str(self.port), "--no-access-log", "--log-level", "warning"]
        self.process = subprocess.Popen([*command, *options], cwd=ROOT)
        while self.process.poll() is None:
            try:
                socket.create_connection((HERE, self.port)).close()
                return self
            except OSError:
                time.sleep(0.05)  # between two questions to a process that is still starting
        raise RuntimeError("the bare route did not start")

    def __exit__(self, *_) -> None:
        self.process.terminate()
        self.process.wait()


class BareWriter:
    """Commits one row after another on a connection of its own."""

    def __init__(self, path: Path):
        self.connection = sqlite3.connect(path, timeout=60, isolation_level=None,
                                          check_same_thread=False)  # fmt: skip
        self.connection.execute("PRAGMA journal_mode=WAL")
        self.connection.execute("PRAGMA synchronous=FULL")
        self.connection.execute(f"CREATE TABLE IF NOT EXISTS lap ({', '.join(COLUMNS)})")

    def commits(self, count: int) -> list[float]:
        """Seconds of each of `count` commits."""
        insert = f"INSERT INTO lap VALUES ({', '.join('?' * len(COLUMNS))})"
        row = lap()
        times = []
        for _ in range(count):
            values = [str(uuid.uuid4()), *(row[name] for name in COLUMNS[1:])]
            began = time.perf_counter()
            self.connection.execute("BEGIN IMMEDIATE")
            self.connection.execute(insert, values)
            self.connection.execute("COMMIT")
            times.append(time.perf_counter() - began)
        return times


def _all_at_once(bare: list[BareWriter], count: int) -> list[float]:
    """The same of all these writers at once."""
    times: list[float] = []
    writers = [threading.Thread(target=lambda one=one: times.extend(one.commits(count)))
               for one in bare]  # fmt: skip
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    return times
