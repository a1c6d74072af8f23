"""Laps of one session resemble each other: generalised least squares that knows it.

The log residual of a lap of k pieces is lap noise of variance sigma^2 / k plus session noise of
variance tau^2, the same for all laps of its session. The likeness lambda = tau^2 / sigma^2 is
estimated by restricted maximum likelihood (Patterson & Thompson 1971) on a grid. Few sessions
tell little about it, so each cell is helped by those of the same operation, these by the bench and
by a wide guess, and the mean over what is likely is taken, not the peak: the peak is 0 too often,
and intervals then too short.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.study import pooling
from analysis.study.experience import Practice
from analysis.study.frames import Number

LIKENESS_GRID = np.array([0.0, 0.01, 0.02, 0.04, 0.07, 0.12, 0.2, 0.35, 0.6, 1.0, 1.8, 3.5, 8.0])
GUESS_WEIGHS_AS = 4.0  # cells
SPREAD_STEPS = 20
USUAL_LIKENESS = 0.15  # the guess, within a factor of 13 either way; of our own, no source
USUAL_SPREAD = 1.3
UNLIKE = 0.7  # sd of the log likeness of one operation between its workers and products: within a
# factor of 4 either way; of our own, no source


@dataclass(frozen=True)
class Sums:
    """Weighted products of columns (the last being the response), by cell and by session."""

    products: np.ndarray  # (cells, p + 1, p + 1)
    session_sums: np.ndarray  # (p + 1, sessions)
    session_weight: np.ndarray
    session_cell: np.ndarray
    session_cell_starts: np.ndarray

    @classmethod
    def of(cls, columns: Sequence[np.ndarray], weight: np.ndarray, practice: Practice) -> Sums:
        """From columns (one value a lap), each weighed by `weight`, over laps: 1 / variance."""
        rows = len(columns)
        products = np.empty((len(practice.cell_starts), rows, rows))
        weighted = [weight * column for column in columns]
        for i in range(rows):
            for j in range(i, rows):
                total = np.add.reduceat(weighted[i] * columns[j], practice.cell_starts)
                products[:, i, j] = products[:, j, i] = total
        sums = np.array([np.add.reduceat(w, practice.session_starts) for w in weighted])
        session_weight = np.add.reduceat(weight, practice.session_starts)
        return cls(
            products, sums, session_weight, practice.session_cell, practice.session_cell_starts
        )

    def whitened(self, likeness: Number) -> np.ndarray:
        """X' V^-1 X, (cells, p + 1, p + 1), with V = D + lambda 1 1' in every session, D the lap
        variances 1 / weight; likeness: lambda, over cells or one for all.

        V^-1 = W - W 1 1' W lambda / (1 + lambda sum W) (Sherman & Morrison 1950).
        """
        each = np.broadcast_to(likeness, (len(self.products),))[self.session_cell]
        shrink = each / (1 + each * self.session_weight)
        result = self.products.copy()
        rows = result.shape[1]
        for i in range(rows):
            for j in range(i, rows):
                taken = np.add.reduceat(
                    shrink * self.session_sums[i] * self.session_sums[j], self.session_cell_starts
                )
                result[:, i, j] -= taken
                if i != j:
                    result[:, j, i] -= taken
        return result

    def log_determinant(self, likeness: Number) -> np.ndarray:
        """log |V| less the part that does not depend on the likeness."""
        each = np.broadcast_to(likeness, (len(self.products),))[self.session_cell]
        return np.add.reduceat(np.log1p(each * self.session_weight), self.session_cell_starts)


def split(whitened: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(X'V^-1X, X'V^-1y, y'V^-1y) of the whitened products."""
    return whitened[:, :-1, :-1], whitened[:, :-1, -1], whitened[:, -1, -1]


def solve(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    """Batched solution of matrix x = vector; a column without information gets 0."""
    return np.einsum("cij,cj->ci", inverse(matrix), vector)


def inverse(matrix: np.ndarray) -> np.ndarray:
    """Batched inverse of symmetric matrices, scaled to unit diagonal; empty columns give 0."""
    diagonal = np.einsum("cii->ci", matrix)
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.where(diagonal > 0, 1 / np.sqrt(diagonal), 0.0)
    scaled = matrix * scale[:, :, None] * scale[:, None, :]
    size = matrix.shape[1]
    scaled[:, range(size), range(size)] = 1 + 1e-11
    return np.linalg.inv(scaled) * scale[:, :, None] * scale[:, None, :]


def effective_columns(sums: Sums, penalty: np.ndarray) -> np.ndarray:
    """How many columns the laps of a cell determine: s / (s + penalty) of each, s its squares."""
    squares = np.einsum("cii->ci", sums.products)[:, :-1]
    held = np.einsum("cii->ci", np.broadcast_to(penalty, sums.products[:, :-1, :-1].shape))
    return (squares / np.maximum(squares + held, 1e-300)).sum(axis=1)


def restricted_likelihood(
    sums: Sums, laps: np.ndarray, penalty: np.ndarray, grid: np.ndarray = LIKENESS_GRID
) -> np.ndarray:
    """(grid, cells): log likelihood of every likeness of the grid, sigma and effects profiled.

    -1/2 [ log|V| + log|X'V^-1X| + (N - p) log(residual squares / (N - p)) ]
    """
    values, columns = [], effective_columns(sums, penalty)
    for likeness in grid:
        matrix, vector, squares = split(sums.whitened(likeness))
        matrix = matrix + penalty
        residual = squares - np.einsum("ci,ci->c", solve(matrix, vector), vector)
        freedom = np.maximum(laps - columns, 1)
        floor = 1e-13 * np.abs(sums.products[:, -1, -1]) + 1e-300
        log_matrix = np.linalg.slogdet(matrix + 1e-9 * np.eye(matrix.shape[1]))[1]
        log_squares = freedom * np.log(np.maximum(residual, floor))
        values.append(-0.5 * (sums.log_determinant(likeness) + log_matrix + log_squares))
    return np.array(values)


def likeness_of(
    sums: Sums,
    laps: np.ndarray,
    penalty: np.ndarray,
    pieces_per_lap: np.ndarray,
    operation: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(likeness of every cell, doubt about a single piece, weights of the likenesses of the grid).

    operation: over cells, the number of its operation. The likeness is the mean over what is likely
    by the cell's own likelihood and by `_likely_by_operation`.

    Laps of k pieces show sigma^2 (1/k + likeness); what a single piece strays, sigma^2 (1 +
    likeness), follows only with the likeness. The doubt is the mean of the ratio of the two over
    what is likely, against the ratio at the likeness returned: 1 for laps of one piece.
    """
    sessions = np.diff(np.append(sums.session_cell_starts, len(sums.session_cell)))
    telling = (sessions > 1) & (laps > sums.products.shape[1] + 1)
    likelihood = restricted_likelihood(sums, laps, penalty)
    likelihood = np.where(telling, np.exp(likelihood - likelihood.max(axis=0)), 1.0)
    weight = likelihood * _likely_by_operation(likelihood, telling, operation)
    weight /= weight.sum(axis=0)
    likeness = (weight * LIKENESS_GRID[:, None]).sum(axis=0)
    ratio = (1 + LIKENESS_GRID)[:, None] / (1 / pieces_per_lap + LIKENESS_GRID[:, None])
    mean_ratio = (weight * ratio).sum(axis=0)
    return likeness, mean_ratio * (1 / pieces_per_lap + likeness) / (1 + likeness), weight


def _likely_by_operation(
    likelihood: np.ndarray, telling: np.ndarray, operation: np.ndarray
) -> np.ndarray:
    """(grid, cells): how likely each likeness is by all that other cells tell.

    Some work is steadier than other, whoever does it on whatever product: a cell's log likeness is
    that of its operation, with sd UNLIKE. How those of operations are spread over the bench starts
    as the guess, which counts as GUESS_WEIGHS_AS operations, and is moved to where they lie
    (nonparametric empirical Bayes, Laird 1978).
    """
    log_grid = np.log(np.maximum(LIKENESS_GRID, 0.005))
    guess = np.exp(-0.5 * ((log_grid - np.log(USUAL_LIKENESS)) / USUAL_SPREAD) ** 2)
    guess *= GUESS_WEIGHS_AS / guess.sum()
    about = np.exp(-0.5 * ((log_grid[:, None] - log_grid) / UNLIKE) ** 2)
    about /= about.sum(axis=0)  # (likeness of a cell, of its operation)
    known = np.bincount(operation, telling) > 0
    spread = guess
    for _ in range(SPREAD_STEPS):
        of_operations, of_cells = pooling.by_operation(likelihood, about, spread, operation)
        spread = guess + of_operations[:, known].sum(axis=1)
    return of_cells
