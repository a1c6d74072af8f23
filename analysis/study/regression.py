"""Regression of laps on a learning curve, restart effect and sessions included, all cells at once.

The mean seconds per piece of a lap is
    a x shape of the curve over the lap's pieces x restart,
its log residual is normal and alike within a session (likeness.py). Damped Gauss-Newton
(Levenberg 1944, Marquardt 1963) on the whitened log residuals.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import factorial

import numpy as np

from analysis.study.curves import power_mean
from analysis.study.experience import Practice
from analysis.study.likeness import Sums, inverse, split

PARAMETERS = ("log_first", "exponent", "fraction", "log_prior", "restart")
LEVEL, EXPONENT, FRACTION, LOG_PRIOR, RESTART = range(5)
ACTIVE = {
    "constant": (LEVEL, RESTART),
    "unit": (LEVEL, EXPONENT, RESTART),
    "cumulative_average": (LEVEL, EXPONENT, RESTART),
    "plateau": (LEVEL, EXPONENT, FRACTION, RESTART),
    "prior": (LEVEL, EXPONENT, LOG_PRIOR, RESTART),
}
LOWEST = np.array([-np.inf, -2.0, 0.0, 0.0, -1.0])
HIGHEST = np.array([np.inf, 0.9, 0.98, np.log1p(1e4), 2.0])
STEEPEST_AVERAGE = -0.9  # of a cumulative average; at -1 later pieces would take no time

_STEP = 1e-5
_RESTART_TERMS = 8


@dataclass(frozen=True)
class Work:
    """Laps as the curve sees them, sorted by cell."""

    experience: np.ndarray  # E, pieces done before the lap
    pieces: np.ndarray  # k
    laps: np.ndarray  # over cells: how many laps
    restart_powers: np.ndarray  # (terms, laps): mean over pieces of 2^(-m (place in spell))
    moments: np.ndarray  # (4, laps): 2nd, 4th, 6th, 8th central moments of the pieces' numbers

    @classmethod
    def of(cls, experience, pieces, laps, before_in_spell=None) -> Work:
        """before_in_spell: pieces of the spell before the lap; None where no restart counts."""
        single = bool((pieces == 1).all())
        terms = range(1, 2 if single else _RESTART_TERMS + 1)
        if before_in_spell is None:
            powers = np.zeros((len(terms), len(pieces)))
        else:
            powers = np.array([_mean_fading(m, before_in_spell, pieces) for m in terms])
        moments = np.zeros((0 if single else 4, len(pieces)))
        return cls(experience, pieces, laps, powers, moments if single else _moments(pieces))

    @property
    def restart_told(self) -> np.ndarray:
        """Over cells: whether any lap says anything of the restart effect."""
        return np.maximum.reduceat(self.restart_powers[0], np.cumsum(self.laps) - self.laps) > 0

    def at(self, experience) -> Work:
        """The same laps, begun with another experience."""
        return replace(self, experience=experience)

    @property
    def one_by_one(self) -> bool:
        """Whether every lap is of a single piece, so that no moments are needed."""
        return not len(self.moments)


def _mean_fading(m, before, pieces):
    """Mean of 2^(-m j) over the places j = s ... s+k-1 of a lap's pieces in their spell."""
    ratio = 0.5**m
    return ratio ** np.minimum(before, 60) * (1 - ratio**pieces) / ((1 - ratio) * pieces)


def _moments(k):
    """Central moments of k consecutive whole numbers."""
    q = k * k
    return np.array(
        [
            (q - 1) / 12,
            (q - 1) * (3 * q - 7) / 240,
            (q - 1) * (3 * q * q - 18 * q + 31) / 1344,
            (q - 1) * (5 * q**3 - 55 * q * q + 239 * q - 381) / 11520,
        ]
    )


def restart_multiple(work: Work, restart):
    """(log of the mean slowness, its slope in the restart effect) of every lap.

    The k-th piece of a spell takes exp(r 2^-(k-1)) times longer; over a lap of several the mean
    of it is 1 + sum_m r^m / m! (mean of 2^(-m (k-1))).
    """
    if work.one_by_one:
        return restart * work.restart_powers[0], work.restart_powers[0]
    excess, slope = 0.0, 0.0
    for m in range(len(work.restart_powers), 0, -1):  # Horner's rule
        power = work.restart_powers[m - 1] / factorial(m)
        excess, slope = restart * (power + excess), m * power + restart * slope
    value = 1 + excess
    return np.log(value), slope / value


def log_shape(curve, work: Work, theta):
    """(log shape, {parameter: slope}) of every lap, theta being a row of parameters a lap."""
    b = theta[EXPONENT]
    if curve == "constant":
        return np.zeros(len(work.pieces)), {}
    if curve == "cumulative_average":
        return _cumulative_average(work, b)
    if curve == "prior":
        return _prior_experience(work, b, theta[LOG_PRIOR])
    mean, by_exponent = _log_power_mean(work, work.experience, b)
    if curve == "unit":
        return mean, {EXPONENT: by_exponent}
    f, mean = theta[FRACTION], np.exp(mean)
    value = f + (1 - f) * mean
    return np.log(value), {
        EXPONENT: (1 - f) * mean * by_exponent / value,
        FRACTION: (1 - mean) / value,
    }


def _prior_experience(work, b, log_prior):
    """log of mean (n+B)^b / (1+B)^b; d/dB of the mean of (n+B)^b is b times that of (n+B)^(b-1)."""
    prior = np.expm1(log_prior)
    mean, by_exponent = _log_power_mean(work, work.experience + prior, b)
    if work.one_by_one:
        by_prior = (1 + prior) / (work.experience + prior + 1)
    else:
        steeper = _log_power_mean(work, work.experience + prior, b - 1)[0]
        by_prior = (1 + prior) * np.exp(steeper - mean)
    return mean - b * log_prior, {
        EXPONENT: by_exponent - log_prior,
        LOG_PRIOR: b * (by_prior - 1),
    }


def _log_power_mean(work, experience, b):
    """(log of the mean of n^b over the pieces of each lap, its slope in b).

    About the middle m of the lap, with the central moments M of its pieces' numbers,
        mean n^b = m^b (1 + C(b,2) M2 / m^2 + C(b,4) M4 / m^4 + ...);
    four terms are good to 1e-7 where the lap spans at most 0.4 m; wider laps, the first of a
    cell, are summed exactly.
    """
    middle = experience + 0.5 * (work.pieces + 1)
    log_middle = np.log(middle)
    if work.one_by_one:
        return b * log_middle, log_middle
    inverse_square = 1 / (middle * middle)
    value, slope = np.ones_like(middle), np.zeros_like(middle)
    factor, factor_slope, power = 1.0, 0.0, 1.0
    for i, moment in enumerate(work.moments):
        pair = (b - 2 * i) * (b - 2 * i - 1) / ((2 * i + 1) * (2 * i + 2))
        pair_slope = (2 * b - 4 * i - 1) / ((2 * i + 1) * (2 * i + 2))
        factor, factor_slope = factor * pair, factor_slope * pair + factor * pair_slope
        power = power * inverse_square
        value, slope = value + factor * moment * power, slope + factor_slope * moment * power
    wide = np.flatnonzero((work.pieces > 0.4 * middle) & (work.pieces > 1))
    value[wide] = 1.0
    log_value, slope = b * log_middle + np.log(value), log_middle + slope / value
    log_value[wide], slope[wide] = _exact_log_power_mean(
        experience[wide], work.pieces[wide], b[wide]
    )
    return log_value, slope


def _exact_log_power_mean(experience, pieces, b):
    """The same by the exact sum, its slope by a central difference (good to 1e-9)."""
    low, mid, high = (
        np.log(power_mean(experience, pieces, b + step)) for step in (-_STEP, 0.0, _STEP)
    )
    return mid, (high - low) / (2 * _STEP)


def _cumulative_average(work, b):
    start, end = work.experience, work.experience + work.pieces
    low, high = start ** (1 + b), end ** (1 + b)
    log_start = np.log(np.where(start > 0, start, 1.0))
    slope = (high * np.log(end) - low * log_start) / (high - low)
    return np.log((high - low) / work.pieces), {EXPONENT: slope}


def log_mean(curve, work: Work, theta, slopes=True):
    """(log mean seconds per piece, columns of slopes in ACTIVE[curve]) of every lap.

    theta: (cells, 5), in the order of PARAMETERS.
    """
    rows = np.repeat(theta.T, work.laps, axis=1)
    value, slope = log_shape(curve, work, rows)
    slowness, by_restart = restart_multiple(work, rows[RESTART])
    value = rows[LEVEL] + value + slowness
    slope |= {LEVEL: np.ones(len(value)), RESTART: by_restart}
    return value, [slope[parameter] for parameter in ACTIVE[curve]]


@dataclass(frozen=True)
class Prior:
    """What is held of a parameter before the laps are seen: normal, by cell. Precision is that of
    the parameter times sigma^2; 0 is nothing held."""

    centre: np.ndarray  # (cells, 5)
    precision: np.ndarray  # (cells, 5)


@dataclass(frozen=True)
class Fit:
    """One curve fitted to every cell."""

    curve: str
    theta: np.ndarray  # (cells, 5)
    squares: np.ndarray  # whitened residual squares, prior included
    unscaled: np.ndarray  # (cells, 5, 5): covariance of theta over sigma^2
    prior: Prior


def fit(
    curve, start, response, weight, likeness, practice: Practice, work: Work, prior: Prior, steps=30
) -> Fit:
    """Least squares of the whitened log residuals in every cell, from `start` (cells, 5)."""
    active = list(ACTIVE[curve])
    lowest = LOWEST.copy()
    if curve == "cumulative_average":
        lowest[EXPONENT] = STEEPEST_AVERAGE
    theta, trial = start.copy(), np.clip(start, lowest, HIGHEST)
    cells = len(theta)
    squares, damping = np.full(cells, np.inf), np.zeros(cells)
    matrix, step = np.zeros((cells, len(active), len(active))), np.zeros((cells, len(active)))
    for _ in range(steps):
        new_matrix, gradient, new_squares = _normal_equations(
            curve, trial, response, weight, likeness, practice, work, prior
        )
        better = new_squares <= squares * (1 + 1e-12)
        small = better & np.isfinite(squares) & (new_squares >= squares * (1 - 1e-10))
        theta[better], squares[better] = trial[better], new_squares[better]
        matrix[better] = new_matrix[better]
        damping = np.where(better, damping * 0.1, damping * 8 + 1e-2)
        fresh = _bounded_step(new_matrix, gradient, damping, trial[:, active], active, lowest)
        step = np.where(better[:, None], fresh, step * 0.25)
        trial = theta.copy()
        trial[:, active] += step
        trial = np.clip(trial, lowest, HIGHEST)
        scale = np.abs(trial - theta).max(axis=1)
        if (small | (scale < 1e-10)).all():
            break
    unscaled = np.zeros((cells, 5, 5))
    unscaled[np.ix_(range(cells), active, active)] = inverse(matrix)
    return Fit(curve, theta, squares, unscaled, prior)


def _normal_equations(curve, theta, response, weight, likeness, practice, work, prior):
    value, columns = log_mean(curve, work, theta)
    sums = Sums.of([*columns, response - value], weight, practice)
    matrix, gradient, squares = split(sums.whitened(likeness))
    active = list(ACTIVE[curve])
    away = prior.centre[:, active] - theta[:, active]
    precision = prior.precision[:, active]
    matrix = matrix + precision[:, :, None] * np.eye(len(active))
    return matrix, gradient + precision * away, squares + (precision * away**2).sum(axis=1)


def _bounded_step(matrix, gradient, damping, at, active, lowest):
    """The damped step; a parameter on its bound that would step outside is left where it is."""
    low, high = lowest[active], HIGHEST[active]
    pinned = ((at <= low) & (gradient < 0)) | ((at >= high) & (gradient > 0))
    free = ~pinned
    damped = matrix * free[:, :, None] * free[:, None, :]
    index = range(len(active))
    diagonal = matrix[:, index, index]
    damped[:, index, index] = diagonal * (1 + damping[:, None])
    step = np.einsum("cij,cj->ci", inverse(damped), gradient * free)
    limit = np.array([np.inf, 0.6, 0.4, 2.0, 0.5])[active]
    return np.clip(step, -limit, limit)
