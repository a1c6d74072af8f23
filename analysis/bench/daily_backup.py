"""The store's daily backup, made by the server while it runs."""

import asyncio
import logging
from collections.abc import Callable
from datetime import date
from pathlib import Path

from analysis.bench.service import Bench
from analysis.problems import Problem

FIRST_LOOK_SECONDS = 60  # the start belongs to the first page
LOOK_SECONDS = 3600
_log = logging.getLogger(__name__)


async def keep_backed_up(
    bench: Bench,
    today: Callable[[], date] = date.today,
    first_look_seconds: float = FIRST_LOOK_SECONDS,
    look_seconds: float = LOOK_SECONDS,
) -> None:
    """Look every hour whether today's backup is there, and make it where not; for ever.

    A failure is written to the log and tried again at the next look: no lap waits for it.
    """
    await asyncio.sleep(first_look_seconds)
    while True:
        try:
            await asyncio.to_thread(back_up_if_due, bench.store_url, today())
        except Problem as problem:
            _log.warning("%s", problem)
        await asyncio.sleep(look_seconds)


def back_up_if_due(store_url: str | None, today: date) -> Path | None:
    """Today's backup if it had to be made; a store in a database server is its keeper's to back
    up, and where nothing is stored yet there is nothing to do."""
    from analysis.store.backup import back_up, backups  # the store opens at the first need
    from analysis.store.connection import store_file

    file = store_file(store_url)
    if file is None or not file.exists() or any(old.day == today for old in backups(file)):
        return None
    return back_up(file, today).path
