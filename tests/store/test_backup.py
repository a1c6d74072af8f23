"""Backups: whole while others write, kept a week by day and a month by week, and brought back."""

import contextlib
import os
import shutil
import sqlite3
import subprocess
import tempfile
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from analysis.problems import NotFound, StoreProblem
from analysis.records.laps import read_laps
from analysis.store.backup import (
    Backup,
    back_up,
    backups,
    is_damaged,
    is_whole,
    restore,
    worn_out,
)
from analysis.store.store import open_store
from tests.command import run

TODAY = date(2026, 3, 4)
HEAD = "started_at,seconds,product,operation,lap_id\n"


def laps(*names):
    rows = "".join(f"2026-03-02T08:00:00Z,5,journal,sew,{name}\n" for name in names)
    return read_laps((HEAD + rows).encode())


@pytest.fixture
def place(tmp_path):
    return tmp_path / "work shop?.sqlite"


@pytest.fixture
def store(place):
    opened = open_store(str(place))
    opened.import_laps(laps("one", "two"))
    yield opened
    opened.close()


def lap_ids(place):
    store = open_store(str(place))
    try:
        return sorted(store.laps()["lap_id"])
    finally:
        store.close()


def test_a_backup_holds_what_was_committed_though_the_store_is_open(store, place):
    backup = back_up(place, TODAY)
    store.import_laps(laps("three"))
    assert backups(place) == [backup] and is_whole(backup.path)
    assert lap_ids(backup.path) == ["one", "two"]


def test_backups_made_while_laps_come_in_are_whole_and_keep_what_was_acknowledged(store, place):
    stop, acknowledged = threading.Event(), ["one", "two"]

    def tap():
        while not stop.is_set():
            name = f"lap-{len(acknowledged)}"
            store.import_laps(laps(name))
            acknowledged.append(name)

    tapping = threading.Thread(target=tap)
    tapping.start()
    try:
        for day in range(5):
            before = set(acknowledged)
            backup = back_up(place, TODAY + timedelta(days=day))
            assert before <= set(lap_ids(backup.path))
    finally:
        stop.set()
        tapping.join()
    assert len(acknowledged) > 2
    assert set(lap_ids(place)) == set(acknowledged)


def test_seven_days_and_four_weeks_are_kept():
    days = [Backup(TODAY - timedelta(days=n), Path(f"{n}")) for n in range(60)]
    gone = worn_out(days)
    kept = [(TODAY - backup.day).days for backup in days if backup not in gone]
    # Wednesday: seven days back to Thursday, then the Sundays that end the two weeks before;
    # this week's and the last one's latest are among the seven days.
    assert kept == [0, 1, 2, 3, 4, 5, 6, 10, 17]
    assert worn_out([backup for backup in days if backup not in gone]) == []


def test_a_shop_used_on_mondays_only_keeps_seven_mondays():
    mondays = [Backup(date(2026, 3, 2) - timedelta(weeks=n), Path(f"{n}")) for n in range(20)]
    assert worn_out(mondays) == mondays[7:]


def test_day_by_day_the_folder_holds_at_most_ten(store, place):
    for n in range(40):
        back_up(place, TODAY + timedelta(days=n))
    kept = backups(place)
    assert 9 <= len(kept) <= 10
    assert kept[0].day == TODAY + timedelta(days=39)
    assert len(os.listdir(kept[0].path.parent)) == len(kept)


def test_a_second_backup_of_one_day_takes_the_first_ones_place(store, place):
    back_up(place, TODAY)
    store.import_laps(laps("three"))
    (backup,) = backups(place) and [back_up(place, TODAY)]
    assert backups(place) == [backup]
    assert lap_ids(backup.path) == ["one", "three", "two"]


@pytest.mark.parametrize("part", ["head", "middle"])
def test_a_damaged_store_is_noticed_and_yesterdays_backup_brought_back(store, place, part):
    backup = back_up(place, TODAY)
    store.close()
    size = place.stat().st_size
    with open(place, "r+b") as file:
        file.seek(0 if part == "head" else size // 2)
        file.write(os.urandom(8192))
    assert not is_whole(place)
    with pytest.raises(StoreProblem, match="damaged|not a database|malformed"):
        back_up(place, TODAY + timedelta(days=1))
    assert backups(place) == [backup]

    damaged = place.read_bytes()
    aside = restore(place, backup, "2026-03-05 0910")
    # SQLite's header of 100 bytes notes that the file has been asked whether it is in use.
    assert aside.read_bytes()[100:] == damaged[100:]
    assert lap_ids(place) == ["one", "two"]


def test_a_lost_store_is_brought_back(store, place):
    backup = back_up(place, TODAY)
    store.close()
    place.unlink()
    assert restore(place, backup, "now") is None
    assert lap_ids(place) == ["one", "two"]


def test_laps_in_the_log_of_the_old_store_never_reach_the_restored_one(store, place):
    backup = back_up(place, TODAY)
    reader = sqlite3.connect(place)  # keeps the log from being folded in when the store closes
    reader.execute("SELECT count(*) FROM sqlite_master").fetchone()
    store.import_laps(laps("three"))
    log = place.with_name(place.name + "-wal").read_bytes()
    reader.close()
    store.close()
    place.with_name(place.name + "-wal").write_bytes(log)
    restore(place, backup, "now")
    assert lap_ids(place) == ["one", "two"]


def test_a_store_in_use_is_not_replaced(store, place):
    backup = back_up(place, TODAY)
    store.import_laps(laps("three"))
    with pytest.raises(StoreProblem, match="in use"):
        restore(place, backup, "now")
    assert sorted(store.laps()["lap_id"]) == ["one", "three", "two"]


def test_a_damaged_backup_is_not_brought_back(store, place):
    backup = back_up(place, TODAY)
    store.close()
    backup.path.write_bytes(b"not a database at all" * 100)
    with pytest.raises(StoreProblem, match="damaged; take another"):
        restore(place, backup, "now")
    assert lap_ids(place) == ["one", "two"]


@contextmanager
def full_disk():
    """No file may grow past 8 kB, which the system refuses as it refuses a full disk."""
    resource = pytest.importorskip("resource")  # not on Windows
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (8192, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_without_room_the_earlier_backup_stays_and_nothing_half_made(store, place):
    backup = back_up(place, TODAY)
    before = backup.path.read_bytes()
    for day in (TODAY, TODAY + timedelta(days=1)):
        with full_disk(), pytest.raises(StoreProblem, match="Earlier backups are unchanged"):
            back_up(place, day)
    assert backups(place) == [backup] and backup.path.read_bytes() == before
    assert os.listdir(backup.path.parent) == [backup.path.name]


def test_without_room_nothing_is_brought_back_and_the_store_stays(store, place):
    backup = back_up(place, TODAY)
    store.import_laps(laps("three"))
    store.close()
    with full_disk(), pytest.raises(StoreProblem, match="see that there is room|make room"):
        restore(place, backup, "now")
    assert not [name for name in os.listdir(place.parent) if "half" in name or "aside" in name]
    assert lap_ids(place) == ["one", "three", "two"]


def test_backups_made_at_once_by_two_programs_leave_a_whole_one(store, place):
    store.import_laps(laps(*(f"lap {number}" for number in range(5000))))
    with ThreadPoolExecutor(4) as at_once:
        for backup in at_once.map(back_up, [place] * 16, [TODAY] * 16):
            assert is_whole(backup.path)
    assert os.listdir(backup.path.parent) == [backup.path.name]
    assert len(lap_ids(backup.path)) == 5002


def test_what_a_killed_backup_left_is_removed_when_nobody_can_be_at_it(store, place):
    folder = back_up(place, TODAY).path.parent
    old, fresh = folder / "old.half", folder / "fresh.half-journal"
    for half, days in ((old, 2), (fresh, 0)):
        half.write_bytes(b"")
        at = datetime.combine(TODAY - timedelta(days=days), datetime.min.time()).timestamp()
        os.utime(half, (at, at))
    back_up(place, TODAY)
    assert not old.exists() and fresh.exists()


def test_no_store_no_backup(tmp_path):
    with pytest.raises(NotFound):
        back_up(tmp_path / "none.sqlite", TODAY)
    assert os.listdir(tmp_path) == []


@pytest.fixture
def disk(tmp_path):
    """A disk of one megabyte of its own, with a store of 24 laps and a backup of it."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(mounted, capture_output=True).returncode:
        pytest.skip("this user may mount no disk; a full one is also tried with limited files")
    place = folder / "workshop.sqlite"
    store = open_store(str(place))
    store.import_laps(laps("one", "two"))
    store.close()
    back_up(place, TODAY)
    yield place
    subprocess.run(["umount", str(folder)], check=True)


def fill(folder):
    with contextlib.suppress(OSError), open(folder / "photos", "wb", buffering=0) as photos:
        while photos.write(bytes(4096)):
            pass


def test_restore_says_that_the_disk_is_full_and_the_store_stays(disk):
    fill(disk.parent)
    said = run("restore", "--store", disk, status=2).stderr
    assert "the disk is full (0.1 MB are needed, 0.0 MB are free)" in said
    assert f"make room on the disk of {disk.parent}" in said
    assert "the disk is full" in run("backup", "--store", disk, status=2).stderr
    (disk.parent / "photos").unlink()
    assert lap_ids(disk) == ["one", "two"]


@pytest.mark.parametrize("damaged", [False, True])
def test_restore_says_that_the_disk_can_only_be_read_and_the_store_stays(disk, damaged):
    if damaged:
        disk.write_bytes(b"spilled tea" * 1000)
    before = disk.read_bytes(), os.listdir(disk.parent)
    subprocess.run(["mount", "-o", "remount,ro", str(disk.parent)], check=True)
    for verb in ("restore", "backup"):
        said = run(verb, "--store", disk, status=2).stderr
        assert f"the disk of {disk.parent} can only be read" in said
    assert (disk.read_bytes(), os.listdir(disk.parent)) == before


def test_restore_says_that_it_may_not_write_in_the_folder(place):
    with nobody() as folder:
        store = folder / "workshop.sqlite"
        opened = open_store(str(store))
        opened.import_laps(laps("one", "two"))
        opened.close()
        backup = back_up(store, TODAY)
        folder.chmod(0o500)
        with pytest.raises(StoreProblem, match="you may not write in .*; give yourself the right"):
            restore(store, backup, "now")
        folder.chmod(0o700)
        assert lap_ids(store) == ["one", "two"]


@contextmanager
def nobody():
    """A folder of a user without root's rights, and this process as that user."""
    with tempfile.TemporaryDirectory() as name:
        root = os.geteuid() == 0
        if root:
            os.chown(name, 65534, 65534)
            os.seteuid(65534)
        try:
            yield Path(name)
        finally:
            if root:
                os.seteuid(0)


def test_a_store_that_may_not_be_read_just_now_is_not_called_damaged(store, place):
    assert not is_damaged(place) and not is_damaged(place.with_name("none.sqlite"))
    store.close()
    with contextlib.closing(sqlite3.connect(place)) as busy:
        busy.execute("PRAGMA journal_mode=DELETE")
        busy.execute("PRAGMA locking_mode=EXCLUSIVE")
        busy.execute("BEGIN EXCLUSIVE")
        with pytest.raises(sqlite3.OperationalError):
            sqlite3.connect(place, timeout=0).execute("SELECT count(*) FROM lap")
        assert not is_damaged(place, wait_seconds=0)
    place.write_bytes(b"spilled tea" * 1000)
    assert is_damaged(place)
