"""Every learning curve fitted to every cell, and the one its laps support.

`constant` gives way only where practice shows (p < .05, sessions counted as such); among the
others the least AICc decides which is named. What is expected of a piece is the mean over all the
curves by their Akaike weights, and their doubt goes into the intervals (Burnham & Anderson 2002):
which curve is the true one can seldom be told, and curves that fit alike part where laps end. So it
is of a `constant` too: that practice does not show is no proof that there is none, and the mean of
all laps would then be too slow. Only a study of one or two sittings is left its plain mean.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from analysis.study import pooling
from analysis.study.experience import Practice
from analysis.study.fits import fit_plateau_curves, fit_unit_curves
from analysis.study.frames import Number
from analysis.study.likeness import LIKENESS_GRID, Sums, inverse, solve, split
from analysis.study.noise import BENDING_LAPS, Bend, Noise, noise_of
from analysis.study.regression import (
    ACTIVE,
    EXPONENT,
    FRACTION,
    LEVEL,
    LOG_PRIOR,
    RESTART,
    Fit,
    Observed,
    Prior,
    Work,
    fit,
    log_mean,
)
from analysis.study.suspicion import odd_laps

TOO_FEW_LAPS = 5  # of fewer, a cell's own learning rate is not estimated
FEW_SITTINGS = 3  # of fewer, the level of a steady cell is the plain mean of its laps
SIGNIFICANCE = 0.05
LEAST_RISE = 1e-3  # an exponent: a doubling of pieces adds .07 % to the time; less is rounding
CLEARLY_BETTER = 2.0  # AICc by which a curve with one more parameter must win (Burnham & Anderson)
RESTART_SPREAD = 0.3  # the restart effect is held to be within about +-60 % before laps are seen
RESTART_UNLIKE = 0.15  # and, once the others are seen, a cell's within +-30 % of theirs
BENT_SPREAD = 0.3  # of a bent curve's exponent about the published one: rates from 54 to 123 %
BEFORE = (1, 1 / 3, 1 / 3, 1, 1 / 3)  # weights of the curves before laps are seen: steady, going
# on falling (three curves that nearly coincide and so share one), levelling out are equally likely
MOST_LAPS_BY_TURNS = 10_000  # with fewer, threads mostly wait for each other
FALLING = ("unit", "cumulative_average", "plateau", "prior")


@dataclass(frozen=True)
class Candidate:
    """A curve fitted to every cell. log_smearing leads from the curve of logs to that of means
    (Duan 1983); weight is its Akaike weight among all the candidates; alone: where it is a level
    that is left as it is, whatever the others say."""

    curve: str
    theta: np.ndarray  # (cells, 5)
    covariance: np.ndarray  # (cells, 5, 5)
    log_smearing: np.ndarray
    weight: np.ndarray
    chosen: np.ndarray  # bool
    alone: np.ndarray  # bool
    precision: np.ndarray  # (cells, 5), of what was held before the laps were seen

    def of_cells(self, cells: np.ndarray) -> Candidate:
        """That of some cells alone; cells: their numbers, each as often as it is wanted."""
        found: dict[str, Any] = {
            own.name: getattr(self, own.name)[cells] for own in fields(self) if own.name != "curve"
        }
        return Candidate(curve=self.curve, **found)


@dataclass(frozen=True)
class Selection:
    """What the laps say of every cell, and of every lap."""

    candidates: list[Candidate]  # the curves in the order of ACTIVE, and the pooled guess
    curve: np.ndarray  # over cells; "constant" also where there are too few laps
    few: np.ndarray  # over cells
    unit: Candidate
    noise: Noise
    practice_p: np.ndarray
    rising: np.ndarray  # over cells: laps get slower as more are made (p < .05)
    guess: pooling.ExponentGuess
    good: np.ndarray  # over laps: used in the fit
    log_expected: np.ndarray  # over laps: mean seconds per piece
    z: np.ndarray  # over laps
    suspicious: np.ndarray  # over laps
    work: Work
    weight: np.ndarray
    thetas: dict[str, np.ndarray]

    def picked(self, name: str) -> np.ndarray:
        """Over cells: an attribute of the cell's chosen candidate, by the attribute's name."""
        result = getattr(self.candidates[0], name).copy()
        for candidate in self.candidates:
            result[candidate.chosen] = getattr(candidate, name)[candidate.chosen]
        return result


def select(
    practice: Practice, work: Work, good: np.ndarray, before: Selection | None = None
) -> Selection:
    """Fit and choose, in every cell.

    work: the laps; good: mask over laps, those to use; before: an earlier selection, from which the
    fits start and which tells how large the restart effect is at this bench.
    """
    response = practice.log_seconds_per_piece
    weight = np.where(good, practice.pieces, 0.0)
    laps = np.bincount(practice.cell, good).astype(int)
    few = laps < TOO_FEW_LAPS
    bend = Bend.of(practice, work.experience, work.restart_share)
    noise = _settled(noise_of(practice, bend, response, weight), few)
    prior = _prior(noise, work, before)
    observed = Observed(response, weight, noise.likeness, practice, work)
    fits = _every_curve(observed, bend, noise, prior, before)
    freedom = _slope_freedom(practice, bend, response, weight, noise, few)
    p = _practice_p(fits["unit"], noise, freedom)
    shown = (p < SIGNIFICANCE) & (fits["unit"].theta[:, EXPONENT] < 0) & ~few
    shop = pooling.guess_at_exponent(*_own_exponents(fits["unit"], noise, laps))
    guess = _with_exponent(prior, noise, shop.exponent, shop.deviation)
    pooled = fit("unit", fits["unit"].theta, observed, guess)
    rising = (p < SIGNIFICANCE) & (fits["unit"].theta[:, EXPONENT] > LEAST_RISE) & ~few
    noise = replace(
        noise, freedom=freedom, variance=_with_rise(noise, rising, fits["constant"], laps)
    )
    akaike = _akaike(fits, laps)
    curve = np.where(shown, _named(fits, akaike, laps, noise), "constant")
    candidates = _candidates(fits, curve, _weights(fits, akaike, few), observed, noise)
    candidates[0] = replace(candidates[0], alone=_alone(practice, curve, few))
    unit = candidates[1]
    candidates.append(_candidate(pooled, np.zeros(len(few), bool), few * 1.0, observed, noise))
    log_expected, z, odd = _judged(candidates, practice, work, response, noise)
    thetas = {name: one.theta for name, one in fits.items()}
    return Selection(
        candidates, curve, few, unit, noise, p, rising, shop, good, log_expected, z, odd, work,
        weight, thetas,
    )  # fmt: skip


def _every_curve(
    observed: Observed, bend: Bend, noise: Noise, prior: Prior, before: Selection | None
) -> dict[str, Fit]:
    """All five curves fitted to every cell; the bent ones lean weakly on the published exponent."""
    bent = _with_exponent(prior, noise, pooling.PUBLISHED_EXPONENT, BENT_SPREAD)
    if before is None:
        unit = fit("unit", _unit_start(observed.practice, bend), observed, prior)
        starts = {"unit": [unit.theta]} | _other_starts(observed.practice, bend, unit.theta)
    else:
        starts = {name: [theta] for name, theta in before.thetas.items()}
    asked = [
        (name, theta, observed, bent if name in ("plateau", "prior") else prior)
        for name, thetas in starts.items()
        for theta in thetas
    ]
    # Side by side: numpy's long loops leave the interpreter to other threads, short ones do not.
    threads = os.cpu_count() if len(observed.response) > MOST_LAPS_BY_TURNS else 1
    with ThreadPoolExecutor(threads) as pool:
        found = list(pool.map(lambda one: fit(*one), asked))
    return {name: _best([one for one in found if one.curve == name]) for name in starts}


def loss_slopes(
    selection: Selection, candidate: Candidate, practice: Practice, moved: np.ndarray, step: float
) -> np.ndarray:
    """How theta moves with the loss of practice per week: one Gauss-Newton step in answer to
    experience `moved` by `step` of the loss."""
    value, columns = log_mean(candidate.curve, selection.work, candidate.theta)
    change = log_mean(candidate.curve, selection.work.at(moved), candidate.theta)[0] - value
    sums = Sums.of([*columns, -change / step], selection.weight, practice)
    matrix, vector, _ = split(sums.whitened(selection.noise.likeness))
    active = list(ACTIVE[candidate.curve])
    precision = candidate.precision[:, active]
    slope = np.zeros(candidate.theta.shape)
    slope[:, active] = solve(matrix + precision[:, :, None] * np.eye(len(active)), vector)
    return slope


def _settled(noise: Noise, few: np.ndarray) -> Noise:
    """The noise of cells with few laps drawn towards the shop's."""
    if few.all():
        pooled = pooling.LAP_NOISE**2
    else:
        pooled = pooling.pooled_noise(noise.variance[~few], noise.freedom[~few])
    variance, freedom = pooling.shrunk_noise(noise.variance, noise.freedom, pooled)
    return replace(
        noise,
        variance=np.where(few, variance, noise.variance),
        freedom=np.where(few, freedom, noise.freedom),
    )


def _prior(noise: Noise, work: Work, before: Selection | None) -> Prior:
    """What is held of the restart effect: around none, then around the mean of all cells; none at
    all, for sure, where it cannot be told from the level (`work_of`)."""
    centre, precision = np.zeros((2, len(noise.variance), 5))
    told, spread = work.restart_told, RESTART_SPREAD
    if before is not None and told.any():
        effect = before.unit.theta[told, RESTART]
        weight = 1 / np.maximum(before.unit.covariance[told, RESTART, RESTART], 1e-9)
        centre[told, RESTART] = (weight * effect).sum() / weight.sum()
        spread = RESTART_UNLIKE
    held = np.maximum(noise.variance / spread**2, 1e-12)
    precision[:, RESTART] = np.where(told, held, 1e9)
    return Prior(centre, precision)


def _with_exponent(prior: Prior, noise: Noise, exponent: float, deviation: float) -> Prior:
    """The prior with a normal guess at the exponent."""
    centre, precision = prior.centre.copy(), prior.precision.copy()
    centre[:, EXPONENT] = exponent
    precision[:, EXPONENT] = noise.variance / deviation**2
    return Prior(centre, precision)


def _unit_start(practice: Practice, bend: Bend) -> np.ndarray:
    """Ordinary least squares at the laps' mid-pieces."""
    plain = fit_unit_curves(bend.log_middle, practice.log_seconds_per_piece, practice.cell_starts)
    theta = np.zeros((len(plain.laps), 5))
    sloped = np.isfinite(plain.exponent)
    mean = np.add.reduceat(practice.log_seconds_per_piece, practice.cell_starts) / plain.laps
    theta[:, LEVEL] = np.where(sloped, plain.log_first, mean)
    theta[:, EXPONENT] = np.where(sloped, np.clip(plain.exponent, -1.5, 0.5), -0.2)
    return theta


def _other_starts(
    practice: Practice, bend: Bend, unit_theta: np.ndarray
) -> dict[str, list[np.ndarray]]:
    """Where the other curves' descents start; bent ones from two places, the better is kept."""
    level = unit_theta.copy()
    level[:, EXPONENT] = 0.0
    free = fit_plateau_curves(bend.log_middle, practice.log_seconds_per_piece, practice.cell_starts)
    return {
        "constant": [level],
        "cumulative_average": [unit_theta],
        "plateau": [
            _bent(unit_theta, FRACTION, 0.3, unit_theta[:, EXPONENT] / 0.7),
            _bent(unit_theta, FRACTION, free.fraction, free.exponent),
        ],
        "prior": [
            _bent(unit_theta, LOG_PRIOR, 0.7, unit_theta[:, EXPONENT] * 1.2),
            _bent(unit_theta, LOG_PRIOR, 3.0, unit_theta[:, EXPONENT] * 2),
        ],
    }


def _bent(
    unit_theta: np.ndarray, parameter: int, value: Number, exponent: np.ndarray
) -> np.ndarray:
    start = unit_theta.copy()
    start[:, parameter] = value
    start[:, EXPONENT] = np.clip(exponent, -1.5, -0.03)
    return start


def _best(fits: list[Fit]) -> Fit:
    """Of fits of one curve from several starts, the best in every cell."""
    best, *others = fits
    for other in others:
        wins = other.squares < best.squares
        best = Fit(
            best.curve,
            np.where(wins[:, None], other.theta, best.theta),
            np.where(wins, other.squares, best.squares),
            np.where(wins[:, None, None], other.unscaled, best.unscaled),
            best.prior,
        )
    return best


def _slope_freedom(
    practice: Practice,
    bend: Bend,
    response: np.ndarray,
    weight: np.ndarray,
    noise: Noise,
    few: np.ndarray,
) -> np.ndarray:
    """Degrees of freedom of the slope's variance v = sigma^2 h(likeness), after Satterthwaite
    (1946), d = 2 / variance of log v:  1 / d = 1 / d of sigma^2 + 1/2 variance of log v over the
    likenesses that are likely, sigma^2 the one that goes with each."""
    sums = Sums.of([*bend.columns, response], weight, practice)
    logs = []
    for likeness in LIKENESS_GRID:
        matrix, vector, squares = split(sums.whitened(likeness))
        unscaled = inverse(matrix + bend.hold)
        rest = squares - np.einsum("ci,cij,cj->c", vector, unscaled, vector)
        rest = np.maximum(rest, 1e-13 * sums.products[:, -1, -1] + 1e-300)
        logs.append(np.log(rest * unscaled[:, 1, 1]))
    log_v = np.array(logs)
    doubt = (noise.likely * (log_v - (noise.likely * log_v).sum(axis=0)) ** 2).sum(axis=0)
    freedom = 1 / (1 / np.maximum(noise.freedom, 1) + doubt / 2)
    return np.where(few, noise.freedom, freedom)


def _with_rise(noise: Noise, rising: np.ndarray, level: Fit, laps: np.ndarray) -> np.ndarray:
    """The variance of laps; of those that get slower as more are made, which no learning curve
    follows (a blunt blade, fatigue), that about their level: the next may lie as far off."""
    about_level = level.squares / np.maximum(laps - 1, 1)
    return np.where(rising, np.maximum(noise.variance, about_level), noise.variance)


def _practice_p(unit: Fit, noise: Noise, freedom: np.ndarray) -> np.ndarray:
    """Two-sided p of the unit curve's exponent being 0, sessions counted as such."""
    from scipy.special import stdtr  # scipy takes a third of a second to import; .stats a whole one

    error = np.sqrt(unit.unscaled[:, EXPONENT, EXPONENT] * noise.variance)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(error > 0, np.abs(unit.theta[:, EXPONENT]) / error, 0.0)
    return 2 * stdtr(freedom, -t)


def _own_exponents(unit: Fit, noise: Noise, laps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    error = np.sqrt(unit.unscaled[:, EXPONENT, EXPONENT] * noise.variance)
    return np.where(laps >= BENDING_LAPS, unit.theta[:, EXPONENT], np.nan), error


def _akaike(fits: Mapping[str, Fit], laps: np.ndarray) -> np.ndarray:
    """AICc of every curve (Hurvich & Tsai 1989), (5, cells), in the order of ACTIVE.

    AICc = N log(squares / N) + 2 p + 2 p (p + 1) / (N - p - 1).
    """
    rows = []
    for name, active in ACTIVE.items():
        parameters = len(active)
        squares = np.maximum(fits[name].squares, 1e-18 * laps)
        left = np.maximum(laps - parameters - 1, 1)
        rows.append(
            laps * np.log(squares) + 2 * parameters + 2 * parameters * (parameters + 1) / left
        )
    return np.array(rows)


def _named(
    fits: Mapping[str, Fit], akaike: np.ndarray, laps: np.ndarray, noise: Noise
) -> np.ndarray:
    """The falling curve of least AICc; a bent one is handicapped by CLEARLY_BETTER, and not named
    where it is not identifiable."""
    rows = []
    for name, row in zip(ACTIVE, akaike, strict=True):
        if name in ("plateau", "prior"):
            told = _identifiable(fits[name], noise) & (laps >= BENDING_LAPS)
            row = np.where(told, row + CLEARLY_BETTER, np.inf)
        rows.append(row)
    return np.array(FALLING)[np.argmin(rows[1:], axis=0)]


def _weights(fits: Mapping[str, Fit], akaike: np.ndarray, few: np.ndarray) -> np.ndarray:
    """Akaike weights exp(-difference / 2) times BEFORE, (5, cells), of the curves that do not rise,
    for practice slows nobody down; 0 where there are too few laps to weigh them."""
    rising = np.array([fits[name].theta[:, EXPONENT] > 0 for name in ACTIVE])
    akaike = np.where(rising, np.inf, akaike)
    likelihood = np.array(BEFORE)[:, None] * np.exp(-0.5 * (akaike - akaike.min(axis=0)))
    return likelihood / likelihood.sum(axis=0) * ~few


def _identifiable(one: Fit, noise: Noise) -> np.ndarray:
    """Whether a bent curve stands on no boundary; and, for a plateau, whether its exponent is told
    from 0 by two standard errors, for else the plateau could be nearly anything."""
    b, fraction, log_prior = one.theta[:, EXPONENT], one.theta[:, FRACTION], one.theta[:, LOG_PRIOR]
    error = np.sqrt(one.unscaled[:, EXPONENT, EXPONENT] * noise.variance)
    told = (b < -0.02) & (b > -1.99)
    if one.curve == "plateau":
        return told & (fraction > 0.02) & (fraction < 0.97) & (-b > 2 * error)
    return told & (log_prior > 0.02) & (log_prior < 8)


def _candidates(
    fits: Mapping[str, Fit],
    curve: np.ndarray,
    weights: Iterable[np.ndarray],
    observed: Observed,
    noise: Noise,
) -> list[Candidate]:
    """Every curve in the order of ACTIVE, chosen where `curve` (over cells) names it."""
    return [
        _candidate(fits[name], curve == name, weight, observed, noise)
        for name, weight in zip(ACTIVE, weights, strict=True)
    ]


def _alone(practice: Practice, curve: np.ndarray, few: np.ndarray) -> np.ndarray:
    """Over cells: steady, with laps enough but of so few sittings that the level stands alone."""
    sittings = np.diff(np.append(practice.session_cell_starts, len(practice.session_cell)))
    return (curve == "constant") & ~few & (sittings < FEW_SITTINGS)


def _candidate(
    one: Fit, chosen: np.ndarray, weight: np.ndarray, observed: Observed, noise: Noise
) -> Candidate:
    residual = observed.response - log_mean(one.curve, observed.work, one.theta)[0]
    starts = observed.practice.cell_starts
    total = np.add.reduceat(observed.weight, starts)
    mean = np.add.reduceat(observed.weight * np.exp(residual), starts)
    smearing = np.where(total > 0, mean / np.where(total > 0, total, 1), 1.0)
    covariance = one.unscaled * noise.variance[:, None, None]
    nowhere = np.zeros(len(chosen), bool)
    return Candidate(
        one.curve, one.theta, covariance, np.log(smearing), weight, chosen, nowhere,
        one.prior.precision,
    )  # fmt: skip


def expected(
    candidates: list[Candidate],
    values: Sequence[np.ndarray],
    cell: np.ndarray | slice = slice(None),
) -> np.ndarray:
    """What is expected: the mean of the curves' log values by their weights; the level where that
    stands alone. values: one array a candidate, over cells or over laps, `cell` telling of which.
    """
    mean = sum(c.weight[cell] * value for c, value in zip(candidates, values, strict=True))
    return np.where(candidates[0].alone[cell], values[0], mean)


def _judged(
    candidates: list[Candidate], practice: Practice, work: Work, response: np.ndarray, noise: Noise
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(log of the expected seconds per piece, modified z, suspicious) of every lap."""
    cell = practice.cell
    fitted = [log_mean(c.curve, work, c.theta)[0] for c in candidates]
    odd, z = odd_laps(practice, response - expected(candidates, fitted, cell), noise.likeness)
    means = [value + c.log_smearing[cell] for c, value in zip(candidates, fitted, strict=True)]
    return expected(candidates, means, cell), z, odd
