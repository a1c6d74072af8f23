"""A store seen from the door: how many laps it has and which change was its last, at a glance.

Opening a store loads the database toolkit and the tables of figures, some 0.4 s at every start.
A page that only shows what was kept needs two numbers of it, and asks SQLite for them directly;
whatever else is asked of a store opens it.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

if TYPE_CHECKING:
    from analysis.store.store import Store  # slow to import: what a glance is there to avoid

BUSY_SECONDS = 15
LAPS = "SELECT coalesce(sum(laps), 0) FROM day_total"
LAST_CHANGE = "SELECT id, at FROM change ORDER BY id DESC LIMIT 1"
VERSION = "SELECT coalesce(max(id), 0) FROM change"
REMEMBERED = "SELECT text FROM remembered WHERE name = ?"
COUNTED = (LAPS, VERSION)  # of a file that is not there yet: 0


class Unopened:
    """A store that is opened by `open_it` when asked for more than it takes a glance to tell.

    Where a glance does not do (another database than SQLite, a damaged or older file), the opened
    store answers, or says what is wrong with it.
    """

    def __init__(self, url: str, open_it: Callable[[], Store]):
        self.url = url if "://" in url else f"sqlite:///{quote(url, safe=' +/')}"
        self._file = _file(self.url)
        self._open_it, self._lock = open_it, threading.RLock()
        self._store: Store | None = None
        self._connection: sqlite3.Connection | None = None
        self._counted: tuple[tuple, int] | None = None  # the change after which, how many laps

    def __getattr__(self, name: str) -> Any:
        return getattr(self.opened(), name)

    def opened(self) -> Store:
        """The store itself."""
        with self._lock:
            if self._store is None:
                self._store = self._open_it()
            return self._store

    def version(self) -> int:
        """The number of the latest change, 0 where there is none."""
        row = self._look(VERSION)
        return self.opened().version() if row is None else row[0]

    def lap_count(self) -> int:
        """How many laps count now; they are counted once after each change."""
        last = self._look(LAST_CHANGE)
        if last is None:
            return self.opened().lap_count()
        if self._counted is None or self._counted[0] != last:
            row = self._look(LAPS)
            if row is None:
                return self.opened().lap_count()
            self._counted = last, row[0]
        return self._counted[1]

    def remembered(self, name: str) -> str:
        """What a screen had remembered under a name, blank where nothing was."""
        row = self._look(REMEMBERED, name)
        return self.opened().remembered(name) if row is None else next(iter(row), "")

    def last_change(self) -> tuple:
        """Number and time (microseconds of UTC) of the latest change; nothing where there is none.

        Another store in the same place may have come to as many changes, but not in the same
        microsecond.
        """
        row = self._look(LAST_CHANGE)
        if row is None:
            last = self.opened().changes(limit=1)
            numbers, times = last.change_id.tolist(), last["at"].astype("int64").tolist()
            return next(zip(numbers, times, strict=True), ())
        return row

    def _look(self, question: str, *given: str) -> tuple | None:
        """The first row of an answer, () where there is none yet; None where a glance fails."""
        if self._file is None:
            return None
        try:
            with self._lock:
                if self._connection is None and self._file.exists():
                    self._connection = _connected(self._file)
                if self._connection is None:
                    return (0,) if question in COUNTED else ()
                return self._connection.execute(question, given).fetchone() or ()
        except (sqlite3.Error, OSError):
            return None


def default_url() -> str:
    """The address in WORKSHOP_STORE, or a file in the user's data folder."""
    if named := os.environ.get("WORKSHOP_STORE"):
        return named
    import platformdirs  # only where no other place is named

    folder = platformdirs.user_data_path("workshop-study", appauthor=False)
    return f"sqlite:///{folder / 'workshop.sqlite'}"


def last_change(store: Store | Unopened) -> tuple:
    """The latest change of a store, opened or not; see `Unopened.last_change`."""
    if isinstance(store, Unopened):
        return store.last_change()
    return Unopened(store.url, lambda: store).last_change()


def _file(url: str) -> Path | None:
    """The file of an address that is nothing but a SQLite file."""
    kind, _, place = url.partition(":///")
    plain = kind == "sqlite" and place and not place.startswith((":", "file:")) and "?" not in place
    return Path(unquote(place)) if plain else None


def _connected(file: Path) -> sqlite3.Connection:
    # Read and write, as a reader of a write-ahead log also keeps its index.
    address = f"file:{quote(str(file.resolve()))}?mode=rw"
    return sqlite3.connect(address, timeout=BUSY_SECONDS, isolation_level=None, uri=True,
                           check_same_thread=False)  # fmt: skip
