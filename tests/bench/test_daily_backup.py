"""The server backs the store up once a day by itself."""

import asyncio
import time
from datetime import date, timedelta

from analysis.bench import daily_backup
from analysis.bench.daily_backup import back_up_if_due, keep_backed_up
from analysis.bench.service import Bench
from analysis.records.laps import read_laps
from analysis.store.backup import backups, is_whole
from analysis.store.connection import store_file
from analysis.store.store import open_store
from tests.bench.serving import ROOT, Server

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


def test_a_store_made_but_never_written_into_waits_for_its_first_records(own_store):
    open_store(own_store).close()
    file = store_file(own_store)
    assert file.exists() and back_up_if_due(None, TODAY) is None
    stored(own_store)
    assert back_up_if_due(None, TODAY) is not None


def test_a_store_that_is_just_being_made_is_not_taken_for_the_day_s_records(own_store):
    """Its file is there before its tables are."""
    file = store_file(own_store)
    file.parent.mkdir(parents=True, exist_ok=True)
    file.touch()
    assert back_up_if_due(None, TODAY) is None and not backups(file)


def test_laps_that_come_after_the_first_look_are_backed_up_by_the_running_program(tmp_path):
    """A new workshop: the program runs, finds nothing to keep, and an hour's laps come in then."""
    server = Server(tmp_path)
    server.script = tmp_path / "app.py"
    hurry = "FIRST_LOOK_SECONDS = daily_backup.LOOK_SECONDS"
    server.script.write_text(
        f"from analysis.bench import daily_backup\n\ndaily_backup.{hurry} = 0.5\n"
        + (ROOT / "app.py").read_text()
    )
    server.environment["PYTHONPATH"] = str(ROOT)
    server.start()
    try:
        time.sleep(2)  # some looks at nothing
        assert not server.store.exists()
        stored(f"sqlite:///{server.store}")
        deadline = time.monotonic() + 60
        while not backups(server.store):
            assert time.monotonic() < deadline, (tmp_path / "server.log").read_text()[-2000:]
            time.sleep(0.2)
    finally:
        server.stop()
    (made,) = backups(server.store)
    assert is_whole(made.path) and open_store(str(made.path)).lap_count() == 1


def test_a_backup_that_fails_is_told_in_the_log_and_tried_again(own_store, caplog, monkeypatch):
    monkeypatch.setattr(daily_backup, "FIRST_LOOK_SECONDS", 0)
    monkeypatch.setattr(daily_backup, "AGAIN_SECONDS", 0.01)
    file = stored(own_store)
    in_the_way = file.with_name(f"{file.stem} backups")
    in_the_way.write_bytes(b"")  # no folder of backups can be made where a file is

    async def run():
        task = asyncio.create_task(keep_backed_up(Bench(own_store), lambda: TODAY))
        while "could not be backed up" not in caplog.text:
            await asyncio.sleep(0.01)
        in_the_way.unlink()
        while not backups(file):
            await asyncio.sleep(0.01)
        task.cancel()

    asyncio.run(asyncio.wait_for(run(), 30))
    assert backups(file)[0].day == TODAY
