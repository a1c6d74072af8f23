"""The server killed in the middle of posts, again and again: what it acknowledged is in the store,
and nothing is there twice. Phones keep sending until they are told, as the page does."""

import http.client
import json
import random
import sqlite3
import threading
from dataclasses import dataclass, field

import pytest

from tests.bench.serving import HERE, Server, body_of, lap


@dataclass
class Phone(threading.Thread):
    """Taps laps and sends each until it is acknowledged, however often the server goes away."""

    server: Server
    laps: int
    seed: int
    acknowledged: dict[str, float] = field(default_factory=dict)
    unanswered: int = 0

    def __post_init__(self):
        super().__init__(daemon=True)
        self.stopped = threading.Event()

    def __hash__(self):
        return id(self)

    def run(self):
        chance = random.Random(self.seed)
        for _ in range(self.laps):
            some = [lap(seconds=chance.uniform(1, 100)) for _ in range(chance.choice((1, 1, 1, 7)))]
            while not self._send(some) and not self.stopped.wait(0.02):
                pass  # the network is back when it is back

    def _send(self, some: list[dict]) -> bool:
        connection = http.client.HTTPConnection(HERE, self.server.port, timeout=10)
        headers = {"Origin": self.server.origin, "Content-Type": "application/json"}
        try:
            connection.request("POST", "/laps", body_of(*some), headers)
            answer = json.loads(connection.getresponse().read())
        except (OSError, http.client.HTTPException, ValueError):
            self.unanswered += 1
            return False
        finally:
            connection.close()
        ids = {one["lap_id"] for one in answer["acknowledged"]}
        self.acknowledged |= {one["lap_id"]: one["seconds"] for one in some if one["lap_id"] in ids}
        return len(ids) == len(some)


def in_store(server: Server) -> dict[str, float]:
    """The laps that count, by id; a lap that is there twice would break the unique index."""
    connection = sqlite3.connect(server.store)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    if not connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'lap'").fetchone():
        return {}  # killed before the first lap had made the tables
    rows = connection.execute("SELECT lap_id, seconds FROM lap WHERE ended_by IS NULL").fetchall()
    [(revisions,)] = connection.execute("SELECT count(*) FROM lap").fetchall()
    connection.close()
    assert len(rows) == len(dict(rows)) == revisions
    return dict(rows)


def kill_again_and_again(folder, laps: int, kills: int, seed: int) -> list[Phone]:
    """Three phones send while the server dies `kills` times; checks after every death."""
    server = Server(folder).start()
    phones = [Phone(server, laps, seed + number) for number in range(3)]
    chance = random.Random(seed)
    try:
        for phone in phones:
            phone.start()
        for _ in range(kills):
            phones[0].join(chance.uniform(0.1, 0.8))  # a while, in which they send
            server.kill()
            acknowledged = {}
            for phone in phones:
                acknowledged |= dict(phone.acknowledged)
            assert acknowledged.items() <= in_store(server).items()
            server.start()
        for phone in phones:
            phone.join(120)
    finally:
        for phone in phones:
            phone.stopped.set()
        server.stop()
    expected = {}
    for phone in phones:
        expected |= phone.acknowledged
    assert in_store(server) == expected
    assert len(expected) >= 3 * laps
    return phones


def test_nothing_acknowledged_is_lost_or_doubled_when_the_server_is_killed(tmp_path):
    phones = kill_again_and_again(tmp_path, laps=200, kills=2, seed=20261125)
    assert sum(phone.unanswered for phone in phones) > 0  # it did die while they sent


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_nothing_is_lost_over_many_deaths(tmp_path, seed):
    kill_again_and_again(tmp_path, laps=3000, kills=25, seed=seed)
