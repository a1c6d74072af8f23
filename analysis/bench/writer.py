"""One thread that writes what phones deliver: all that waits goes into one commit.

A commit waits for the disk, whatever is in it; twenty phones that wait for one commit wait no
longer than one. The event loop only hands over and is told when the commit is on the disk.
"""

import asyncio
import contextlib
import logging
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass

from analysis.problems import Problem

MOST_WAITING = 512
MOST_IN_ONE_COMMIT = 64


class Full(Exception):
    """So many requests wait for the disk that another had better come later."""


@dataclass(frozen=True)
class _Waiting:
    delivery: object
    loop: asyncio.AbstractEventLoop
    done: asyncio.Future


class Writer:
    """Hands deliveries to `record`, as many at once as wait, from a thread of its own."""

    def __init__(self, record: Callable[[list], None]):
        self._record = record
        self._queue: queue.SimpleQueue[_Waiting] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    async def put(self, delivery: object) -> None:
        """Return when the delivery is on the disk; raises what `record` raised, or Full."""
        if self._queue.qsize() >= MOST_WAITING:
            raise Full
        loop = asyncio.get_running_loop()
        waiting = _Waiting(delivery, loop, loop.create_future())
        self._queue.put(waiting)
        if self._thread is None:
            self._start()
        await waiting.done

    def _start(self) -> None:
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="bench-writer", daemon=True)
                self._thread.start()

    def _run(self) -> None:
        while True:
            self._write(self._all_that_waits())

    def _all_that_waits(self) -> list[_Waiting]:
        together = [self._queue.get()]
        while len(together) < MOST_IN_ONE_COMMIT and not self._queue.empty():
            together.append(self._queue.get())
        return together

    def _write(self, together: list[_Waiting]) -> None:
        """Record them in one commit; where one of them fails, each by itself, to save the others.

        A Problem is the store's (locked, disk full): it would be the same for each, so it is told
        to all at once.
        """
        try:
            self._record([one.delivery for one in together])
        except Exception as error:
            if len(together) > 1 and not isinstance(error, Problem):
                for one in together:
                    self._write([one])
                return
            logging.getLogger(__name__).warning("laps could not be written: %s", error)
            _tell(together, error)
            return
        _tell(together, None)


def _tell(together: list[_Waiting], error: Exception | None) -> None:
    """Wake those who wait, each on its own event loop, one wake-up a loop."""
    by_loop: dict[asyncio.AbstractEventLoop, list[asyncio.Future]] = {}
    for one in together:
        by_loop.setdefault(one.loop, []).append(one.done)
    for loop, futures in by_loop.items():
        with contextlib.suppress(RuntimeError):  # the server has shut down; nobody waits
            loop.call_soon_threadsafe(_settle, futures, error)


def _settle(futures: list[asyncio.Future], error: Exception | None) -> None:
    for future in futures:
        if future.done():
            continue  # whoever asked has gone
        if error is None:
            future.set_result(None)
        else:
            future.set_exception(error)
