"""The bench's side of the program: one store, one writer, one list maker, for all requests.

Everything is opened at the first request that needs it, so that the server starts at once.
"""

from __future__ import annotations

import os
from functools import cached_property
from typing import TYPE_CHECKING

from analysis.bench.assets import Assets
from analysis.bench.throttle import Throttle
from analysis.bench.writer import Writer

if TYPE_CHECKING:  # slow to load, and not needed for the server to start
    from analysis.bench.lists import Lists
    from analysis.bench.next_task import NextTask
    from analysis.store.bench_devices import Device, Devices
    from analysis.store.store import Store

OPEN_SWITCH = "WORKSHOP_OPEN"


def is_open() -> bool:
    """Whether the program was started so that other machines may come in, when paired."""
    return os.environ.get(OPEN_SWITCH, "").strip().lower() in {"1", "yes", "true", "on"}


class Bench:
    """What the routes and the guard share; what opens the store is asked for in a thread."""

    def __init__(self, store_url: str | None = None):
        self.store_url = store_url
        self.assets = Assets()
        self.writer = Writer(self._record)
        self.senders = Throttle(burst=600, per_second=40)  # a phone taps once in some seconds
        self.this_computer = Throttle(burst=6000, per_second=1000)
        self.pairings = Throttle(burst=10, per_second=1 / 30)

    @property
    def is_open(self) -> bool:
        """Whether other machines may come in, when paired."""
        return is_open()

    @cached_property
    def store(self) -> Store:
        """The maker's own store, opened once."""
        from analysis.store.store import open_store

        return open_store(self.store_url)

    @cached_property
    def devices(self) -> Devices:
        """The devices that may come in."""
        from analysis.store.bench_devices import Devices

        return Devices(self.store.engine)

    @cached_property
    def lists(self) -> Lists:
        """What the page offers to pick from."""
        from analysis.bench.lists import Lists

        return Lists(self.store)

    @cached_property
    def next_task(self) -> NextTask:
        """What each person here does next."""
        from analysis.bench.next_task import NextTask

        return NextTask(self.store, self.lists.present)

    def _record(self, deliveries: list[tuple[str, object]]) -> None:
        """Record what requests brought, each a kind and a delivery, in one commit."""
        from analysis.store import bench, bench_batches, bench_stock
        from analysis.store.connection import writing

        kinds = {"laps": bench, "put_away": bench_stock, "batches": bench_batches}
        with writing(self.store.engine) as connection:
            for kind, recorder in kinds.items():
                some = [delivery for its_kind, delivery in deliveries if its_kind == kind]
                if some:
                    recorder.record(connection, some)

    def device_known_by(self, key: str, now: int) -> Device | None:
        """The paired device that holds a key at `now` (microseconds UTC), None where there is none.

        Asks the store: to be called in a thread.
        """
        return self.devices.known_by(key, now)
