"""Backups of a store in a SQLite file: made while it is in use, kept for a month, brought back.

A backup is made through SQLite's online backup API, which copies one state of the store while
others go on writing; it is checked, brought to the disk, and only then given its name, so a file
with a backup's name is always whole. Kept are the last seven days that have one, and the last of
each of the last four weeks. They lie in a folder beside the store, on the same disk: they help
against a damaged file and a mistake, not against a lost computer; so copy that folder elsewhere.
"""

import contextlib
import errno
import os
import re
import secrets
import shutil
import sqlite3
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from analysis.problems import NotFound, StoreProblem

DAYS_KEPT, WEEKS_KEPT = 7, 4
UNFINISHED = ".half"
SIDE_FILES = ("-wal", "-shm", "-journal")  # SQLite's own, beside its file


@dataclass(frozen=True)
class Backup:
    """One whole copy of a store, and the day it was made."""

    day: date
    path: Path

    @property
    def bytes(self) -> int:
        """The size of the file."""
        return self.path.stat().st_size


def backups(store: Path) -> list[Backup]:
    """The backups of the store in this file, newest first."""
    name = re.compile(re.escape(store.stem) + r"-(\d{4}-\d{2}-\d{2})" + re.escape(store.suffix))
    found = []
    for path in _folder(store).glob("*"):
        match = name.fullmatch(path.name)
        with contextlib.suppress(ValueError):  # a name that only looks like a date
            if match:
                found.append(Backup(date.fromisoformat(match[1]), path))
    return sorted(found, key=lambda backup: backup.day, reverse=True)


def back_up(store: Path, today: date) -> Backup:
    """Copy the store as it is now into today's backup, in place of an earlier one of today, and
    remove those kept long enough. Raises StoreProblem; earlier backups then stay as they were."""
    if not store.is_file():
        raise NotFound(f"There is no store {store} to back up.")
    target = _folder(store) / f"{store.stem}-{today}{store.suffix}"
    # A name of its own: the server's daily backup and one by hand may be made at once.
    half = target.with_name(f"{target.name}.{secrets.token_hex(4)}{UNFINISHED}")
    try:
        target.parent.mkdir(exist_ok=True)
        _remove_left_over(target.parent, today)
        half.touch()  # the system then says why it cannot be written, where SQLite would not
        _copy(store, half)
        os.replace(half, target)
        _bring_to_disk(target.parent)
    except (OSError, sqlite3.Error) as error:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        raise StoreProblem(
            f"The store {store} could not be backed up: {_why(error, store.parent, _size(store))}. "
            "Earlier backups are unchanged."
        ) from error
    for old in worn_out(backups(store)):
        old.path.unlink(missing_ok=True)
    return Backup(today, target)


def worn_out(kept: list[Backup]) -> list[Backup]:
    """Those of the backups, newest first, that neither the days nor the weeks keep."""
    last_of_weeks: dict[tuple[int, int], Backup] = {}
    for backup in kept:
        last_of_weeks.setdefault(backup.day.isocalendar()[:2], backup)
    wanted = {*kept[:DAYS_KEPT], *list(last_of_weeks.values())[:WEEKS_KEPT]}
    return [backup for backup in kept if backup not in wanted]


def has_records(store: Path) -> bool:
    """Whether anything was ever written into the store; also where that cannot be read, since
    `back_up` then says why. A store that is just being made has no table yet: its backup would
    stand for the day's, with nothing in it."""
    made = "SELECT EXISTS (SELECT 1 FROM sqlite_master WHERE name = 'change')"
    written = "SELECT EXISTS (SELECT 1 FROM change)"
    try:
        with contextlib.closing(_open(store, "ro")) as connection:
            return all(connection.execute(asked).fetchone()[0] for asked in (made, written))
    except sqlite3.Error:
        return True


def is_whole(store: Path) -> bool:
    """Whether every page of the file and every index holds together (SQLite's integrity check).

    Reads all of it: about a second for a million laps.
    """
    try:
        with contextlib.closing(_open(store, "ro")) as connection:
            return connection.execute("PRAGMA integrity_check(1)").fetchone() == ("ok",)
    except sqlite3.Error:
        return False


def is_damaged(store: Path, wait_seconds: float = 15) -> bool:
    """Whether the file is there and SQLite finds it torn or overwritten. One that cannot be opened
    just now (no right to, in use) says nothing of damage. Reads all of it, as `is_whole` does."""
    try:
        with contextlib.closing(_open(store, "ro", wait_seconds)) as connection:
            return connection.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",)
    except sqlite3.OperationalError:
        return False
    except sqlite3.DatabaseError:
        return True


def last_good(store: Path) -> Backup | None:
    """The newest backup that is whole, None where there is none."""
    return next((backup for backup in backups(store) if is_whole(backup.path)), None)


def restore(store: Path, backup: Backup, aside: str) -> Path | None:
    """Bring a backup back in the store's place; the file that was there is put aside, under its
    name and `aside` (a time), with SQLite's files beside it, never removed. Where it is.

    Raises StoreProblem where the backup is not whole or another program has the store open;
    nothing has changed then.
    """
    if not is_whole(backup.path):
        raise StoreProblem(f"The backup {backup.path} is damaged; take another one.")
    _refuse_in_use(store)
    half = store.with_name(store.name + UNFINISHED)
    try:
        shutil.copyfile(backup.path, half)
        _bring_to_disk(half)
        put_aside = _put_aside(store, aside)
        os.replace(half, store)
        _bring_to_disk(store.parent)
    except OSError as error:
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        raise StoreProblem(
            f"The backup {backup.path} could not be brought back to {store}: "
            f"{_why(error, store.parent, _size(backup.path))}, then try again."
        ) from error
    return put_aside


def _why(error: Exception, folder: Path, needed_bytes: int) -> str:
    """Why a copy could not be written into a folder, and what to do about it."""
    number = getattr(error, "errno", None)
    said = getattr(error, "strerror", None) or str(error)
    if number in (errno.ENOSPC, errno.EDQUOT) or "disk is full" in said:
        free = shutil.disk_usage(folder).free
        return (
            f"the disk is full ({needed_bytes / 1e6:.1f} MB are needed, {free / 1e6:.1f} MB are "
            f"free); make room on the disk of {folder}"
        )
    if number == errno.EROFS:
        return f"the disk of {folder} can only be read; have it opened for writing"
    if number in (errno.EACCES, errno.EPERM):
        return f"you may not write in {folder}; give yourself the right to"
    if isinstance(error, sqlite3.DatabaseError) and not isinstance(error, sqlite3.OperationalError):
        return (
            f"it is damaged ({said}); stop the program, then bring back the last good backup with: "
            "python -m analysis restore"
        )
    return f"{said}; see that there is room in {folder} and that you may write there"


def _size(file: Path) -> int:
    return file.stat().st_size if file.exists() else 0


def _folder(store: Path) -> Path:
    return store.with_name(f"{store.stem} backups")


def _remove_left_over(folder: Path, today: date) -> None:
    """Remove what backups that were killed half-way have left, once nobody can be at it still."""
    for half in folder.glob(f"*{UNFINISHED}*"):
        with contextlib.suppress(FileNotFoundError):  # another backup has just finished with it
            left = datetime.fromtimestamp(half.stat().st_mtime).astimezone()
            if left.date() < today - timedelta(days=1):
                half.unlink()


def _copy(store: Path, half: Path) -> None:
    """A whole copy of the store's present state, checked and on the disk."""
    with (
        contextlib.closing(_open(store, "ro")) as source,
        contextlib.closing(sqlite3.connect(half)) as copy,
    ):
        source.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE")  # a single file, without one beside it
        (said,) = copy.execute("PRAGMA integrity_check(1)").fetchone()
    if said != "ok":
        raise sqlite3.DatabaseError(said)
    _bring_to_disk(half)


def _open(store: Path, mode: str, wait_seconds: float = 15) -> sqlite3.Connection:
    # as_uri() wants a whole path and writes spaces, ? and # so that they stay part of the name
    address = f"{store.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(address, uri=True, timeout=wait_seconds)


def _refuse_in_use(store: Path) -> None:
    """Leaving write-ahead mode needs the file to oneself: it tells whether somebody else has it
    open. A damaged file cannot be asked; it is brought back all the same."""
    if not store.exists():
        return
    try:
        with contextlib.closing(_open(store, "rw")) as connection:
            connection.execute("PRAGMA busy_timeout=200")
            connection.execute("PRAGMA journal_mode=DELETE")
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise StoreProblem(
                f"The store {store} is in use; stop the program that has it open, then try again."
            ) from None
    except sqlite3.DatabaseError:
        pass


def _put_aside(store: Path, aside: str) -> Path | None:
    if not store.exists():
        return None
    put_aside = store.with_name(f"{store.stem} put aside {aside}{store.suffix}")
    # The side files go first: laps still in the log must never meet another main file.
    for ending in SIDE_FILES:
        side = store.with_name(store.name + ending)
        if side.exists():
            os.replace(side, put_aside.with_name(put_aside.name + ending))
    os.replace(store, put_aside)
    return put_aside


def _bring_to_disk(path: Path) -> None:
    """Wait until the file, or the names in a folder, are on the disk."""
    if os.name == "nt" and path.is_dir():
        return  # Windows opens no folder, and writes names with the file
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
