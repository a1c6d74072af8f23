"""Retention: how much of a worker's practice is left after a week away.

Estimated for each worker over all their cells, since one cell sees few breaks: the retention with
the highest likelihood, by a grid, with a curve in (log n, (log n)^2) that bends as any of the
learning curves does. A weak guess stands behind it: Argote, Beckman & Epple (1990) found that
about 75 % of a shipyard's knowledge was left after a month (from memory), 93 % after a week.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.study.experience import Practice, experience_at
from analysis.study.frames import Number
from analysis.study.noise import Bend, Noise, noise_of

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
NEARBY = np.linspace(-3, 3, 9)[:, None]  # standard errors
PUBLISHED_LOSS = -np.log(0.75) * 7 / 30.4  # of log experience a week
PUBLISHED_SPREAD = 0.25


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
        """Over cells: share kept a week, for counting experience: 1 where nothing is known."""
        return np.where(np.isfinite(self.per_week), self.per_week, 1.0)


def retention_of(
    practice: Practice, response: np.ndarray, weight: np.ndarray, restart: np.ndarray
) -> Retention:
    """Profile likelihood of retention, summed over the cells of every worker, in two rounds: over
    the whole grid with the noise as if nothing were lost, then near what was found, with the noise
    there. restart: each lap's column for the restart effect.
    """
    worker = np.unique(practice.cells["worker"].to_numpy(str), return_inverse=True)[1]
    away = np.bincount(practice.cell, practice.weeks_away > 0) > 0
    if not away.any():
        return Retention(*np.full((4, len(away)), np.nan))
    workers = worker.max() + 1
    loss = np.repeat(-np.log(GRID)[:, None], workers, axis=1)
    used, t = np.ones(len(worker)), _student(practice, worker, away)
    for _ in range(2):
        bend = Bend.of(practice, experience_at(practice, used), restart)
        noise = noise_of(practice, bend, response, weight)
        badness = [
            _badness(each, practice, response, weight, restart, noise, worker, away)
            for each in loss
        ]
        found = np.array(
            [_lowest(*each) for each in zip(loss.T, np.transpose(badness), t, strict=True)]
        )
        used = np.exp(-found[worker, 0])
        loss = np.maximum(found[:, 0] + NEARBY * np.maximum(found[:, 3], 1e-4), 0.0)
    found[np.bincount(worker, away) == 0] = np.nan
    best, low, high, error = found[worker].T
    return Retention(np.exp(-best), np.exp(-high), np.exp(-low), error)


def _badness(
    loss: np.ndarray,
    practice: Practice,
    response: np.ndarray,
    weight: np.ndarray,
    restart: np.ndarray,
    noise: Noise,
    worker: np.ndarray,
    away: np.ndarray,
) -> np.ndarray:
    """-2 log likelihood of every worker's loss per week, less a constant."""
    bend = Bend.of(practice, experience_at(practice, np.exp(-loss[worker])), restart)
    rest = bend.rest(practice, response, weight, noise.likeness) / noise.variance
    guess = ((loss - PUBLISHED_LOSS) / PUBLISHED_SPREAD) ** 2
    return np.bincount(worker, np.where(away, rest, 0.0)) + guess


def _student(practice: Practice, worker: np.ndarray, away: np.ndarray) -> np.ndarray:
    """How many standard errors an interval reaches, for every worker.

    Student's t with the sessions less four a cell, times the root of 1 + 4 (1 - 1/m) / d for m
    cells weighed by noise that was itself estimated with d degrees of freedom (Meier 1953).
    """
    from scipy.special import stdtrit  # scipy is slow to import

    def summed(values: Number) -> np.ndarray:
        return np.bincount(worker, np.where(away, values, 0.0))

    sessions = np.diff(np.append(practice.session_cell_starts, len(practice.session_cell)))
    cells = np.maximum(summed(1.0), 1)
    freedom = np.maximum(summed(np.bincount(practice.cell) - 4.0) / cells, 1)
    t = stdtrit(np.maximum(summed(np.maximum(sessions - 4.0, 0)), 3.0), 0.975)
    return t * np.sqrt(1 + 4 * (1 - 1 / cells) / freedom)


def _lowest(loss: np.ndarray, badness: np.ndarray, t: float) -> tuple[float, float, float, float]:
    """(loss with the least badness, 95 % interval, standard error).

    The valley's floor by a parabola through its three lowest points; the interval where the
    badness is t^2 higher, by its square root, which is nearly straight in the loss.
    """
    loss, first = np.unique(loss, return_index=True)
    badness = badness[first]
    best, floor = _parabola(loss, badness)
    root = np.sqrt(np.maximum(badness - floor, 0.0))
    below, above = loss < best, loss > best
    low = np.interp(-t, np.append(-root[below], 0.0), np.append(loss[below], best))
    high = np.interp(t, np.append(0.0, root[above]), np.append(best, loss[above]))
    error = max(high - best, best - low) / t if low <= 0 else (high - low) / (2 * t)
    return best, low, high, error


def _parabola(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    i = int(np.clip(y.argmin(), 1, len(x) - 2))
    if y.argmin() != i:
        return x[y.argmin()], y.min()
    bend, slope, level = np.polyfit(x[i - 1 : i + 2] - x[i], y[i - 1 : i + 2], 2)
    at = -slope / (2 * bend)
    return x[i] + at, level + slope * at / 2
