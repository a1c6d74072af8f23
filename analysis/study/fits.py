"""Fits of many cells at once: sorted groups and sums over them, no loop over cells.

Every function takes laps sorted by cell and `starts`, the place of each cell's first lap. All of
them minimise the squares of the log residuals, log y - log of the curve: the error of a lap is
in proportion to its length, so that a slow hand and a quick one weigh alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

CHUNK_LAPS = 16_384  # so much stays in the processor's cache; it is faster than all laps at once
EXPONENTS = -np.geomspace(0.06, 1.6, 9)  # 96 % to 33 % learning rates: wider than any published
STEEPEST, FLATTEST = -2.0, -0.02
FULLEST = 0.98  # a plateau over 98 % of the first piece's time is no practice at all
_BIN = 0.08  # width of a bin of log n while the grid is searched; the refinement uses every lap


@dataclass(frozen=True)
class UnitFits:
    """One row a cell: log y = log_first + exponent log n, by ordinary least squares."""

    log_first: np.ndarray
    exponent: np.ndarray
    exponent_error: np.ndarray  # standard error, laps taken as independent
    residual_squares: np.ndarray
    laps: np.ndarray


@dataclass(frozen=True)
class PlateauFits:
    """One row a cell: y = c + (a - c) n^b with a = exp(log_first), c = fraction a."""

    log_first: np.ndarray
    exponent: np.ndarray
    fraction: np.ndarray
    residual_squares: np.ndarray
    identifiable: np.ndarray  # False where the best fit stands on a boundary or is no better
    laps: np.ndarray

    @property
    def plateau(self) -> np.ndarray:
        return np.exp(self.log_first) * self.fraction


def counts(starts, laps):
    """Laps of every cell."""
    return np.diff(np.append(starts, laps))


def chunks(starts, laps, size=CHUNK_LAPS):
    """Slices of whole cells, of about `size` laps: pairs (first cell, last cell + 1)."""
    ends = np.append(starts[1:], laps)
    first = 0
    while first < len(starts):
        last = max(first + 1, int(np.searchsorted(ends, starts[first] + size, side="right")))
        yield first, last
        first = last


def fit_unit_curves(log_n, log_y, starts) -> UnitFits:
    """Ordinary least squares of log y on log n in every cell.

    b = sum (L - mean L)(Y - mean Y) / sum (L - mean L)^2; both are taken about the cell's mean
    first, so that nothing cancels. A cell of one lap, or of one n, has exponent NaN.
    """
    parts = [
        _unit_chunk(log_n[a:z], log_y[a:z], local) for a, z, local in _pieces_of(starts, len(log_n))
    ]
    return UnitFits(*(np.concatenate(column) for column in zip(*parts)))


def _pieces_of(starts, laps):
    for first, last in chunks(starts, laps):
        end = starts[last] if last < len(starts) else laps
        yield starts[first], end, starts[first:last] - starts[first]


def _unit_chunk(log_n, log_y, starts):
    laps = counts(starts, len(log_n))
    mean_n = np.add.reduceat(log_n, starts) / laps
    mean_y = np.add.reduceat(log_y, starts) / laps
    x = log_n - np.repeat(mean_n, laps)
    y = log_y - np.repeat(mean_y, laps)
    xx = np.add.reduceat(x * x, starts)
    with np.errstate(divide="ignore", invalid="ignore"):
        exponent = np.add.reduceat(x * y, starts) / xx
        residual = y - np.repeat(exponent, laps) * x
        squares = np.add.reduceat(residual * residual, starts)
        error = np.sqrt(squares / np.where(laps > 2, laps - 2, np.nan) / xx)
    return mean_y - exponent * mean_n, exponent, error, squares, laps


def fit_plateau_curves(log_n, log_y, starts) -> PlateauFits:
    """Least squares of log y on log(c + (a - c) n^b) in every cell, by variable projection.

    For a given exponent the curve is linear in c and a - c (Golub & Pereyra 1973), fitted by
    iteratively reweighted sums with weights 1 / fitted^2; a grid of exponents over laps binned
    by log n finds the valley, and Gauss-Newton over every lap goes down to its floor.
    Bounds: 0 <= c <= 0.98 a, -2 <= b <= -0.02.
    """
    parts = [
        _plateau_chunk(log_n[a:z], log_y[a:z], local)
        for a, z, local in _pieces_of(starts, len(log_n))
    ]
    return PlateauFits(*(np.concatenate(column) for column in zip(*parts)))


def _plateau_chunk(log_n, log_y, starts):
    laps = counts(starts, len(log_n))
    exponent, fraction = _plateau_start(log_n, log_y, starts, laps)
    log_first, exponent, fraction, squares = _plateau_descent(
        log_n, log_y, starts, laps, exponent, fraction
    )
    inside = (fraction > 0) & (fraction < FULLEST) & (exponent > STEEPEST) & (exponent < FLATTEST)
    unit_squares = _unit_chunk(log_n, log_y, starts)[3]
    freedom = np.maximum(laps - 3, 1)
    better = unit_squares - squares > 3.84 * squares / freedom
    return log_first, exponent, fraction, squares, inside & better & (laps > 4), laps


def _plateau_start(log_n, log_y, starts, laps):
    """The best exponent of the grid, and its plateau fraction, from binned laps."""
    n, y, weight, starts = _binned(log_n, log_y, starts, laps)
    cells = np.repeat(np.arange(len(starts)), counts(starts, len(n)))
    best = np.full(len(starts), np.inf)
    exponent, fraction = np.full(len(starts), EXPONENTS[0]), np.zeros(len(starts))
    seconds = np.exp(y)
    for b in EXPONENTS:
        power = np.exp(b * n)
        c, d = _reweighted_line(power, seconds, y, weight, starts, cells)
        squares = np.add.reduceat(weight * (y - np.log(c[cells] + d[cells] * power)) ** 2, starts)
        better = squares < best
        best = np.where(better, squares, best)
        exponent = np.where(better, b, exponent)
        fraction = np.where(better, c / (c + d), fraction)
    return exponent, np.clip(fraction, 0.0, FULLEST)


def _binned(log_n, log_y, starts, laps):
    """Means of log n and log y over runs of laps with about the same n, and their counts."""
    key = np.floor(log_n * (1 / _BIN))
    edge = np.empty(len(key), bool)
    edge[0] = True
    np.not_equal(key[1:], key[:-1], out=edge[1:])
    edge[starts] = True
    bins = np.flatnonzero(edge)
    weight = counts(bins, len(key)).astype(float)
    mean_n = np.add.reduceat(log_n, bins) / weight
    mean_y = np.add.reduceat(log_y, bins) / weight
    return mean_n, mean_y, weight, np.searchsorted(bins, starts)


def _reweighted_line(power, seconds, y, weight, starts, cells):
    """c and d >= 0 of c + d n^b with the least squares of logs, two reweightings."""
    fitted, target = seconds, seconds
    for _ in range(2):
        w = weight / (fitted * fitted)
        c, d = _bounded_line(w, power, target, starts)
        fitted = c[cells] + d[cells] * power
        target = fitted * (1 + y - np.log(fitted))
    return c, d


def _bounded_line(w, x, z, starts):
    s, sx, sxx, sz, sxz = (
        np.add.reduceat(q, starts) for q in (w, w * x, w * x * x, w * z, w * x * z)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        d = (s * sxz - sx * sz) / (s * sxx - sx * sx)
    c = (sz - d * sx) / s
    level = ~np.isfinite(d) | (d <= 0)
    steep = ~level & (c < 0)
    c = np.where(level, sz / s, np.where(steep, 0.0, c))
    d = np.where(level, 1e-9 * c, np.where(steep, sxz / sxx, d))
    return c, d


def _plateau_descent(log_n, log_y, starts, laps, exponent, fraction, steps=40):
    """Gauss-Newton (damped, bounded) in exponent and fraction; the level is projected out.

    Cells leave as they arrive, so the last steps cost little.
    """
    cells = len(starts)
    log_first, squares = np.zeros(cells), np.full(cells, np.inf)
    exponent, fraction = exponent.copy(), fraction.copy()
    trial_b, trial_f = exponent.copy(), fraction.copy()
    step_b, step_f = np.zeros(cells), np.zeros(cells)
    damping = np.full(cells, 1e-4)
    active = np.arange(cells)
    n, y, at, size = log_n, log_y, starts, laps
    for _ in range(steps):
        level, rss, matrix, gradient = _plateau_step(
            n, y, at, size, trial_b[active], trial_f[active]
        )
        better = rss <= squares[active] * (1 + 1e-14)
        won = active[better]
        gain = squares[won] - rss[better]
        exponent[won], fraction[won] = trial_b[won], trial_f[won]
        log_first[won], squares[won] = level[better], rss[better]
        db, df = _damped(
            matrix,
            gradient,
            np.where(better, damping[active], 0.0),
            fraction[active],
            exponent[active],
        )
        step_b[won], step_f[won] = db[better], df[better]
        damping[won] = damping[won] * 0.1
        lost = active[~better]
        damping[lost] = damping[lost] * 10 + 1e-3
        step_b[lost] *= 0.25
        step_f[lost] *= 0.25
        trial_b[active] = np.clip(exponent[active] + step_b[active], STEEPEST, FLATTEST)
        trial_f[active] = np.clip(fraction[active] + step_f[active], 0.0, FULLEST)
        moved = np.abs(trial_b - exponent)[active] + np.abs(trial_f - fraction)[active]
        still = moved > 1e-9
        if not still.any():
            break
        if still.mean() < 0.7:
            active = active[still]
            n, y, at, size = _only(log_n, log_y, starts, laps, active)
    return log_first, exponent, fraction, squares


def _only(log_n, log_y, starts, laps, cells):
    size = laps[cells]
    at = np.cumsum(size) - size
    where = np.arange(size.sum()) + np.repeat(starts[cells] - at, size)
    return log_n[where], log_y[where], at, size


def _plateau_step(log_n, log_y, starts, laps, exponent, fraction):
    f = np.repeat(fraction, laps)
    power = np.exp(np.repeat(exponent, laps) * log_n)
    rest = (1 - f) * power
    level = f + rest
    by_b = rest * log_n / level
    by_f = (1 - power) / level
    residual = log_y - np.log(level)
    mean = [np.add.reduceat(q, starts) / laps for q in (residual, by_b, by_f)]
    r, u, v = (q - np.repeat(m, laps) for q, m in zip((residual, by_b, by_f), mean))
    sums = [np.add.reduceat(q, starts) for q in (r * r, u * u, u * v, v * v, u * r, v * r)]
    return mean[0], sums[0], sums[1:4], sums[4:6]


def _damped(matrix, gradient, damping, fraction, exponent):
    uu, uv, vv = matrix
    gu, gv = gradient
    uu, vv = uu * (1 + damping) + 1e-300, vv * (1 + damping) + 1e-300
    pinned_f = ((fraction <= 0) & (gv < 0)) | ((fraction >= FULLEST) & (gv > 0))
    pinned_b = ((exponent <= STEEPEST) & (gu < 0)) | ((exponent >= FLATTEST) & (gu > 0))
    uv = np.where(pinned_f | pinned_b, 0.0, uv)
    gu, gv = np.where(pinned_b, 0.0, gu), np.where(pinned_f, 0.0, gv)
    determinant = np.maximum(uu * vv - uv * uv, 1e-14 * uu * vv)
    db = (vv * gu - uv * gv) / determinant
    df = (uu * gv - uv * gu) / determinant
    return np.clip(db, -0.5, 0.5), np.clip(df, -0.4, 0.4)
