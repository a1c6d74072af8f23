"""Noise of laps about their curve, and a first look at which laps are odd.

Both are judged from a curve that bends as it likes, linear in what is fitted, so that they do not
wait for the choice of a learning curve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.study import pooling
from analysis.study.curves import lot_midpoint
from analysis.study.experience import Practice
from analysis.study.frames import Number
from analysis.study.likeness import (
    USUAL_LIKENESS,
    Sums,
    effective_columns,
    likeness_of,
    solve,
    split,
)
from analysis.study.regression import Work
from analysis.study.suspicion import odd_laps

BENDING_LAPS = 10  # fewer cannot tell a bend, a plateau or prior experience from a plain curve
_TYPICAL_EXPONENT = -0.3
_ROUNDS = 6
_HUBER = 1.5  # standard deviations beyond which a lap pulls no harder (Huber 1964)


@dataclass(frozen=True)
class Noise:
    """Over cells: lap noise of one piece, likeness of a session's laps, degrees of freedom."""

    variance: np.ndarray  # sigma^2
    likeness: np.ndarray  # tau^2 / sigma^2
    freedom: np.ndarray
    piece_doubt: np.ndarray  # factor on the variance of a single piece, see `likeness_of`
    likely: np.ndarray  # (LIKENESS_GRID, cells): weights of the likenesses, each cell's sum 1


@dataclass(frozen=True)
class Bend:
    """Columns 1, L, L^2 and restart, L = log of a lap's mid-piece about its mean in the cell, and
    the weak hold on them that keeps small cells solvable."""

    columns: list
    hold: np.ndarray
    log_middle: np.ndarray

    @classmethod
    def of(cls, practice: Practice, experience: np.ndarray, restart: np.ndarray) -> Bend:
        """experience: pieces before each lap, over laps; restart: the restart column, over laps."""
        middle = np.log(lot_midpoint(experience, practice.pieces, _TYPICAL_EXPONENT))
        size = np.bincount(practice.cell)
        centred = middle - np.repeat(np.add.reduceat(middle, practice.cell_starts) / size, size)
        hold = np.zeros((len(size), 4, 4))
        hold[:, 1, 1] = 1e-9
        hold[:, 2, 2] = np.where(size < BENDING_LAPS, 1e6, 1e-9)
        hold[:, 3, 3] = 0.2  # restart within +-60 % where the lap noise is 13 %
        return cls([np.ones(len(middle)), centred, centred * centred, restart], hold, middle)

    def fitted(self, practice: Practice, response: np.ndarray, weight: np.ndarray) -> np.ndarray:
        """Over laps: the curve fitted to `response`, log seconds per piece, weighed by `weight`."""
        sums = Sums.of([*self.columns, response], weight, practice)
        matrix, vector, _ = split(sums.products)
        size = np.bincount(practice.cell)
        beta = np.repeat(solve(matrix + self.hold, vector).T, size, axis=1)
        return sum(b * column for b, column in zip(beta, self.columns, strict=True))

    def rest(
        self, practice: Practice, response: np.ndarray, weight: np.ndarray, likeness: Number
    ) -> np.ndarray:
        """Over cells: whitened residual squares of `response` (log seconds per piece)."""
        matrix, vector, squares = split(
            Sums.of([*self.columns, response], weight, practice).whitened(likeness)
        )
        return squares - np.einsum("ci,ci->c", solve(matrix + self.hold, vector), vector)


def work_of(practice: Practice) -> Work:
    """The laps as work, nothing forgotten; the restart effect is looked for where a cell has three
    spells or more and its laps differ in it, for else it cannot be told from practice."""
    size = np.bincount(practice.cell)
    before, in_spell = practice.pieces_before, practice.pieces_before_in_spell
    work = Work.of(before, practice.pieces, size, in_spell)
    share = work.restart_share
    spells = np.bincount(practice.cell, in_spell == 0)
    mean = np.bincount(practice.cell, share) / size
    spread = np.bincount(practice.cell, (share - np.repeat(mean, size)) ** 2) / size
    told = (spells >= 3) & (spread > 1e-4)
    return replace(work, restart_powers=work.restart_powers * told[work.place_cell])


def noise_of(practice: Practice, bend: Bend, response: np.ndarray, weight: np.ndarray) -> Noise:
    """Noise about the bending curve, over cells; those too small to tell have the shop's.

    response: log seconds per piece, over laps; weight: 0 where a lap is left out. Variances are
    of the log.
    """
    sums = Sums.of([*bend.columns, response], weight, practice)
    laps = np.bincount(practice.cell, weight > 0)
    pieces_per_lap = np.bincount(practice.cell, practice.pieces) / np.bincount(practice.cell)
    likeness, doubt, likely = likeness_of(sums, laps, bend.hold, pieces_per_lap, practice.operation)
    rest = bend.rest(practice, response, weight, likeness)
    freedom = np.maximum(laps - effective_columns(sums, bend.hold), 0.0)
    freedom = np.where(freedom < 0.5, 0.0, freedom)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = np.where(freedom > 0, np.maximum(rest, 0) / freedom, np.nan)
    pooled = pooling.pooled_noise(variance, freedom)
    variance = np.where(np.isfinite(variance), variance, pooled)
    return Noise(np.maximum(variance, 1e-16), likeness, freedom, doubt, likely)


def first_good_laps(practice: Practice, bend: Bend, response: np.ndarray) -> np.ndarray:
    """Mask over laps: no outliers from a bending curve fitted so that outliers do not drag it.

    response: log seconds per piece, over laps.
    """
    likeness = np.full(len(practice.cell_starts), USUAL_LIKENESS)
    precision = 1 / (1 / practice.pieces + USUAL_LIKENESS)
    weight = precision
    for _ in range(_ROUNDS):
        residual = response - bend.fitted(practice, response, weight)
        odd, z = odd_laps(practice, residual, likeness)
        pull = np.minimum(1.0, _HUBER / np.maximum(np.abs(z), 1e-9))
        weight = np.where(np.abs(z) > 8, 0.1, 1.0) * pull * precision
    return ~odd
