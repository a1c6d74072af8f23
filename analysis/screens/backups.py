"""Backups: when the records were last copied, where to, how to bring a copy back.

A part of the Laps screen; and the notice that stands wherever a damaged store stops a screen. They
are of one's own workshop, whichever is shown: the demo is made anew from its files.
"""

import os
import shlex
from datetime import UTC, date, datetime
from pathlib import Path

import streamlit as st

from analysis.problems import Problem
from analysis.screens import answers, saves, source, words
from analysis.store.backup import (
    DAYS_KEPT,
    WEEKS_KEPT,
    Backup,
    back_up,
    backups,
    is_damaged,
    last_good,
)
from analysis.store.connection import store_file
from analysis.store.glance import default_url

PYTHON = {"Mac or Linux": ".venv/bin/python", "Windows": ".venv\\Scripts\\python"}
STEPS = """
1. Find the window in which you started this program: the one with lines of text, called Terminal,
   or PowerShell on Windows.
2. Click into it, hold the **Ctrl** key and press **C**. The program stops.
3. Copy the line below for your computer, paste it into that window, and press **Enter**. It says
   what it did, or what stood in its way.
4. Start the program as you always do.
"""


def show(desk: answers.Desk) -> None:
    """The last backup, all that are kept, one more at a press, and how to bring one back."""
    store, today = store_file(default_url()), _today()
    st.subheader("Backups of your records")
    if desk.here.is_demo:
        st.caption("These are of *My workshop*; the demo is made anew from its own files.")
    if store is None:
        st.markdown(
            "Your records are in a database server, which backs them up its own way: ask its "
            "keeper when it last did, and whether bringing them back was ever tried."
        )
        return
    if not store.exists():
        st.markdown("Nothing to back up yet: your workshop has no laps.")
        return
    kept = backups(store)
    st.markdown(f"**{_last(kept, today)}**")
    if st.button("Make one now", type="primary", icon=":material/save:"):
        _make_one(store, today)
        offer_where_damaged()
    elif not kept or kept[0].day < today:  # today's backup was a check in itself
        offer_where_damaged()
    answers.points(_rules(kept))
    st.markdown("**Where**")
    st.code(str(store.with_name(f"{store.stem} backups")), language=None, wrap_lines=True)
    if kept:
        with st.expander("How to bring one back"):
            st.markdown(STEPS)
            _commands(store, kept[0].day)
            st.markdown(
                f"That brings back the one of {words.day(kept[0].day)}; for another, write its day "
                "instead. What is in the records now is put aside under a name with the time, in "
                "the same folder, and never removed."
            )
        every = "All " if len(kept) > 1 else ""
        with st.expander(f"{every}{words.count(len(kept), 'backup')}"):
            answers.points(f"{words.day(one.day)}: {_megabytes(one)}" for one in kept)


def late_line(here: source.Source) -> None:
    """Say so where laps have come in and no day's backup was made for them."""
    store = store_file(default_url())
    if here.is_demo or store is None or not store.exists():
        return
    last, today, kept = here.store.last_change(), _today(), backups(store)
    if not last:
        return
    changed = datetime.fromtimestamp(last[1] / 1e6, UTC).astimezone().date()
    covered = kept[0].day if kept else None
    if changed < today and (covered is None or covered < changed):
        since = f"since {words.day(covered)}" if covered else "so far"
        st.warning(
            f"**No backup {since}, and your records have changed.** One is made within two minutes "
            "of the program's start; if this stays, press *Make one now* under *Backups* below: it "
            "says what stands in its way."
        )


def offer_where_damaged() -> bool:
    """Whether the store is damaged; where it is, say so and offer the last good backup."""
    store = store_file(default_url())
    if store is None or not store.exists() or not is_damaged(store):
        return False
    _damage_notice(store)
    return True


def _damage_notice(store: Path) -> None:
    """What is known of the damage, and the way back to the last good backup."""
    good = last_good(store)
    st.error(
        "**The file with your records is damaged.** Nothing was removed, and phones keep the laps "
        "they cannot send. Time no more pieces on this computer until it is mended."
    )
    if good is None:
        st.markdown(
            "There is no whole backup beside it. Stop the program, copy the file to another disk "
            f"before anything else (`{store}`), and ask somebody who knows SQLite."
        )
        return
    st.markdown(
        f"**The last good backup is of {words.day(good.day)}** ({_megabytes(good)}, checked just "
        "now). To bring it back:"
    )
    st.markdown(STEPS)
    _commands(store, good.day)
    st.markdown(
        "The damaged file is put aside in the same folder. Laps made after that backup are not in "
        "it, but may still be in the damaged file: keep that. If it happens again, the disk is "
        "likely failing; copy the folder of backups to another one."
    )


@saves.saving()
def _make_one(store: Path, today: date) -> None:
    try:
        with st.spinner("Copying and checking …"):
            made = back_up(store, today)
            # Before the spinner goes: a tap may break the page off there.
            saves.note_saved(f"Backup made and checked, {_megabytes(made)}.")
    except Problem as problem:
        st.error(words.plain(str(problem)))


def _today() -> date:
    """By this computer's clock, as the daily backup has it."""
    return datetime.now().astimezone().date()


def _last(kept: list[Backup], today: date) -> str:
    if not kept:
        return (
            "No backup yet. The first is made within two minutes of the program's start, or of the "
            "first records where those come later."
        )
    newest = kept[0]
    ago = (today - newest.day).days
    when = {0: "today", 1: "yesterday"}.get(ago, f"{ago} days ago")
    at = datetime.fromtimestamp(newest.path.stat().st_mtime).astimezone()
    return (
        f"The last backup was made {when}, {words.day(newest.day)}, {words.clock(at)} "
        f"({_megabytes(newest)})."
    )


def _rules(kept: list[Backup]) -> list[str]:
    return [
        "While the program runs it makes one a day by itself, and checks every page of it.",
        f"{words.count(len(kept), 'backup')} kept now. Kept are the last {DAYS_KEPT} days that "
        f"have one, and the last one of each of the last {WEEKS_KEPT} weeks that have one.",
        "They are on the same disk. That helps against a damaged file or a mistake, not against a "
        "lost or stolen computer: copy the folder below to another disk now and then.",
    ]


def _commands(store: Path, day: date) -> None:
    """The line that brings a day's backup back, for each kind of computer."""
    for system, python in PYTHON.items():
        st.markdown(f"**{system}**")
        st.code(restore_line(python, store, day), language=None, wrap_lines=True)


def restore_line(python: str, store: Path, day: date) -> str:
    """`python -m analysis restore DAY`, naming the store where it is not in its usual place."""
    line = f"{python} -m analysis restore {day}"
    if "WORKSHOP_STORE" not in os.environ:
        return line
    place = f'"{store}"' if "\\" in python else shlex.quote(str(store))
    return f"{line} --store {place}"


def _megabytes(backup: Backup) -> str:
    return f"{words.number(max(backup.bytes / 1e6, 0.1), 1)} MB"
