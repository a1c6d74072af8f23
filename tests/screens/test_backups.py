"""Backups on screen: made, listed, and the way back from a store that is really damaged."""

import shlex
import sqlite3
import subprocess
import sys
import time
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from analysis.screens import source
from analysis.store.backup import back_up, backups, is_whole
from analysis.store.store import open_store
from tests.command import ROOT
from tests.screens.driving import said, turn_to
from tests.store.test_backup import full_disk


def today() -> date:
    """Asked anew by every test: the run may have begun before midnight."""
    return datetime.now().astimezone().date()


def yesterday() -> date:
    return today() - timedelta(days=1)


@pytest.fixture
def place(needed_only) -> Path:
    """The file of one's own store, with 24 laps in it and nobody at it."""
    needed_only.close()
    return Path(needed_only.url.removeprefix("sqlite:///"))


def tear(file: Path) -> None:
    """Overwrite the middle of a file, as a failing disk does."""
    size = file.stat().st_size
    with open(file, "r+b") as torn:
        torn.seek(size // 4)
        torn.write(b"\xa5" * (size // 2))


@pytest.fixture
def app(monkeypatch):
    """The whole program, whose store is opened anew as at a start."""
    source._own_store.cache_clear()
    return AppTest.from_file("../../app.py", default_timeout=120)


def lines(screen) -> list[str]:
    return [element.value for element in screen.code]


def test_a_backup_is_made_at_a_press_and_said_to_be_of_today(show, place):
    screen = turn_to(show("laps"), "Backups")
    assert "No backup yet" in said(screen)
    next(button for button in screen.button if button.label == "Make one now").click().run()
    assert not screen.exception
    assert "Backup made and checked" in said(screen)
    assert "The last backup was made today" in said(screen) and "1 backup kept" in said(screen)
    (made,) = backups(place)
    assert made.day == today() and is_whole(made.path)
    assert str(made.path.parent) in lines(screen)


def test_the_demo_says_whose_backups_these_are_and_an_empty_shop_has_none(show):
    words = said(turn_to(show("laps"), "Backups"))
    assert "These are of *My workshop*" in words and "Nothing to back up yet" in words


def test_the_line_on_screen_brings_the_backup_back(show, place):
    back_up(place, yesterday())
    screen = turn_to(show("laps"), "Backups")
    line = next(line for line in lines(screen) if line.startswith(".venv/bin/python "))
    source._own_store.cache_clear()
    tear(place)
    done = run(line)
    assert done.returncode == 0, done.stderr
    assert open_store(str(place)).lap_count() == 24


def run(line: str) -> subprocess.CompletedProcess:
    """A line as the screen gives it, without the shop's address in the environment."""
    words = shlex.split(line)
    assert words[0] == ".venv/bin/python"
    return subprocess.run(
        [sys.executable, *words[1:]], cwd=ROOT, capture_output=True, text=True, check=False
    )


def test_a_damaged_store_offers_the_last_backup_that_is_whole(app, place):
    """Found when a screen cannot be drawn; the newest backup is torn too, so the one before."""
    for day in (yesterday() - timedelta(days=1), yesterday()):
        back_up(place, day)
    tear(backups(place)[0].path)
    tear(place)
    before = place.read_bytes()
    app.run()
    assert not app.exception
    words = said(app)
    assert "The file with your records is damaged" in words
    assert len(app.error) == 1  # what stopped the screen is not said a second time
    good = yesterday() - timedelta(days=1)
    assert f"**The last good backup is of {good.day} {good:%B %Y}**" in words
    assert any(f"restore {good} --store" in line for line in lines(app))
    assert place.read_bytes()[100:] == before[100:]  # the notice changes nothing


def test_a_damaged_store_without_a_backup_says_to_keep_the_file(app, place):
    tear(place)
    words = said(app.run())
    assert "There is no whole backup beside it" in words and str(place) in words


def test_a_store_that_is_well_has_no_such_notice(app, place):
    back_up(place, yesterday())
    assert "damaged" not in said(app.run())


def test_a_full_disk_is_said_and_the_earlier_backup_stays(show, place):
    back_up(place, yesterday())
    screen = turn_to(show("laps"), "Backups")
    button = next(button for button in screen.button if button.label == "Make one now")
    with full_disk():
        button.click().run()
    words = said(screen)
    assert "could not be backed up" in words and "Earlier backups are unchanged" in words
    assert [one.day for one in backups(place)] == [yesterday()]


def test_days_without_a_backup_are_told_on_laps(show, place):
    """The records changed today and the last backup is of last week: nothing to say yet. They
    changed after that backup on an earlier day: something keeps backups from being made."""
    back_up(place, today() - timedelta(days=9))
    with sqlite3.connect(place) as store:  # copied from one that may be from before midnight
        store.execute("UPDATE change SET at = ?", [int(1e6 * time.time())])
    assert "No backup since" not in said(show("laps"))
    source._own_store.cache_clear()
    with sqlite3.connect(place) as store:
        store.execute("UPDATE change SET at = at - 86400 * 1000000 * 3")
    assert "No backup since" in said(show("laps"))
