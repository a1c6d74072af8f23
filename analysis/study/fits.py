"""Fits of many cells at once: sorted groups and sums over them, no loop over cells.

Every function takes laps sorted by cell and `starts`, the place of each cell's first lap. All of
them minimise the squares of the log residuals, log y - log of the curve: the error of a lap is
in proportion to its length, so that a slow hand and a quick one weigh alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from analysis.study.frames import Number

CHUNK_LAPS = 131_072  # so much stays in the processor's cache; it is faster than all laps at once
EXPONENTS = -np.geomspace(0.03, 1.6, 8)  # 96 % to 33 % learning rates: wider than any published
STEEPEST, FLATTEST = -2.0, -0.02
_Pair: TypeAlias = tuple[np.ndarray, np.ndarray]  # of exponent and fraction, each over cells
# log n, log y, weight, starts
_Laps: TypeAlias = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]
FULLEST = 0.98  # a plateau over 98 % of the first piece's time is no practice at all
_BIN = 0.08  # width of a bin of log n while the valley is sought; the last steps use every lap
_BINNED_STEPS = 30
_LAST_STEPS = 40
_ENOUGH = 1e-12  # of the residual squares: a step that takes less off is not worth taking
_LITTLE = 1e-8  # of them: the last step that is taken unseen


@dataclass(frozen=True)
class UnitFits:
    """One row a cell: log y = log_first + exponent log n, by ordinary least squares."""

    log_first: np.ndarray
    exponent: np.ndarray
    laps: np.ndarray


@dataclass(frozen=True)
class PlateauFits:
    """One row a cell: y = c + (a - c) n^b with a = exp(log_first), c = fraction a."""

    log_first: np.ndarray
    exponent: np.ndarray
    fraction: np.ndarray
    residual_squares: np.ndarray


def counts(starts: np.ndarray, laps: int) -> np.ndarray:
    """Laps of every cell."""
    return np.diff(np.append(starts, laps))


def chunks(starts: np.ndarray, laps: int, size: int = CHUNK_LAPS) -> Iterator[tuple[int, int]]:
    """Slices of whole cells, of about `size` laps: pairs (first cell, last cell + 1)."""
    ends = np.append(starts[1:], laps)
    first = 0
    while first < len(starts):
        last = max(first + 1, int(np.searchsorted(ends, starts[first] + size, side="right")))
        yield first, last
        first = last


def fit_unit_curves(log_n: np.ndarray, log_y: np.ndarray, starts: np.ndarray) -> UnitFits:
    """Ordinary least squares of log y on log n in every cell.

    b = sum (L - mean L) Y / sum (L - mean L)^2, L about the cell's mean first, so that nothing
    cancels. A cell of one lap, or of one n, has exponent NaN.
    """
    parts = [
        _unit_chunk(log_n[a:z], log_y[a:z], local) for a, z, local in _pieces_of(starts, len(log_n))
    ]
    return UnitFits(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _pieces_of(starts: np.ndarray, laps: int) -> Iterator[tuple[int, int, np.ndarray]]:
    """(first lap, end, starts within) of runs of whole cells small enough for the cache."""
    for first, last in chunks(starts, laps):
        end = starts[last] if last < len(starts) else laps
        yield starts[first], end, starts[first:last] - starts[first]


def _unit_chunk(
    log_n: np.ndarray, log_y: np.ndarray, starts: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    laps = counts(starts, len(log_n))
    mean_n = np.add.reduceat(log_n, starts) / laps
    mean_y = np.add.reduceat(log_y, starts) / laps
    x = np.repeat(mean_n, laps)
    np.subtract(log_n, x, out=x)
    xy = np.add.reduceat(x * log_y, starts)
    xx = np.add.reduceat(np.multiply(x, x, out=x), starts)
    with np.errstate(divide="ignore", invalid="ignore"):
        exponent = np.where(xx > 1e-20 * laps, xy / xx, np.nan)
    return mean_y - exponent * mean_n, exponent, laps


def fit_plateau_curves(log_n: np.ndarray, log_y: np.ndarray, starts: np.ndarray) -> PlateauFits:
    """Least squares of log y on log(c + (a - c) n^b) in every cell, by variable projection.

    For a given exponent the curve is linear in c and a - c (Golub & Pereyra 1973), fitted by
    sums reweighted by 1 / seconds^2. A grid of exponents over laps binned by log n finds the
    valley, Newton over the bins its floor, and the last steps are over every lap.
    Bounds: 0 <= c <= 0.98 a, -2 <= b <= -0.02.
    """
    bins = _binned(log_n, log_y, starts)
    exponent, fraction = _from_grid(*bins)
    _, exponent, fraction, _, matrix = _descent(*bins, exponent, fraction, _BINNED_STEPS, 1e-9)
    parts, first = [], 0
    for a, z, local in _pieces_of(starts, len(log_n)):
        here = slice(first, first + len(local))
        first += len(local)
        data = log_n[a:z], log_y[a:z], np.broadcast_to(1.0, z - a), local
        parts.append(_last_steps(data, exponent[here], fraction[here], matrix[:, here]))
    return PlateauFits(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _last_steps(
    data: _Laps, exponent: np.ndarray, fraction: np.ndarray, matrix: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """From the floor of the bins to that of the laps by two steps with the bins' curvature, which
    is enough for nearly all cells, and by Newton for the others.

    What the second step takes off is so little that its effect is known without another look:
    the squares fall by the gain, the level by the mean slopes times the step.
    """
    starts, size = data[3], counts(data[3], len(data[0]))
    at = np.array([exponent, fraction])
    r, u, v, _ = _slopes(data[0], data[1], size, *at)
    r -= np.repeat(np.add.reduceat(r, starts) / size, size)
    gradient = np.add.reduceat(u * r, starts), np.add.reduceat(v * r, starts)
    at = _bounded(at + _step(matrix, gradient, 0.0, at)[0])
    r, u, v, _ = _slopes(data[0], data[1], size, *at)
    level = np.add.reduceat(r, starts) / size
    r -= np.repeat(level, size)
    squares = np.add.reduceat(r * r, starts)
    gradient = np.add.reduceat(u * r, starts), np.add.reduceat(v * r, starts)
    step, gain = _step(matrix, gradient, 0.0, at)
    within = (_bounded(at + step) == at + step).all(axis=0)
    step = np.where(within, step, 0.0)
    slope = np.array([np.add.reduceat(q, starts) for q in (u, v)]) / size
    left = np.flatnonzero(~(gain < _LITTLE * squares) | ~within)
    at, level, squares = at + step, level - (slope * step).sum(axis=0), squares - gain * within
    if len(left):
        better = _descent(*_only(*data, left), at[0, left], at[1, left], _LAST_STEPS, _ENOUGH)
        level[left], at[:, left], squares[left] = better[0], better[1:3], better[3]
    return level, *at, squares


def _binned(log_n: np.ndarray, log_y: np.ndarray, starts: np.ndarray) -> _Laps:
    """(mean log n, mean log y, laps, starts) of runs of laps with about the same n."""
    key = (log_n * (1 / _BIN)).astype(np.int32)
    edge = np.empty(len(key), bool)
    np.not_equal(key[1:], key[:-1], out=edge[1:])
    edge[starts] = True
    bins = np.flatnonzero(edge)
    weight = counts(bins, len(key)).astype(float)
    mean_n = np.add.reduceat(log_n, bins) / weight
    mean_y = np.add.reduceat(log_y, bins) / weight
    return mean_n, mean_y, weight, np.searchsorted(bins, starts)


def _from_grid(
    n: np.ndarray, y: np.ndarray, weight: np.ndarray, starts: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The best exponent of the grid, and its plateau fraction."""
    size = counts(starts, len(n))
    best = np.full(len(starts), np.inf)
    exponent, fraction = np.full(len(starts), EXPONENTS[0]), np.zeros(len(starts))
    seconds = np.exp(y)
    relative = weight / (seconds * seconds)
    for b in EXPONENTS:
        power = np.exp(b * n)
        c, d = _bounded_line(relative, power, seconds, starts)
        fitted = np.repeat(c, size) + np.repeat(d, size) * power
        squares = np.add.reduceat(weight * (y - np.log(fitted)) ** 2, starts)
        better = squares < best
        best = np.where(better, squares, best)
        exponent = np.where(better, b, exponent)
        fraction = np.where(better, c / (c + d), fraction)
    return exponent, np.clip(fraction, 0.0, FULLEST)


def _bounded_line(
    w: np.ndarray, x: np.ndarray, z: np.ndarray, starts: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Weighted least squares of z on c + d x with c, d >= 0."""
    wx, wz = w * x, w * z
    s, sx, sxx, sz, sxz = (np.add.reduceat(q, starts) for q in (w, wx, wx * x, wz, wx * z))
    with np.errstate(divide="ignore", invalid="ignore"):
        d = (s * sxz - sx * sz) / (s * sxx - sx * sx)
    c = (sz - d * sx) / s
    level = ~np.isfinite(d) | (d <= 0)
    steep = ~level & (c < 0)
    c = np.where(level, sz / s, np.where(steep, 0.0, c))
    d = np.where(level, 1e-9 * c, np.where(steep, sxz / sxx, d))
    return c, d


def _descent(
    n: np.ndarray,
    y: np.ndarray,
    weight: np.ndarray,
    starts: np.ndarray,
    exponent: np.ndarray,
    fraction: np.ndarray,
    steps: int,
    enough: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Damped, bounded Newton in exponent and fraction; the level is projected out.

    A cell leaves when the next step would take less than `enough` of its residual squares off,
    so the last steps cost little. Returns (level, exponent, fraction, squares, matrix).
    """
    cells = len(starts)
    level, squares, matrix = np.zeros(cells), np.full(cells, np.inf), np.zeros((3, cells))
    at = np.array([exponent, fraction])
    trial, step, damping = at.copy(), np.zeros((2, cells)), np.zeros(cells)
    active, data = np.arange(cells), (n, y, weight, starts)
    for _ in range(steps):
        new_level, new_squares, new_matrix, gradient = _normal(*data, *trial[:, active])
        better = new_squares <= squares[active]
        won, lost = active[better], active[~better]
        at[:, won], level[won], squares[won] = trial[:, won], new_level[better], new_squares[better]
        matrix[:, won] = new_matrix[:, better]
        damping[won] *= 0.1
        damping[lost] = damping[lost] * 10 + 1e-2
        fresh, gain = _step(new_matrix, gradient, damping[active], at[:, active])
        step[:, won] = fresh[:, better]
        step[:, lost] *= 0.25
        trial[:, active] = _bounded(at[:, active] + step[:, active])
        moved = np.abs(trial[:, active] - at[:, active]).max(axis=0) > 1e-9
        on = moved & ~(better & (gain < enough * new_squares))
        if not on.any():
            break
        if on.mean() < 0.8:
            active = active[on]
            data = _only(n, y, weight, starts, active)
    return level, *at, squares, matrix


def _bounded(at: np.ndarray) -> np.ndarray:
    return np.clip(at, [[STEEPEST], [0.0]], [[FLATTEST], [FULLEST]])


def _only(
    n: np.ndarray, y: np.ndarray, weight: np.ndarray, starts: np.ndarray, cells: np.ndarray
) -> _Laps:
    size = counts(starts, len(n))[cells]
    first = np.cumsum(size) - size
    where = np.arange(size.sum()) + np.repeat(starts[cells] - first, size)
    return n[where], y[where], weight[where], first


def _normal(
    n: np.ndarray,
    y: np.ndarray,
    weight: np.ndarray,
    starts: np.ndarray,
    exponent: np.ndarray,
    fraction: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, _Pair]:
    """(level, residual squares, (uu, uv, vv), (ur, vr)) at exponent and fraction of every cell.

    r: residual; u, v: slopes of the curve's log in exponent and fraction, about their means. The
    matrix is Newton's where that is positive definite, with the curve's second derivatives,
        sum u_i u_j - r d2/didj, and Gauss-Newton's, without, elsewhere.
    """
    size = counts(starts, len(n))
    r, u, v, power_over_value = _slopes(n, y, size, exponent, fraction)
    total = np.add.reduceat(weight, starts)
    level = np.add.reduceat(weight * r, starts) / total
    r -= np.repeat(level, size)
    wr = weight * r
    rr, ur, vr = (np.add.reduceat(wr * q, starts) for q in (r, u, v))
    by_b = (1 - np.repeat(fraction, size)) * power_over_value * n * n - u * u
    bent = (by_b, -power_over_value * n - u * v, -v * v)
    bend = [np.add.reduceat(wr * q, starts) for q in bent]
    for q in (u, v):
        q -= np.repeat(np.add.reduceat(weight * q, starts) / total, size)
    wu, wv = weight * u, weight * v
    flat = np.array([np.add.reduceat(q, starts) for q in (wu * u, wu * v, wv * v)])
    full = flat - bend
    definite = (full[0] > 0) & (full[0] * full[2] > 1.0001 * full[1] ** 2)
    return level, rr, np.where(definite, full, flat), (ur, vr)


def _slopes(
    n: np.ndarray, y: np.ndarray, size: np.ndarray, exponent: np.ndarray, fraction: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(y - log curve, its log's slope in exponent, in fraction, n^b over the curve), level 0."""
    f = np.repeat(fraction, size)
    power = np.repeat(exponent, size)
    np.exp(np.multiply(power, n, out=power), out=power)
    value = power - f * power
    value += f
    inverse = 1 / value
    r = y - np.log(value, out=value)
    v = (1 - power) * inverse
    power *= inverse
    u = power * n
    u *= 1 - f
    return r, u, v, power


def _step(
    matrix: np.ndarray, gradient: _Pair, damping: Number, at: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(damped step, what it should take off the residual squares); none out of a bound."""
    uu, uv, vv = matrix
    gu, gv = gradient
    exponent, fraction = at
    pinned_u = ((exponent <= STEEPEST) & (gu < 0)) | ((exponent >= FLATTEST) & (gu > 0))
    pinned_v = ((fraction <= 0) & (gv < 0)) | ((fraction >= FULLEST) & (gv > 0))
    uu, vv = uu * (1 + damping) + 1e-300, vv * (1 + damping) + 1e-300
    uv = np.where(pinned_u | pinned_v, 0.0, uv)
    gu, gv = np.where(pinned_u, 0.0, gu), np.where(pinned_v, 0.0, gv)
    determinant = np.maximum(uu * vv - uv * uv, 1e-14 * uu * vv + 1e-300)
    step = np.array([(vv * gu - uv * gv) / determinant, (uu * gv - uv * gu) / determinant])
    return np.clip(step, -0.5, 0.5), step[0] * gu + step[1] * gv
