"""What now: the next task of those here, by the laps logged so far, in a sentence each."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import streamlit as st

from analysis.screens import words
from analysis.screens.source import Source, figures

if TYPE_CHECKING:
    from analysis.bench.next_task import Task
    from analysis.screens.answers import Desk

QUIET = timedelta(hours=12)  # without a lap for longer, the bench is not at work


def line(desk: Desk, now: datetime) -> None:
    """One line a person, where batches are under way; planned anew with each lap, and now and
    then."""
    said = desk.kept("what now", (_slot(now),), lambda: _said(desk, now))
    if said:
        st.info(said, icon=":material/play_arrow:")


def tasks(here: Source, now: datetime) -> list[Task]:
    """What everybody here does next: of one version of a store, and of five minutes."""
    return _tasks(*here.key, _slot(now), here, now)


@st.cache_resource(show_spinner=False, max_entries=4)
def _tasks(url: str, version: int, slot: datetime, _here: Source, _now: datetime) -> list[Task]:
    from analysis.bench.next_task import NextTask
    from analysis.flow.present import present_of

    cells = figures(_here).learning.cells
    return NextTask(_here.store, lambda version: present_of(cells)).tasks(_now)


def _slot(now: datetime) -> datetime:
    return now.replace(minute=now.minute // 5 * 5, second=0, microsecond=0)


def _said(desk: Desk, now: datetime) -> str:
    if not desk.here.store.lap_count():
        return ""
    newest = desk.figures.laps["started_at"].max()
    lines = [
        f"**What now, {words.plain(task.worker)}?** {words.plain(task.sentence)}{_meanwhile(task)}"
        for task in tasks(desk.here, now)
        if task.sentence
    ]
    if not lines:
        return ""
    old = "" if now - newest < QUIET else f" By the laps up to {words.day(newest.date())}."
    return " ".join(lines) + old


def _meanwhile(task: Task) -> str:
    return f" {words.plain(task.meanwhile)}" if task.meanwhile else ""
