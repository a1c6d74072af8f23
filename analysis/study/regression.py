"""Regression of laps on a learning curve, restart effect and sessions included, all cells at once.

The mean seconds per piece of a lap is
    a x shape of the curve over the lap's pieces x restart,
its log residual is normal and alike within a session (likeness.py). Damped Gauss-Newton
(Levenberg 1944, Marquardt 1963) on the whitened log residuals.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import factorial
from typing import TypeAlias

import numpy as np

from analysis.study.curves import power_mean
from analysis.study.experience import Practice
from analysis.study.fits import chunks
from analysis.study.frames import Number
from analysis.study.likeness import Sums, inverse, split

# over laps, and the slope of each parameter that the curve has
ShapeAndSlopes: TypeAlias = tuple[np.ndarray, dict[int, np.ndarray]]

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

_WORTH_LEAVING = 0.7  # share of cells still on their way; to pick them out costs half a step
_STEP = 1e-5
_RESTART_TERMS = 8
_FADED = 60  # pieces into a spell, the restart effect is 1e-18 of what it was
_WIDEST = 0.4  # pieces of a lap over its mid-piece
_TOO_LITTLE = 1e-19  # of a term beside 1, whose factor is below 100 for the exponents allowed
# Central moments of k consecutive whole numbers, the 2nd, 4th, 6th and 8th, in q = k^2.
_MOMENTS = (
    lambda q: (q - 1) / 12,
    lambda q: (q - 1) * (3 * q - 7) / 240,
    lambda q: (q - 1) * (3 * q * q - 18 * q + 31) / 1344,
    lambda q: (q - 1) * (5 * q**3 - 55 * q * q + 239 * q - 381) / 11520,
)


@dataclass(frozen=True)
class Work:
    """Laps as the curve sees them, sorted by cell.

    Laps of a cell that are of as many pieces and stand alike in their spell share a place: the
    restart effect is worked out once for all of them.
    """

    experience: np.ndarray  # E, pieces done before the lap
    pieces: np.ndarray  # k
    laps: np.ndarray  # over cells: how many laps
    place: np.ndarray  # over laps: its place
    place_cell: np.ndarray  # over places: its cell
    restart_powers: np.ndarray  # (terms, places): mean over pieces of 2^-(m place in spell)

    @classmethod
    def of(
        cls,
        experience: np.ndarray,
        pieces: np.ndarray,
        laps: np.ndarray,
        before_in_spell: np.ndarray | None = None,
    ) -> Work:
        """experience, pieces: over laps, in the order of cells; laps: how many, over cells.
        before_in_spell: pieces of the spell before the lap; None where no restart counts."""
        cell = np.repeat(np.arange(len(laps)), laps)
        terms = range(1, 2 if (pieces == 1).all() else _RESTART_TERMS + 1)
        if before_in_spell is None:
            nothing = np.zeros((len(terms), len(laps)))
            return cls(experience, pieces, laps, cell, np.arange(len(laps)), nothing)
        before = np.minimum(before_in_spell, _FADED)
        place, first = _places(cell, before, pieces)
        powers = np.array([_mean_fading(m, before[first], pieces[first]) for m in terms])
        return cls(experience, pieces, laps, place, cell[first], powers)

    @property
    def restart_share(self) -> np.ndarray:
        """Over laps: mean over pieces of 2^-(place in spell)."""
        return self.restart_powers[0][self.place]

    @property
    def restart_told(self) -> np.ndarray:
        """Over cells: whether any lap says anything of the restart effect."""
        return np.bincount(self.place_cell, self.restart_powers[0], len(self.laps)) > 0

    def at(self, experience: np.ndarray) -> Work:
        """The same laps, begun with another experience: pieces before, over laps."""
        return replace(self, experience=experience)

    def of_cells(self, chosen: np.ndarray) -> Work:
        """The laps of some cells alone, numbered anew; chosen: mask over cells."""
        laps, places = np.repeat(chosen, self.laps), chosen[self.place_cell]
        return Work(
            self.experience[laps],
            self.pieces[laps],
            self.laps[chosen],
            (np.cumsum(places) - 1)[self.place[laps]],
            (np.cumsum(chosen) - 1)[self.place_cell[places]],
            self.restart_powers[:, places],
        )

    @property
    def one_by_one(self) -> bool:
        """Whether every lap is of a single piece."""
        return len(self.restart_powers) == 1

    @cached_property
    def cell(self) -> np.ndarray:
        """Over laps: the number of its cell."""
        return np.repeat(np.arange(len(self.laps)), self.laps)

    @cached_property
    def several(self) -> np.ndarray:
        """The laps of more than one piece."""
        return np.flatnonzero(self.pieces > 1)

    @cached_property
    def spreads(self) -> list[tuple]:
        """The 2nd, 4th, ... central moment of the numbers of a lap's pieces: (which of `several`,
        their moments), where it is more than rounding beside the mid-piece."""
        pieces, spreads = self.pieces[self.several], []
        square = (self.experience[self.several] + 0.5 * (pieces + 1)) ** 2
        for j, moment in enumerate(_MOMENTS, 1):
            moments = moment(pieces * pieces)
            told = moments > _TOO_LITTLE * square**j
            which = slice(None) if told.all() else np.flatnonzero(told)
            spreads.append((which, moments[which]))
        return spreads

    @cached_property
    def middles(self) -> Middles:
        """The mid-pieces of the laps at their experience."""
        return Middles.of(self)


@dataclass(frozen=True)
class Middles:
    """Mid-pieces m of laps, and what their pieces' spread about it makes of a mean of powers."""

    log: np.ndarray  # of m
    terms: list[tuple]  # M2 / m^2, M4 / m^4, ...: (which of the laps of several pieces, values)
    wide: np.ndarray  # which of these are too wide for the terms

    @classmethod
    def of(cls, work: Work, more: Number = 0.0) -> Middles:
        """Of laps begun with `more` pieces of experience, one number or over laps."""
        middle = work.experience + more + 0.5 * (work.pieces + 1)
        several, power, terms = middle[work.several], 1.0, []
        inverse_square = 1 / (several * several)
        for which, moments in work.spreads:
            power = power * inverse_square
            terms.append((which, moments * power[which]))
        wide = np.flatnonzero(work.pieces[work.several] > _WIDEST * several)
        return cls(np.log(middle), terms, wide)


def _places(
    cell: np.ndarray, before: np.ndarray, pieces: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(place of every lap, the first lap of every place); places stand in the order of cells."""
    kinds = (int(before.max(initial=0)) + 1, int(pieces.max(initial=0)) + 1)
    code = (cell * kinds[0] + before.astype(int)) * kinds[1] + pieces.astype(int)
    _, first, place = np.unique(code, return_index=True, return_inverse=True)
    return place, first


def _mean_fading(m: int, before: np.ndarray, pieces: np.ndarray) -> np.ndarray:
    """Mean of 2^(-m j) over the places j = s ... s+k-1 of a lap's pieces in their spell."""
    ratio = 0.5**m
    return ratio**before * (1 - ratio**pieces) / ((1 - ratio) * pieces)


def restart_multiple(work: Work, restart: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(log of the mean slowness, its slope in the restart effect) of every lap; restart: of every
    cell.

    The k-th piece of a spell takes exp(r 2^-(k-1)) times longer; over a lap of several the mean
    of it is 1 + sum_m r^m / m! (mean of 2^(-m (k-1))).
    """
    restart = restart[work.place_cell]
    if work.one_by_one:
        slope = work.restart_powers[0]
        return (restart * slope)[work.place], slope[work.place]
    excess, slope = 0.0, 0.0
    for m in range(len(work.restart_powers), 0, -1):  # Horner's rule
        power = work.restart_powers[m - 1] / factorial(m)
        excess, slope = restart * (power + excess), m * power + restart * slope
    value = 1 + excess
    return np.log(value)[work.place], (slope / value)[work.place]


def log_shape(curve: str, work: Work, theta: np.ndarray) -> ShapeAndSlopes:
    """(log shape, {parameter: slope}), arrays over laps; theta: (cells, 5). The shape is the mean
    time of the lap's pieces in times of piece 1, as in `curves.shape`."""
    b = theta[:, EXPONENT]
    if curve == "constant":
        return np.zeros(len(work.pieces)), {}
    if curve == "cumulative_average":
        return _cumulative_average(work, b[work.cell])
    if curve == "prior":
        return _prior_experience(work, b, theta[:, LOG_PRIOR])
    mean, by_exponent = _log_power_mean(work, work.middles, b)
    if curve == "unit":
        return mean, {EXPONENT: by_exponent}
    f, mean = theta[work.cell, FRACTION], np.exp(mean)
    value = f + (1 - f) * mean
    return np.log(value), {
        EXPONENT: (1 - f) * mean * by_exponent / value,
        FRACTION: (1 - mean) / value,
    }


def _prior_experience(work: Work, b: np.ndarray, log_prior: np.ndarray) -> ShapeAndSlopes:
    """log of mean (n+B)^b / (1+B)^b; d/dB of the mean of (n+B)^b is b times that of (n+B)^(b-1)."""
    log_prior = log_prior[work.cell]
    prior = np.expm1(log_prior)
    middles = Middles.of(work, prior)
    mean, by_exponent = _log_power_mean(work, middles, b, prior)
    if work.one_by_one:
        by_prior = (1 + prior) / (work.experience + prior + 1)
    else:
        steeper = _log_power_mean(work, middles, b - 1, prior)[0]
        by_prior = (1 + prior) * np.exp(steeper - mean)
    b = b[work.cell]
    return mean - b * log_prior, {
        EXPONENT: by_exponent - log_prior,
        LOG_PRIOR: b * (by_prior - 1),
    }


def _log_power_mean(
    work: Work, middles: Middles, exponent: np.ndarray, more: Number = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """(log of the mean of n^b over the pieces of each lap, its slope in b), the laps begun with
    `more` experience; exponent: of cells.

    About the middle m of the lap, with the central moments M of its pieces' numbers,
        mean n^b = m^b (1 + C(b,2) M2 / m^2 + C(b,4) M4 / m^4 + ...);
    four terms are good to 1e-7 where the lap spans at most 0.4 m; wider laps, the first of a
    cell, are summed exactly.
    """
    b, several = exponent[work.cell], work.several
    if not len(several):
        return b * middles.log, middles.log
    cell = work.cell[several]
    value, value_slope = np.ones(len(cell)), np.zeros(len(cell))
    factor, factor_slope = 1.0, 0.0
    for i, (which, term) in enumerate(middles.terms):
        divisor = (2 * i + 1) * (2 * i + 2)
        pair = (exponent - 2 * i) * (exponent - 2 * i - 1) / divisor
        pair_slope = (2 * exponent - 4 * i - 1) / divisor
        factor, factor_slope = factor * pair, factor_slope * pair + factor * pair_slope
        here = cell[which]
        value[which] += factor[here] * term
        value_slope[which] += factor_slope[here] * term
    log_value, slope = b * middles.log, middles.log.copy()
    value[middles.wide] = 1.0
    log_value[several] += np.log(value)
    slope[several] += value_slope / value
    wide = several[middles.wide]
    begun = (work.experience + more)[wide]
    log_value[wide], slope[wide] = _exact_log_power_mean(begun, work.pieces[wide], b[wide])
    return log_value, slope


def _exact_log_power_mean(
    experience: np.ndarray, pieces: np.ndarray, b: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The same by the exact sum, its slope by a central difference (good to 1e-9)."""
    low, mid, high = (
        np.log(power_mean(experience, pieces, b + step)) for step in (-_STEP, 0.0, _STEP)
    )
    return mid, (high - low) / (2 * _STEP)


def _cumulative_average(work: Work, b: np.ndarray) -> ShapeAndSlopes:
    start, end = work.experience, work.experience + work.pieces
    low, high = start ** (1 + b), end ** (1 + b)
    log_start = np.log(np.where(start > 0, start, 1.0))
    slope = (high * np.log(end) - low * log_start) / (high - low)
    return np.log((high - low) / work.pieces), {EXPONENT: slope}


def log_mean(curve: str, work: Work, theta: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
    """(log mean seconds per piece, columns of slopes in ACTIVE[curve]) of every lap.

    theta: (cells, 5), in the order LEVEL (log of the first piece) … RESTART.
    """
    value, slope = log_shape(curve, work, theta)
    slowness, by_restart = restart_multiple(work, theta[:, RESTART])
    value = theta[work.cell, LEVEL] + value + slowness
    slope |= {LEVEL: np.ones(len(value)), RESTART: by_restart}
    return value, [slope[parameter] for parameter in ACTIVE[curve]]


@dataclass(frozen=True)
class Prior:
    """What is held of a parameter before the laps are seen: normal, by cell. Precision is that of
    the parameter times sigma^2; 0 is nothing held."""

    centre: np.ndarray  # (cells, 5)
    precision: np.ndarray  # (cells, 5)

    def of_cells(self, chosen: np.ndarray) -> Prior:
        """That of some cells alone; chosen: mask over cells."""
        return Prior(self.centre[chosen], self.precision[chosen])


@dataclass(frozen=True)
class Fit:
    """One curve fitted to every cell."""

    curve: str
    theta: np.ndarray  # (cells, 5)
    squares: np.ndarray  # whitened residual squares, prior included
    unscaled: np.ndarray  # (cells, 5, 5): covariance of theta over sigma^2
    prior: Prior


@dataclass(frozen=True)
class Observed:
    """Laps to fit a curve to."""

    response: np.ndarray  # log seconds per piece
    weight: np.ndarray
    likeness: np.ndarray  # over cells
    practice: Practice
    work: Work

    def of_cells(self, chosen: np.ndarray) -> Observed:
        """The laps of some cells alone; chosen: mask over cells."""
        laps = chosen[self.practice.cell]
        return Observed(
            self.response[laps],
            self.weight[laps],
            self.likeness[chosen],
            self.practice.of_cells(chosen),
            self.work.of_cells(chosen),
        )

    @cached_property
    def parts(self) -> list[tuple[np.ndarray, Observed]]:
        """The laps in runs of whole cells that stay in the processor's cache: (mask over cells,
        their laps)."""
        cells = len(self.practice.cell_starts)
        ends = chunks(self.practice.cell_starts, len(self.response))
        masks = [(np.arange(cells) >= a) & (np.arange(cells) < z) for a, z in ends]
        return [(mask, self if mask.all() else self.of_cells(mask)) for mask in masks]

    def whitened(self, curve: str, theta: np.ndarray) -> np.ndarray:
        """Whitened products of the curve's slopes and the residuals; theta: (cells, 5)."""
        value, columns = log_mean(curve, self.work, theta)
        sums = Sums.of([*columns, self.response - value], self.weight, self.practice)
        return sums.whitened(self.likeness)


def fit(curve: str, start: np.ndarray, observed: Observed, prior: Prior, steps: int = 30) -> Fit:
    """Least squares of the whitened log residuals in every cell, from `start` (cells, 5), by damped
    Gauss-Newton steps within the parameters' bounds (Marquardt 1963), `steps` at most."""
    parts = [
        _fit(curve, start[chosen], part, prior.of_cells(chosen), steps)
        for chosen, part in observed.parts
    ]
    theta, squares, unscaled = (np.concatenate(one) for one in zip(*parts, strict=True))
    return Fit(curve, theta, squares, unscaled, prior)


def _fit(
    curve: str, start: np.ndarray, observed: Observed, prior: Prior, steps: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(theta, squares, unscaled) of every cell, as in `Fit`; cells that have arrived are left
    behind, since a few take many steps."""
    active, lowest = list(ACTIVE[curve]), _lowest(curve)
    theta, trial = start.copy(), np.clip(start, lowest, HIGHEST)
    cells = len(theta)
    squares, damping = np.full(cells, np.inf), np.zeros(cells)
    matrix, step = np.zeros((cells, len(active), len(active))), np.zeros((cells, len(active)))
    on = np.arange(cells)  # cells still on their way
    for _ in range(steps):
        new_matrix, gradient, new_squares = _normal_equations(curve, trial[on], observed, prior)
        better = new_squares <= squares[on] * (1 + 1e-12)
        small = better & np.isfinite(squares[on]) & (new_squares >= squares[on] * (1 - 1e-10))
        won = on[better]
        theta[won], squares[won] = trial[won], new_squares[better]
        matrix[won] = new_matrix[better]
        damping[on] = np.where(better, damping[on] * 0.1, damping[on] * 8 + 1e-2)
        here = trial[on][:, active]
        fresh = _bounded_step(new_matrix, gradient, damping[on], here, active, lowest)
        step[on] = np.where(better[:, None], fresh, step[on] * 0.25)
        trial[on] = _moved(theta[on], step[on], active, lowest)
        going = ~small & (np.abs(trial[on] - theta[on]).max(axis=1) >= 1e-10)
        if not going.any():
            break
        if going.mean() < _WORTH_LEAVING:
            observed, prior, on = observed.of_cells(going), prior.of_cells(going), on[going]
    unscaled = np.zeros((cells, 5, 5))
    unscaled[np.ix_(range(cells), active, active)] = inverse(matrix)
    return theta, squares, unscaled


def _lowest(curve: str) -> np.ndarray:
    """The lower bounds of a curve's parameters."""
    lowest = LOWEST.copy()
    if curve == "cumulative_average":
        lowest[EXPONENT] = STEEPEST_AVERAGE
    return lowest


def _moved(
    theta: np.ndarray, step: np.ndarray, active: list[int], lowest: np.ndarray
) -> np.ndarray:
    """theta after a step in its active parameters, within the bounds."""
    theta = theta.copy()
    theta[:, active] += step
    return np.clip(theta, lowest, HIGHEST)


def _normal_equations(
    curve: str, theta: np.ndarray, observed: Observed, prior: Prior
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    matrix, gradient, squares = split(observed.whitened(curve, theta))
    active = list(ACTIVE[curve])
    away = prior.centre[:, active] - theta[:, active]
    precision = prior.precision[:, active]
    matrix = matrix + precision[:, :, None] * np.eye(len(active))
    return matrix, gradient + precision * away, squares + (precision * away**2).sum(axis=1)


def _bounded_step(
    matrix: np.ndarray,
    gradient: np.ndarray,
    damping: np.ndarray,
    at: np.ndarray,
    active: list[int],
    lowest: np.ndarray,
) -> np.ndarray:
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
