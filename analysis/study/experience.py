"""Experience: who had made how many pieces of what before each lap, and how long they were away.

A cell is one worker on one operation of one product; experience counts across variants. Every
lap at the work counts, suspicious ones too: the piece was made, however badly it was timed.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from analysis.study.frames import Number
from analysis.study.rates import local_days

CELL = ["product", "operation", "worker"]
PRACTISED = ("operation", "inspection")
TASKS = ("operation", "inspection", "setup", "rework")  # walks and interruptions are no other task
ORDINARY_GAP_DAYS = 7.0  # shorter time away is the ordinary rhythm of the week
PAUSE_MINUTES = 30.0

_SECOND = 1_000_000  # of the microseconds in which start times are kept


@dataclass(frozen=True)
class Practice:
    """The practised laps sorted by cell and time, as arrays over laps unless said otherwise.

    A spell is a run of laps of one cell without another task or a pause over 30 minutes. A session
    is a batch without such a pause, a day at most: its laps resemble each other, those of the
    afternoon or of the next batch less so.
    """

    position: np.ndarray  # place of the lap in the frame it came from
    seconds: np.ndarray
    pieces: np.ndarray
    pieces_before: np.ndarray  # in its cell, nothing forgotten
    pieces_before_in_spell: np.ndarray
    weeks_away: np.ndarray  # before this lap, where longer than the ordinary week; else 0
    weeks_rested: np.ndarray  # over cells: likewise, from its last lap to the start of the file's
    cell: np.ndarray
    cell_starts: np.ndarray  # over cells: first lap
    session_starts: np.ndarray  # over sessions: first lap
    session_cell_starts: np.ndarray  # over cells: first session
    session_cell: np.ndarray  # over sessions: its cell
    cells: pd.DataFrame  # product, operation, worker of every cell

    @property
    def log_seconds_per_piece(self) -> np.ndarray:
        """Over laps: log of the seconds per piece."""
        return np.log(self.seconds / self.pieces)

    @property
    def operation(self) -> np.ndarray:
        """Over cells: the number of its operation, the same for all products and workers."""
        return np.unique(self.cells["operation"].to_numpy(str), return_inverse=True)[1]

    @property
    def last_laps(self) -> np.ndarray:
        """Over cells: the place of its last lap, among laps."""
        return np.append(self.cell_starts[1:], len(self.cell)) - 1

    def of_cells(self, chosen: np.ndarray) -> Practice:
        """The laps of some cells alone, cells and sessions numbered anew; chosen: mask over
        cells."""
        laps, sessions = chosen[self.cell], chosen[self.session_cell]
        number = np.cumsum(chosen) - 1
        session_laps = np.diff(np.append(self.session_starts, len(self.cell)))[sessions]
        return Practice(
            position=self.position[laps],
            seconds=self.seconds[laps],
            pieces=self.pieces[laps],
            pieces_before=self.pieces_before[laps],
            pieces_before_in_spell=self.pieces_before_in_spell[laps],
            weeks_away=self.weeks_away[laps],
            weeks_rested=self.weeks_rested[chosen],
            cell=number[self.cell[laps]],
            cell_starts=_starts(np.bincount(self.cell)[chosen]),
            session_starts=_starts(session_laps),
            session_cell_starts=_starts(np.bincount(self.session_cell)[chosen]),
            session_cell=number[self.session_cell[sessions]],
            cells=self.cells[chosen],
        )


def _starts(sizes: np.ndarray) -> np.ndarray:
    """Where each group begins, groups of these sizes standing one after another."""
    return np.cumsum(sizes) - sizes


def practice_of(laps: pd.DataFrame, timezone: str = "UTC") -> Practice:
    """Sort a checked laps frame into cells and count what was made before each lap.

    timezone: of the shop, whose days end sessions.

    Arrays of the answer are over laps in the order of cells and time, unless said otherwise.
    """
    keys = [laps[name].cat.codes.to_numpy() for name in CELL]
    started = laps["started_at"].dt.as_unit("us").astype("int64").to_numpy()
    activity = laps["activity"].astype(object).to_numpy()
    position = _sorted_positions(np.isin(activity, PRACTISED), keys, started, laps["row"])
    keys_sorted = [key[position] for key in keys]
    cell_start = _changes(*keys_sorted)
    cell = np.cumsum(cell_start) - 1
    seconds = laps["seconds"].to_numpy(float)[position]
    pieces = laps["units"].to_numpy(float)[position]
    pause = _pauses(started[position], seconds, cell_start)
    run = _runs_of_one_task(np.isin(activity, TASKS), keys, started, laps["row"])[position]
    paused = pause > PAUSE_MINUTES * 60
    spell_start = cell_start | paused | _changes(run)
    batch = laps["batch"].cat.codes.to_numpy()[position]
    day = local_days(laps["started_at"], timezone)[position]
    session_starts = np.flatnonzero(cell_start | paused | _changes(batch, day))
    cell_starts = np.flatnonzero(cell_start)
    ends = np.append(cell_starts, len(position))[1:] - 1  # none where there are no laps
    rest = (started.max(initial=0) - started[position][ends]) / _SECOND - seconds[ends]
    return Practice(
        position=position,
        seconds=seconds,
        pieces=pieces,
        pieces_before=_counted_before(pieces, cell_starts),
        pieces_before_in_spell=_counted_before(pieces, np.flatnonzero(spell_start)),
        weeks_away=_weeks_lost(pause),
        weeks_rested=_weeks_lost(rest),
        cell=cell,
        cell_starts=cell_starts,
        session_starts=session_starts,
        session_cell_starts=np.searchsorted(session_starts, cell_starts),
        session_cell=cell[session_starts],
        cells=laps[CELL].iloc[position[cell_starts]].astype(str).reset_index(drop=True),
    )


def experience_at(practice: Practice, retention_per_week: Number) -> np.ndarray:
    """Pieces of experience E before each lap, time away taken off.

    For time away of g days, g > 7: E <- E retention^(g / 7) (experience depreciation, Argote,
    Beckman & Epple 1990); within the ordinary week nothing is lost. retention_per_week: in
    (0, 1], one figure or one for every cell.
    """
    cells = len(practice.cell_starts)
    if not practice.weeks_away.any() or not cells:
        return practice.pieces_before
    retention = np.broadcast_to(np.asarray(retention_per_week, float), (cells,))
    is_start = practice.weeks_away > 0
    is_start[practice.cell_starts] = True
    starts = np.flatnonzero(is_start)
    stretch_cell = practice.cell[starts]
    made = np.add.reduceat(practice.pieces, starts)
    kept = retention[stretch_cell] ** practice.weeks_away[starts]
    carried = _carried_over(made, kept, np.searchsorted(starts, practice.cell_starts))
    lap_stretch = np.cumsum(is_start) - 1
    return (
        practice.pieces_before - practice.pieces_before[starts][lap_stretch] + carried[lap_stretch]
    )


def _carried_over(made: np.ndarray, kept: np.ndarray, first_of_cell: np.ndarray) -> np.ndarray:
    """E at the start of every stretch: (E + made) kept, one step of all cells at a time."""
    rank = np.arange(len(made)) - np.repeat(
        first_of_cell, np.diff(np.append(first_of_cell, len(made)))
    )
    carried = np.zeros(len(made))
    by_rank = np.argsort(rank, kind="stable")
    ends = np.searchsorted(rank[by_rank], np.arange(1, rank.max(initial=0) + 2))
    for begin, end in pairwise(ends):
        now = by_rank[begin:end]
        carried[now] = (carried[now - 1] + made[now - 1]) * kept[now]
    return carried


def _sorted_positions(
    wanted: np.ndarray, keys: list[np.ndarray], started: np.ndarray, row: pd.Series
) -> np.ndarray:
    positions = np.flatnonzero(wanted)
    columns = [row.to_numpy(), started, *reversed(keys)]
    return positions[np.lexsort([column[positions] for column in columns])]


def _changes(*columns: np.ndarray) -> np.ndarray:
    """True where any column differs from the lap before; the first is a change."""
    changed = np.zeros(len(columns[0]), bool)
    for column in columns:
        changed[1:] |= column[1:] != column[:-1]
    changed[:1] = True
    return changed


def _pauses(started: np.ndarray, seconds: np.ndarray, cell_start: np.ndarray) -> np.ndarray:
    """Seconds from the end of the lap before, in the same cell; 0 for the first lap of a cell."""
    pause = np.zeros(len(started))
    pause[1:] = (started[1:] - started[:-1]) / _SECOND - seconds[:-1]
    pause[cell_start] = 0.0
    return pause


def _weeks_lost(seconds_away: np.ndarray) -> np.ndarray:
    """Weeks away that take practice off: none within the ordinary week."""
    weeks = seconds_away / (7 * 86400)
    return np.where(weeks > ORDINARY_GAP_DAYS / 7, weeks, 0.0)


def _runs_of_one_task(
    is_task: np.ndarray, keys: list[np.ndarray], started: np.ndarray, row: pd.Series
) -> np.ndarray:
    """Number of the run of one worker on one product and operation that each task lap is in."""
    positions = np.flatnonzero(is_task)
    product, operation, worker = (key[positions] for key in keys)
    order = np.lexsort([row.to_numpy()[positions], started[positions], worker])
    run = np.full(len(is_task), -1)
    changed = _changes(worker[order], product[order], operation[order])
    run[positions[order]] = np.cumsum(changed)
    return run


def _counted_before(pieces: np.ndarray, starts: np.ndarray) -> np.ndarray:
    """Pieces of the laps before, counted anew from every start."""
    if not len(pieces):
        return pieces
    before = np.cumsum(pieces) - pieces
    lengths = np.diff(np.append(starts, len(pieces)))
    return before - np.repeat(before[starts], lengths)
