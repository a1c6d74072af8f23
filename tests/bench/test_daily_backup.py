"""The server backs the store up once a day by itself."""

import asyncio
from datetime import date, timedelta

from analysis.bench.daily_backup import back_up_if_due, keep_backed_up
from analysis.bench.service import Bench
from analysis.records.laps import read_laps
from analysis.store.backup import backups
from analysis.store.connection import store_file
from analysis.store.store import open_store

TODAY = date(2026, 3, 4)
LAP = b"started_at,seconds,product,operation\n2026-03-02,5,journal,sew\n"


def stored(url):
    store = open_store(url)
    store.import_laps(read_laps(LAP))
    store.close()
    return store_file(url)


def test_once_a_day_and_again_the_next_day(own_store):
    file = stored(own_store)
    assert back_up_if_due(None, TODAY) == backups(file)[0].path
    assert back_up_if_due(None, TODAY) is None
    assert back_up_if_due(None, TODAY + timedelta(days=1)) is not None
    assert len(backups(file)) == 2


def test_before_the_first_lap_no_store_is_made(own_store):
    assert back_up_if_due(None, TODAY) is None
    assert not store_file(own_store).exists()


def test_a_store_in_a_database_server_is_left_to_its_keeper():
    assert back_up_if_due("postgresql+psycopg://user@host/shop", TODAY) is None


def test_a_backup_that_fails_is_told_in_the_log_and_tried_again(own_store, caplog):
    file = stored(own_store)
    in_the_way = file.with_name(f"{file.stem} backups")
    in_the_way.write_bytes(b"")  # no folder of backups can be made where a file is

    async def run():
        task = asyncio.create_task(keep_backed_up(Bench(own_store), lambda: TODAY, 0, 0.01))
        while "could not be backed up" not in caplog.text:
            await asyncio.sleep(0.01)
        in_the_way.unlink()
        while not backups(file):
            await asyncio.sleep(0.01)
        task.cancel()

    asyncio.run(asyncio.wait_for(run(), 30))
    assert backups(file)[0].day == TODAY
