"""The demo's laps on a server of their own, twenty phones that tap, and the store after that."""

import http.client
import math
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from analysis.store.demo import open_demo
from analysis.store.store import Store, open_store
from tests.bench.serving import ROOT, Server, at_clock, body_of, lap

PHONES, EVERY_SECONDS = 20, 2.0


@dataclass(frozen=True)
class Post:
    """One lap sent once; `failure` is empty where the server acknowledged it."""

    lap_id: str
    seconds: float  # from connecting to the whole answer
    failure: str


@contextmanager
def served(folder: Path) -> Iterator[tuple[Server, Store]]:
    """A server on a store that holds the demo's laps, and a handle of our own on that store."""
    url = open_demo(ROOT / "data_samples", folder).url
    store, server = open_store(url), Server(folder, WORKSHOP_STORE=url).start()
    try:
        yield server, store
    finally:
        server.stop()
        store.close()


def tapped(
    server: Server,
    store: Store,
    seconds: float,
    meanwhile: Callable[[], object],
    most_seconds: float = math.inf,
) -> list[Post]:
    """Every post of all phones in so long; `meanwhile` is called every second. A phone whose server
    is slow posts late, and stops for good after `most_seconds`."""
    routing = store.routing()
    assert routing is not None
    steps = list(zip(routing["product"], routing["operation"], strict=True))
    with ThreadPoolExecutor(PHONES) as hands:
        phones = [
            hands.submit(_phone, server, number, *steps[number % len(steps)], seconds, most_seconds)
            for number in range(PHONES)
        ]
        while not all(phone.done() for phone in phones):
            meanwhile()
            time.sleep(1)  # between two looks at a shop at work
        return [post for phone in phones for post in phone.result()]


def _phone(
    server: Server, number: int, product: str, operation: str, seconds: float, most_seconds: float
) -> list[Post]:
    posts: list[Post] = []
    began = time.monotonic()
    due = began + EVERY_SECONDS * number / PHONES  # not all in one moment
    while len(posts) < round(seconds / EVERY_SECONDS) and time.monotonic() < began + most_seconds:
        time.sleep(max(0.0, due - time.monotonic()))  # the piece is being made
        started_at = at_clock(seconds=-EVERY_SECONDS)
        one = lap(product=product, operation=operation, worker=f"hand {number}", batch="load",
                  started_at=started_at, seconds=EVERY_SECONDS)  # fmt: skip
        posts.append(_post(server, one["lap_id"], body_of(one, device=f"phone-load-{number:04}")))
        due += EVERY_SECONDS
    return posts


def _post(server: Server, lap_id: str, body: str) -> Post:
    began = time.perf_counter()
    try:
        answer = server.ask("POST", "/laps", body)
        told = [one["lap_id"] for one in answer.json.get("acknowledged", [])]
        failure = "" if told == [lap_id] else f"{answer.status}: {answer.body.decode()}"
    except (OSError, http.client.HTTPException, ValueError) as error:
        failure = repr(error)
    return Post(lap_id, time.perf_counter() - began, failure)


def times_kept(store: Store, posts: list[Post]) -> Counter[int]:
    """How many of the acknowledged laps the store holds once (and not at all, and twice)."""
    held = Counter(store.laps()["lap_id"])
    return Counter(held[post.lap_id] for post in posts if not post.failure)
