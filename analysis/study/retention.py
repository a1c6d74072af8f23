"""Retention: how much of a worker's practice is left after a week away.

Estimated for each worker over all their cells, since one cell sees few breaks: the retention with
the highest likelihood, by a grid, with a curve in (log n, (log n)^2) that bends as any of the
learning curves does. A weak guess stands behind it: Argote, Beckman & Epple (1990) found that
about 75 % of a shipyard's knowledge was left after a month (from memory), 93 % after a week.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.study.curves import lot_midpoint
from analysis.study.experience import Practice, experience_at
from analysis.study.likeness import Sums, solve, split

GRID = np.array(
    [
        1,
        0.99,
        0.98,
        0.965,
        0.95,
        0.93,
        0.9,
        0.87,
        0.83,
        0.78,
        0.72,
        0.64,
        0.55,
        0.45,
        0.35,
        0.25,
        0.15,
    ]
)
PUBLISHED_LOSS = -np.log(0.75) * 7 / 30.4  # of log experience a week
PUBLISHED_SPREAD = 0.25
_TYPICAL_EXPONENT = -0.3


@dataclass(frozen=True)
class Retention:
    """Over cells: retention per week, its 95 % interval, and the standard error of -log of it.

    All NaN where the worker was never away long enough to tell.
    """

    per_week: np.ndarray
    low: np.ndarray
    high: np.ndarray
    loss_error: np.ndarray

    @property
    def used(self) -> np.ndarray:
        """For counting experience: 1 where nothing is known."""
        return np.where(np.isfinite(self.per_week), self.per_week, 1.0)


def bending_columns(practice: Practice, experience, restart):
    """Columns 1, L, L^2, restart: L = log of the lap's mid-piece, about its mean in the cell."""
    middle = np.log(lot_midpoint(experience, practice.pieces, _TYPICAL_EXPONENT))
    size = np.diff(np.append(practice.cell_starts, len(middle)))
    centred = middle - np.repeat(np.add.reduceat(middle, practice.cell_starts) / size, size)
    return [np.ones(len(middle)), centred, centred * centred, restart]


def retention_of(
    practice: Practice, response, weight, restart, likeness, variance, penalty
) -> Retention:
    """Profile likelihood of retention, summed over the cells of every worker."""
    cells = len(practice.cell_starts)
    worker = np.unique(practice.cells["worker"].to_numpy(str), return_inverse=True)[1]
    away = np.bincount(practice.cell, practice.weeks_away > 0, cells) > 0
    away_worker = np.bincount(worker, away) > 0
    nothing = np.full(cells, np.nan)
    if not away.any():
        return Retention(nothing, nothing, nothing, nothing)
    badness = np.empty((len(GRID), worker.max() + 1))
    for i, retention in enumerate(GRID):
        columns = bending_columns(practice, experience_at(practice, retention), restart)
        sums = Sums.of([*columns, response], weight, practice)
        matrix, vector, squares = split(sums.whitened(likeness))
        rest = squares - np.einsum("ci,ci->c", solve(matrix + penalty, vector), vector)
        badness[i] = np.bincount(worker, np.where(away, rest / variance, 0.0))
    loss = -np.log(GRID)
    badness += ((loss - PUBLISHED_LOSS) / PUBLISHED_SPREAD)[:, None] ** 2
    found = np.array([_lowest(loss, column) for column in badness.T])
    found[~away_worker] = np.nan
    best, low, high, error = found[worker].T
    return Retention(np.exp(-best), np.exp(-high), np.exp(-low), error)


def _lowest(loss, badness):
    """(loss with the least badness, where it is 3.84 worse on either side, standard error)."""
    fine = np.linspace(0, loss[-1], 2000)
    curve = _smooth(loss, badness, fine)
    best = fine[curve.argmin()]
    inside = fine[curve <= curve.min() + 3.84]
    error = (inside[-1] - inside[0]) / (2 * 1.96)
    if inside[0] == 0:  # cut off at nothing lost: the upper half tells the spread
        error = max((inside[-1] - best) / 1.96, error)
    return best, inside[0], inside[-1], error


def _smooth(x, y, at):
    """Monotone cubic through the grid (Fritsch & Carlson 1980), so that no false valley appears."""
    from scipy.interpolate import PchipInterpolator  # slow to import: only where somebody was away

    return PchipInterpolator(x, y)(at)
