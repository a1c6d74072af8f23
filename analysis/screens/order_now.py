"""What now: the next task of those here, by the laps logged so far, in a sentence each."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import streamlit as st

from analysis.screens import words

if TYPE_CHECKING:
    from analysis.bench.next_task import Task
    from analysis.screens.answers import Desk

QUIET = timedelta(hours=12)  # without a lap for longer, the bench is not at work


def line(desk: Desk, now: datetime) -> None:
    """One line a person, where batches are under way; planned anew with each lap, and now and
    then."""
    slot = now.replace(minute=now.minute // 5 * 5, second=0, microsecond=0)
    said = desk.kept("what now", (slot,), lambda: _said(desk, now))
    if said:
        st.info(said, icon=":material/play_arrow:")


def _said(desk: Desk, now: datetime) -> str:
    if not desk.here.store.lap_count():
        return ""
    from analysis.bench.next_task import NextTask
    from analysis.flow.present import present_of

    cells = desk.figures.learning.cells
    tasks = NextTask(desk.here.store, lambda version: present_of(cells)).tasks(now)
    newest = desk.figures.laps["started_at"].max()
    lines = [
        f"**What now, {words.plain(task.worker)}?** {words.plain(task.sentence)}{_meanwhile(task)}"
        for task in tasks
        if task.sentence
    ]
    if not lines:
        return ""
    old = "" if now - newest < QUIET else f" By the laps up to {words.day(newest.date())}."
    return " ".join(lines) + old


def _meanwhile(task: Task) -> str:
    return f" {words.plain(task.meanwhile)}" if task.meanwhile else ""
