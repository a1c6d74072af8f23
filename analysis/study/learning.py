"""Learning: how fast each worker gets quicker at each operation, where it ends, what comes next.

`fit_learning` is the main path: laps -> cells and experience -> a first robust look -> likeness of
laps in a session -> retention -> every curve -> the one the laps support -> intervals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study import pooling
from analysis.study.curves import learning_rate_of, pieces_until_near_plateau
from analysis.study.experience import CELL, Practice, experience_at, practice_of
from analysis.study.likeness import Sums, likeness_of, solve, split
from analysis.study.regression import (
    EXPONENT,
    FRACTION,
    LEVEL,
    LOG_PRIOR,
    RESTART,
    Fit,
    Prior,
    Work,
    fit,
    log_mean,
    restart_multiple,
)
from analysis.study.retention import Retention, bending_columns, retention_of
from analysis.study.suspicion import suspicious

TOO_FEW_LAPS = 5
BENDING_LAPS = 10  # fewer cannot tell a plateau or prior experience from a plain curve
SIGNIFICANCE = 0.05
CLEARLY_BETTER = 2.0  # AICc by which a curve with one more parameter must win (Burnham & Anderson)
RESTART_SPREAD = 0.3  # the restart effect is held to be within about +-60 % before laps are seen

CELL_COLUMNS = [
    *CELL,
    "curve",
    "first_unit_seconds",
    "learning_rate",
    "learning_rate_low",
    "learning_rate_high",
    "plateau_seconds",
    "plateau_low",
    "plateau_high",
    "plateau_identifiable",
    "pieces_made",
    "effective_experience",
    "next_unit_seconds",
    "next_unit_low",
    "next_unit_high",
    "present_seconds",
    "present_low",
    "present_high",
    "retention_per_week",
    "retention_low",
    "retention_high",
    "restart_effect",
    "laps",
    "pooled",
    "note",
    "pieces_to_plateau",
    "two_week_break_seconds",
    "two_week_break_batch_seconds",
    "practice_p",
    "lap_noise",
    "session_noise",
    "degrees_of_freedom",
]
LAP_COLUMNS = [
    "cell",
    "expected_seconds",
    "residual_z",
    "suspicious",
    "pieces_before",
    "experience",
]


@dataclass(frozen=True)
class LearningResult:
    """cells: CELL_COLUMNS, one row a product, operation and worker. laps: LAP_COLUMNS on the index
    of the laps given (cell -1 and NaN where a lap is no practice). fits: what forecasts need."""

    cells: pd.DataFrame
    laps: pd.DataFrame
    fits: "CellFits | None"


@dataclass(frozen=True)
class CellFits:
    """The chosen curve of every cell, as arrays over cells."""

    curve: np.ndarray
    theta: np.ndarray  # (cells, 5)
    covariance: np.ndarray  # (cells, 5, 5)
    log_smearing: np.ndarray
    variance: np.ndarray  # sigma^2, of a lap of one piece
    likeness: np.ndarray
    freedom: np.ndarray
    loss_error: np.ndarray
    loss_slope: np.ndarray  # (cells, 5): change of theta with the loss per week
    retention: np.ndarray
    experience: np.ndarray  # after the last lap
    mean_restart: np.ndarray  # log of the usual share of restarts in a piece


def fit_learning(laps: pd.DataFrame) -> LearningResult:
    """Fit every (product, operation, worker) with operation or inspection laps.

    laps: the checked laps frame. Nothing is dropped from experience; suspicious laps are left out
    of the fit and named in `laps`.
    """
    practice = practice_of(laps)
    if not len(practice.cell):
        return LearningResult(_empty_cells(), _lap_frame(laps.index), None)
    first = _first_look(practice)
    retention = retention_of(
        practice,
        first.response,
        first.weight,
        first.restart,
        first.likeness,
        first.variance,
        first.penalty,
    )
    experience = experience_at(practice, retention.used)
    chosen = _fit_and_choose(practice, experience, first.good, retention)
    good = ~chosen.suspicious
    if (good != first.good).any():
        chosen = _fit_and_choose(practice, experience, good, retention)
    return _result(laps, practice, experience, retention, chosen)


# --- a first look: what is odd, how alike laps of a session are -------------------------------


@dataclass(frozen=True)
class FirstLook:
    response: np.ndarray
    good: np.ndarray
    weight: np.ndarray
    restart: np.ndarray
    penalty: np.ndarray
    likeness: np.ndarray
    variance: np.ndarray


def _first_look(practice: Practice) -> FirstLook:
    response = practice.log_seconds_per_piece
    work = _work(practice, practice.pieces_before, np.ones(len(response), bool))
    restart = work.restart_powers[0]
    columns = bending_columns(practice, practice.pieces_before, restart)
    penalty = _column_penalty(practice)
    relative = np.sqrt(1 / practice.pieces + 0.3)
    good = _robust_mask(practice, columns, response, relative, penalty)
    weight = np.where(good, practice.pieces, 0.0)
    likeness, variance, _ = _noise(practice, columns, response, weight, penalty)
    return FirstLook(response, good, weight, restart, penalty, likeness, variance)


def _column_penalty(practice: Practice):
    """Weak hold on columns 1, L, L^2, restart, so that small cells stay solvable."""
    size = np.diff(np.append(practice.cell_starts, len(practice.cell)))
    hold = np.zeros((len(size), 4, 4))
    hold[:, 1, 1] = 1e-9
    hold[:, 2, 2] = np.where(size < BENDING_LAPS, 1e6, 1e-9)
    hold[:, 3, 3] = 0.3
    return hold


def _robust_mask(practice, columns, response, relative, penalty, rounds=8):
    """Which laps are no outliers from a bending curve fitted with Huber's weights (1964)."""
    weight = 1 / relative**2
    starts, cell = practice.cell_starts, practice.cell
    for _ in range(rounds):
        residual = response - _linear(practice, columns, response, weight, penalty)
        mask, z = suspicious(residual, starts, relative)
        pull = np.minimum(1.0, 1.5 / np.maximum(np.abs(z), 1e-9))
        weight = np.where(np.abs(z) > 8, 0.02, 1.0) * pull / relative**2
    return ~mask


def _linear(practice, columns, response, weight, penalty):
    sums = Sums.of([*columns, response], weight, practice)
    matrix, vector, _ = split(sums.products)
    beta = solve(matrix + penalty, vector)
    return sum(beta[practice.cell, i] * column for i, column in enumerate(columns))


def _noise(practice, columns, response, weight, penalty):
    """(likeness, sigma^2, degrees of freedom) of every cell, about a bending curve."""
    sums = Sums.of([*columns, response], weight, practice)
    laps = np.bincount(practice.cell, weight > 0, len(practice.cell_starts))
    likeness = likeness_of(sums, laps, penalty)
    matrix, vector, squares = split(sums.whitened(likeness))
    rest = squares - np.einsum("ci,ci->c", solve(matrix + penalty, vector), vector)
    freedom = np.maximum(laps - np.where(laps < BENDING_LAPS, 2, 4), 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = np.where(freedom > 0, np.maximum(rest, 0) / freedom, np.nan)
    pooled = pooling.pooled_noise(variance, freedom)
    variance = np.where(np.isfinite(variance), variance, pooled)
    return likeness, np.maximum(variance, 1e-16), freedom


def _work(practice: Practice, experience, good) -> Work:
    """The laps as work; the restart effect is looked for where a cell has three spells or more
    and its laps differ in it, for else it cannot be told from practice."""
    work = Work.of(experience, practice.pieces, practice.cell, practice.pieces_before_in_spell)
    cells = len(practice.cell_starts)
    spells = np.bincount(practice.cell, practice.pieces_before_in_spell == 0, cells)
    share = work.restart_powers[0]
    size = np.bincount(practice.cell, minlength=cells)
    mean = np.bincount(practice.cell, share, cells) / size
    spread = np.bincount(practice.cell, (share - mean[practice.cell]) ** 2, cells) / size
    told = (spells >= 3) & (spread > 1e-4)
    powers = work.restart_powers * told[practice.cell]
    return Work(work.experience, work.pieces, work.cell, powers, work.one_by_one)


# --- every curve, and the one the laps support -------------------------------------------------


@dataclass(frozen=True)
class Chosen:
    """The chosen fit, as arrays over cells, and what each lap says of it."""

    curve: np.ndarray
    fits: dict
    theta: np.ndarray
    covariance: np.ndarray
    variance: np.ndarray
    likeness: np.ndarray
    freedom: np.ndarray
    practice_p: np.ndarray
    few: np.ndarray
    spread: pooling.Spread
    good: np.ndarray
    fitted: np.ndarray  # log mean seconds per piece, before smearing
    log_smearing: np.ndarray
    z: np.ndarray
    suspicious: np.ndarray
    used: np.ndarray  # laps
    work: Work
    weight: np.ndarray
    prior: Prior


def _fit_and_choose(practice, experience, good, retention: Retention) -> Chosen:
    cells = len(practice.cell_starts)
    response = practice.log_seconds_per_piece
    work = _work(practice, experience, good)
    weight = np.where(good, practice.pieces, 0.0)
    used = np.bincount(practice.cell, good, cells).astype(int)
    columns = bending_columns(practice, experience, work.restart_powers[0])
    penalty = _column_penalty(practice)
    likeness, variance, own = _noise(practice, columns, response, weight, penalty)
    few = used < TOO_FEW_LAPS
    pooled = pooling.pooled_noise(variance[~few], own[~few])
    shrunk, shrunk_freedom = pooling.shrunk_noise(variance, own, pooled)
    variance = np.where(few, shrunk, variance)
    prior = _prior(cells, variance)
    args = (response, weight, likeness, practice, work)
    fits = {"unit": fit("unit", _start(practice, response), *args, prior)}
    sessions = np.diff(np.append(practice.session_cell_starts, len(practice.session_cell)))
    freedom = _freedom(fits["unit"], practice, columns, weight, likeness, own, sessions)
    freedom = np.where(few, shrunk_freedom, freedom)
    p = _practice_p(fits["unit"], variance, freedom)
    shown = (p < SIGNIFICANCE) & (fits["unit"].theta[:, EXPONENT] < 0) & ~few
    fits["constant"] = fit("constant", _level_only(fits["unit"].theta), *args, prior)
    fits["cumulative_average"] = fit("cumulative_average", fits["unit"].theta, *args, prior)
    fits |= _bent_curves(fits["unit"].theta, args, prior)
    curve = _choose(fits, used, shown)
    spread = pooling.spread_of_exponents(
        *_exponents(fits["unit"], variance, ~few & (used >= BENDING_LAPS))
    )
    fits["few"] = fit("unit", fits["unit"].theta, *args, _pooled_prior(prior, spread, variance))
    source = np.where(few, "few", curve)
    theta, unscaled = _picked(fits, source)
    covariance = unscaled * variance[:, None, None]
    fitted = np.empty(len(response))
    for name in set(source):
        here = (source == name)[practice.cell]
        fitted[here] = log_mean("unit" if name == "few" else name, work, theta)[0][here]
    residual = response - fitted
    relative = np.sqrt(1 / practice.pieces + likeness[practice.cell])
    mask, z = suspicious(residual, practice.cell_starts, relative)
    smearing = _smearing(residual, weight, practice)
    return Chosen(
        curve,
        fits,
        theta,
        covariance,
        variance,
        likeness,
        freedom,
        p,
        few,
        spread,
        good,
        fitted,
        smearing,
        z,
        mask,
        used,
        work,
        weight,
        prior,
    )


def _prior(cells, variance) -> Prior:
    precision = np.zeros((cells, 5))
    precision[:, RESTART] = np.maximum(variance / RESTART_SPREAD**2, 1e-12)
    return Prior(np.zeros((cells, 5)), precision)


def _pooled_prior(prior: Prior, spread: pooling.Spread, variance) -> Prior:
    centre, precision = prior.centre.copy(), prior.precision.copy()
    centre[:, EXPONENT] = spread.exponent
    precision[:, EXPONENT] = variance / spread.deviation**2
    return Prior(centre, precision)


def _start(practice, response):
    theta = np.zeros((len(practice.cell_starts), 5))
    theta[:, LEVEL] = np.add.reduceat(response, practice.cell_starts) / np.bincount(practice.cell)
    theta[:, EXPONENT] = -0.2
    return theta


def _level_only(theta):
    start = theta.copy()
    start[:, [EXPONENT, FRACTION, LOG_PRIOR]] = 0.0
    return start


def _bent_curves(unit_theta, args, prior):
    """Plateau and prior experience, each from several starts; the best is kept."""
    plateau = []
    for fraction in (0.3, 0.7):
        start = unit_theta.copy()
        start[:, FRACTION] = fraction
        start[:, EXPONENT] = np.clip(unit_theta[:, EXPONENT] / (1 - fraction), -1.5, -0.03)
        plateau.append(fit("plateau", start, *args, prior))
    experienced = []
    for log_prior in (0.7, 3.0):
        start = unit_theta.copy()
        start[:, LOG_PRIOR] = log_prior
        start[:, EXPONENT] = np.clip(unit_theta[:, EXPONENT] * (1 + log_prior / 3), -1.5, -0.03)
        experienced.append(fit("prior", start, *args, prior))
    return {"plateau": _better(*plateau), "prior": _better(*experienced)}


def _better(one: Fit, other: Fit) -> Fit:
    wins = other.squares < one.squares
    return Fit(
        one.curve,
        np.where(wins[:, None], other.theta, one.theta),
        np.where(wins, other.squares, one.squares),
        np.where(wins[:, None, None], other.unscaled, one.unscaled),
    )


def _freedom(unit: Fit, practice, columns, weight, likeness, own, sessions):
    """Degrees of freedom of the slope: Satterthwaite (1946), lap noise and session noise weighed
    by their share in its variance; the sessions of other cells count in as in `likeness_of`."""
    sums = Sums.of([columns[0], columns[1], columns[0]], weight, practice)
    hold = 1e-12 * np.eye(2)
    alone = np.linalg.inv(split(sums.whitened(0.0))[0] + hold)[:, 1, 1]
    alike = np.linalg.inv(split(sums.whitened(likeness))[0] + hold)[:, 1, 1]
    share = np.clip(alone / alike, 0, 1)
    between = np.maximum(sessions - 2.0, 0)
    helped = between + min(4, len(between) - 1) * between.mean()
    return 1 / (share**2 / np.maximum(own, 1) + (1 - share) ** 2 / np.maximum(helped, 1))


def _practice_p(unit: Fit, variance, freedom):
    """Two-sided p of the unit curve's exponent being 0, sessions counted as such."""
    from scipy.special import stdtr  # lighter than scipy.stats

    error = np.sqrt(unit.unscaled[:, EXPONENT, EXPONENT] * variance)
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(error > 0, np.abs(unit.theta[:, EXPONENT]) / error, 0.0)
    return 2 * stdtr(freedom, -t)


def _exponents(unit: Fit, variance, told):
    error = np.sqrt(unit.unscaled[:, EXPONENT, EXPONENT] * variance)
    return np.where(told, unit.theta[:, EXPONENT], np.nan), error


def _choose(fits, used, shown):
    """The curve with the least AICc (Hurvich & Tsai 1989) where practice shows, else constant.

    AICc = N log(squares / N) + 2 p + 2 p (p + 1) / (N - p - 1). A bent curve must win clearly and
    stand on no boundary.
    """
    names = ["unit", "cumulative_average", "plateau", "prior"]
    table = np.array([_aicc(fits[name], used, fits["unit"].squares) for name in names])
    for i, parameter in ((2, FRACTION), (3, LOG_PRIOR)):
        theta = fits[names[i]].theta
        inside = (theta[:, parameter] > 0.02) & (theta[:, EXPONENT] < -0.02)
        inside &= (theta[:, EXPONENT] > -1.99) & (theta[:, FRACTION] < 0.97)
        inside &= theta[:, LOG_PRIOR] < 8
        table[i] = np.where(inside & (used >= BENDING_LAPS), table[i] + CLEARLY_BETTER, np.inf)
    return np.where(shown, np.array(names)[table.argmin(axis=0)], "constant")


def _aicc(one: Fit, used, unit_squares):
    parameters = {"unit": 3, "cumulative_average": 3, "plateau": 4, "prior": 4}[one.curve]
    left = np.maximum(used - parameters - 1, 1)
    squares = np.maximum(one.squares, 1e-18 * used)
    return used * np.log(squares) + 2 * parameters + 2 * parameters * (parameters + 1) / left


def _picked(fits, source):
    theta, unscaled = fits["unit"].theta.copy(), fits["unit"].unscaled.copy()
    for name in set(source):
        here = source == name
        theta[here], unscaled[here] = fits[name].theta[here], fits[name].unscaled[here]
    return theta, unscaled


def _smearing(residual, weight, practice):
    """Log of the factor from the curve of logs to the curve of means: mean of exp(residual) over
    the laps used, weighed by pieces (Duan 1983)."""
    total = np.add.reduceat(weight, practice.cell_starts)
    mean = np.add.reduceat(weight * np.exp(residual), practice.cell_starts)
    return np.log(np.where(total > 0, mean / np.where(total > 0, total, 1), 1.0))


# --- intervals and what follows from them -------------------------------------------------------


def _result(laps, practice: Practice, experience, retention: Retention, chosen: Chosen):
    fits = _cell_fits(practice, experience, retention, chosen)
    cells = practice.cells.copy()
    last = practice.last_laps
    cells["curve"] = chosen.curve
    cells["first_unit_seconds"] = np.exp(chosen.theta[:, LEVEL] + chosen.log_smearing)
    _learning_rates(cells, chosen)
    _plateaus(cells, chosen, fits)
    cells["pieces_made"] = (practice.pieces_before + practice.pieces)[last].astype(int)
    cells["effective_experience"] = fits.experience
    cells["next_unit_seconds"], cells["next_unit_low"], cells["next_unit_high"] = next_unit(fits)
    cells["present_seconds"], cells["present_low"], cells["present_high"] = _present(
        practice, chosen, fits
    )
    cells["retention_per_week"] = retention.per_week
    cells["retention_low"], cells["retention_high"] = retention.low, retention.high
    cells["restart_effect"] = chosen.theta[:, RESTART]
    cells["laps"] = np.bincount(practice.cell)
    cells["pooled"] = chosen.few
    cells["practice_p"] = chosen.practice_p
    cells["lap_noise"] = np.sqrt(chosen.variance)
    cells["session_noise"] = np.sqrt(chosen.variance * chosen.likeness)
    cells["degrees_of_freedom"] = chosen.freedom
    cells["two_week_break_seconds"], cells["two_week_break_batch_seconds"] = break_cost(fits, 2.0)
    cells["note"] = _notes(cells, chosen)
    return LearningResult(
        cells[CELL_COLUMNS], _lap_frame(laps.index, practice, experience, chosen), fits
    )


def _cell_fits(practice, experience, retention, chosen) -> CellFits:
    last = practice.last_laps
    loss_slope = _loss_slope(practice, retention, chosen, experience)
    slowness = restart_multiple(chosen.work, chosen.theta[practice.cell, RESTART])[0]
    weight = practice.pieces
    mean = np.add.reduceat(weight * np.exp(slowness), practice.cell_starts)
    curve = np.where(chosen.few, "unit", chosen.curve)
    return CellFits(
        curve,
        chosen.theta,
        chosen.covariance,
        chosen.log_smearing,
        chosen.variance,
        chosen.likeness,
        chosen.freedom,
        np.where(np.isfinite(retention.loss_error), retention.loss_error, 0.0),
        loss_slope,
        retention.per_week,
        (experience + practice.pieces)[last],
        np.log(mean / np.add.reduceat(weight, practice.cell_starts)),
    )


def _loss_slope(practice, retention: Retention, chosen: Chosen, experience, step=1e-3):
    """How theta moves with the loss per week: one Gauss-Newton step after experience moved."""
    cells = len(practice.cell_starts)
    slope = np.zeros((cells, 5))
    if not np.isfinite(retention.per_week).any():
        return slope
    moved = experience_at(practice, retention.used * np.exp(-step))
    work = Work(
        moved,
        chosen.work.pieces,
        chosen.work.cell,
        chosen.work.restart_powers,
        chosen.work.one_by_one,
    )
    for name in set(chosen.curve):
        if name == "constant":
            continue
        value, columns = log_mean(name, chosen.work, chosen.theta)
        change = log_mean(name, work, chosen.theta)[0] - value
        sums = Sums.of([*columns, -change / step], chosen.weight, practice)
        matrix, vector, _ = split(sums.whitened(chosen.likeness))
        from analysis.study.regression import ACTIVE

        active = list(ACTIVE[name])
        matrix = matrix + chosen.prior.precision[:, active][:, :, None] * np.eye(len(active))
        here = chosen.curve == name
        slope[np.ix_(np.flatnonzero(here), active)] = solve(matrix, vector)[here]
    return slope


def log_piece(fits: CellFits, experience, restart=False):
    """(log mean seconds of one piece at experience E in every cell, its variance).

    The curve's uncertainty and that of the retention are in the variance.
    """
    cells = len(fits.curve)
    index = np.arange(cells)
    value, variance = np.empty(cells), np.empty(cells)
    work = Work.of(np.maximum(experience, 0.0), np.ones(cells), index)
    for name in set(fits.curve):
        from analysis.study.regression import ACTIVE

        log, columns = log_mean(name, work, fits.theta)
        active = list(ACTIVE[name])
        slope = np.stack(columns, axis=1)
        here = fits.curve == name
        covariance = fits.covariance[np.ix_(index, active, active)]
        spread = np.einsum("ci,cij,cj->c", slope, covariance, slope)
        by_loss = (slope * fits.loss_slope[:, active]).sum(axis=1)
        value[here] = log[here]
        variance[here] = (spread + (by_loss * fits.loss_error) ** 2)[here]
    return value + fits.log_smearing, variance


def _t(freedom):
    from scipy.special import stdtrit  # lighter than scipy.stats

    return stdtrit(freedom, 0.975)


def next_unit(fits: CellFits):
    """(mean, low, high) seconds of the next piece, straight on; a 95 % prediction interval.

    Log-normal with mean the curve: the median is lower by half the variance of a lap.
    """
    value, variance = log_piece(fits, fits.experience)
    noise = fits.variance * (1 + fits.likeness)
    half = _t(fits.freedom) * np.sqrt(noise + variance)
    middle = value - noise / 2
    return np.exp(value), np.exp(middle - half), np.exp(middle + half)


def _present(practice, chosen: Chosen, fits: CellFits):
    """(mean, low, high) seconds per piece at the practice of the last lap, usual restarts in it."""
    value, variance = log_piece(fits, fits.experience - 1)
    value = value + fits.mean_restart
    starts = practice.cell_starts
    weight = chosen.weight
    total = np.add.reduceat(weight, starts)
    seconds = np.add.reduceat(np.where(weight > 0, practice.seconds, 0.0), starts)
    level = (chosen.curve == "constant") & ~chosen.few & (total > 0)
    value = np.where(level, np.log(np.where(level, seconds, 1) / np.where(level, total, 1)), value)
    half = _t(fits.freedom) * np.sqrt(variance)
    return np.exp(value), np.exp(value - half), np.exp(value + half)


def _learning_rates(cells, chosen: Chosen):
    unit = chosen.fits["unit"]
    constant = chosen.curve == "constant"
    exponent = np.where(
        chosen.few,
        chosen.theta[:, EXPONENT],
        np.where(constant, unit.theta[:, EXPONENT], chosen.theta[:, EXPONENT]),
    )
    variance = np.where(
        constant & ~chosen.few,
        unit.unscaled[:, EXPONENT, EXPONENT] * chosen.variance,
        chosen.covariance[:, EXPONENT, EXPONENT],
    )
    half = _t(chosen.freedom) * np.sqrt(variance)
    low, high = learning_rate_of(exponent - half), learning_rate_of(exponent + half)
    cells["learning_rate"] = np.where(constant, 1.0, learning_rate_of(exponent))
    cells["learning_rate_low"] = np.where(constant, np.minimum(low, 1.0), low)
    cells["learning_rate_high"] = np.where(constant, np.maximum(high, 1.0), high)


def _plateaus(cells, chosen: Chosen, fits: CellFits):
    """c = a f: log c = log a + log f, by its own variance; only where the laps show one."""
    has = chosen.curve == "plateau"
    f = np.where(has, chosen.theta[:, FRACTION], 1.0)
    covariance = chosen.covariance
    variance = (
        covariance[:, LEVEL, LEVEL]
        + covariance[:, FRACTION, FRACTION] / f**2
        + 2 * covariance[:, LEVEL, FRACTION] / f
    )
    half = _t(chosen.freedom) * np.sqrt(np.maximum(variance, 0))
    value = cells["first_unit_seconds"] * f
    cells["plateau_seconds"] = np.where(has, value, np.nan)
    cells["plateau_low"] = np.where(has, value * np.exp(-half), np.nan)
    cells["plateau_high"] = np.where(has, value * np.exp(half), np.nan)
    cells["plateau_identifiable"] = has
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        pieces = pieces_until_near_plateau(
            cells["first_unit_seconds"], value, np.where(has, chosen.theta[:, EXPONENT], -1.0)
        )
    cells["pieces_to_plateau"] = np.where(
        has, np.maximum(np.ceil(pieces - fits.experience), 0), np.nan
    )


def break_cost(fits: CellFits, weeks, batch=25):
    """(seconds lost on the first piece, seconds lost over a batch) after `weeks` away; NaN where
    retention is not known."""
    kept = np.where(np.isfinite(fits.retention), fits.retention, np.nan) ** weeks
    known = np.isfinite(kept)
    after = np.where(known, fits.experience * np.where(known, kept, 1), fits.experience)
    lost = np.zeros((batch, len(kept)))
    for piece in range(batch):
        now = np.exp(log_piece(fits, fits.experience + piece)[0])
        lost[piece] = np.exp(log_piece(fits, after + piece)[0]) - now
    return np.where(known, lost[0], np.nan), np.where(known, lost.sum(axis=0), np.nan)


def _notes(cells, chosen: Chosen):
    notes = np.full(len(cells), "", object)
    rate = f"{learning_rate_of(chosen.spread.exponent):.0%}"
    notes[chosen.few] = (
        f"too few laps to tell; the guess is a learning rate of about {rate}, from "
        + (
            "published studies"
            if not chosen.spread.cells
            else "your other operations and published studies"
        )
    )
    steady = (chosen.curve == "constant") & ~chosen.few
    notes[steady] = "no effect of practice shows yet"
    level = (chosen.curve != "plateau") & ~steady & ~chosen.few
    notes[level] = "where it will level out is not identifiable from these laps"
    return notes


def _lap_frame(index, practice=None, experience=None, chosen=None):
    frame = pd.DataFrame(
        {
            "cell": -1,
            "expected_seconds": np.nan,
            "residual_z": np.nan,
            "suspicious": False,
            "pieces_before": np.nan,
            "experience": np.nan,
        },
        index=index,
    )
    if practice is None:
        return frame
    per_piece = np.exp(chosen.fitted + chosen.log_smearing[practice.cell])
    values = {
        "cell": practice.cell,
        "expected_seconds": per_piece * practice.pieces,
        "residual_z": chosen.z,
        "suspicious": ~chosen.good,
        "pieces_before": practice.pieces_before,
        "experience": experience,
    }
    for name, column in values.items():
        whole = frame[name].to_numpy().copy()
        whole[practice.position] = column
        frame[name] = whole
    return frame


def _empty_cells():
    return pd.DataFrame({name: [] for name in CELL_COLUMNS})
