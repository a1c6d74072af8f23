"""The store's daily backup, made by the server while it runs."""

import asyncio
import logging
from collections.abc import Callable
from datetime import date
from pathlib import Path

from analysis.bench.service import Bench
from analysis.problems import Problem

FIRST_LOOK_SECONDS = 60  # the start belongs to the first page
LOOK_SECONDS = 60  # a look is one listing of a folder, and a new workshop's laps come at any time
AGAIN_SECONDS = 3600  # after one that failed: why it did seldom passes in a minute
_log = logging.getLogger(__name__)


async def keep_backed_up(bench: Bench, today: Callable[[], date] = date.today) -> None:
    """Look every minute whether today's backup is there, and make it where not; for ever.

    A failure is written to the log and tried again an hour later: no lap waits for it.
    """
    await asyncio.sleep(FIRST_LOOK_SECONDS)
    while True:
        pause = LOOK_SECONDS
        try:
            await asyncio.to_thread(back_up_if_due, bench.store_url, today())
        except Problem as problem:
            _log.warning("%s", problem)
            pause = AGAIN_SECONDS
        await asyncio.sleep(pause)


def back_up_if_due(store_url: str | None, today: date) -> Path | None:
    """Today's backup if it had to be made; a store in a database server is its keeper's to back
    up, and where nothing is stored yet there is nothing to do."""
    from analysis.store.backup import back_up, backups, has_records  # opened at the first need
    from analysis.store.connection import store_file

    file = store_file(store_url)
    if file is None or not file.exists() or any(old.day == today for old in backups(file)):
        return None
    return back_up(file, today).path if has_records(file) else None
