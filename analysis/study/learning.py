"""Learning: how fast each worker gets quicker at each operation, where it ends, what comes next.

`fit_learning` is the main path: laps -> cells and experience -> a first look for odd laps ->
retention over time away -> every curve, and the one the laps support -> intervals and forecasts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.curves import learning_rate_of, pieces_until_near_plateau
from analysis.study.experience import CELL, Practice, experience_at, practice_of
from analysis.study.forecast import (
    LOSS_STEP,
    CellFits,
    break_cost,
    next_batch,
    next_unit,
    present_lap,
)
from analysis.study.frames import MeanAndRange, Number
from analysis.study.noise import Bend, first_good_laps, work_of
from analysis.study.regression import EXPONENT, FRACTION, LEVEL, RESTART, restart_multiple
from analysis.study.retention import PUBLISHED_LOSS, Retention, retention_of
from analysis.study.selection import Selection, loss_slopes, select

CELL_COLUMNS = [
    *CELL, "curve", "first_unit_seconds", "learning_rate", "learning_rate_low",
    "learning_rate_high", "plateau_seconds", "plateau_low", "plateau_high",
    "plateau_identifiable", "pieces_made", "effective_experience", "next_unit_seconds",
    "next_unit_low", "next_unit_high", "present_seconds", "present_low", "present_high",
    "present_loss_error", "weeks_rested",
    "next_batch_seconds", "next_batch_low", "next_batch_high", "retention_per_week",
    "retention_low", "retention_high", "restart_effect", "laps", "pooled",
    "pooled_next_unit_seconds", "note",
    "pieces_to_plateau", "two_week_break_seconds", "two_week_break_batch_seconds",
    "two_week_break_batch_low", "two_week_break_batch_high", "practice_p", "lap_noise",
    "session_noise", "degrees_of_freedom",
]  # fmt: skip
LAP_COLUMNS = [
    "cell", "expected_seconds", "residual_z", "suspicious", "pieces_before", "experience",
]  # fmt: skip
BATCH = 25  # pieces, for next_batch_* and two_week_break_batch_*: common practice, no source


@dataclass(frozen=True)
class LearningResult:
    """cells: CELL_COLUMNS, one row a product, operation and worker: times in seconds per piece
    (`next_batch_*` and `two_week_break_batch_*` for 25 pieces together); next and present times
    are the mean over the curves in doubt, present ones at the practice that is left at the file's
    last lap, `weeks_rested` after the cell's own; `present_loss_error` is the part of its log's
    standard error that the retention makes, which a worker's cells share; `pooled` where there are
    too few laps: the times are then their plain mean, `pooled_next_unit_seconds` what other
    operations and published studies make of it, and the intervals allow for both; `practice_p` of
    the exponent being 0; `restart_effect` and `lap_noise`, `session_noise` (standard deviations) on
    the log scale; NaN where a thing cannot be told.
    laps: LAP_COLUMNS on the index of the laps given (cell -1 and NaN where a lap is no practice).
    fits: what forecasts need, its arrays in the order of `cells`; None without practice."""

    cells: pd.DataFrame
    laps: pd.DataFrame
    fits: CellFits | None


def fit_learning(laps: pd.DataFrame, timezone: str = "UTC") -> LearningResult:
    """Fit every (product, operation, worker) with operation or inspection laps.

    laps: the checked laps frame. Nothing is dropped from experience; suspicious laps are left out
    of the fit and named in the result's `laps`. Intervals are 95 %. timezone: of the shop, for
    what is one session.
    """
    practice = practice_of(laps, timezone)
    if not len(practice.cell):
        return LearningResult(_no_cells(), _lap_frame(laps.index, {}), None)
    work = work_of(practice)
    good, retention = _first_look(practice, work.restart_share)
    experience = experience_at(practice, retention.used)
    work = work.at(experience)
    selection = select(practice, work, good)
    selection = select(practice, work, ~selection.suspicious, selection)
    fits = _cell_fits(practice, experience, retention, selection)
    cells = _cell_frame(practice, retention, selection, fits)
    return LearningResult(
        cells, _lap_frame(laps.index, _lap_values(practice, experience, selection)), fits
    )


def _first_look(practice: Practice, restart: np.ndarray) -> tuple[np.ndarray, Retention]:
    """(laps that are not odd, retention), before a curve is chosen; restart: each lap's column for
    the restart effect."""
    response = practice.log_seconds_per_piece
    bend = Bend.of(practice, practice.pieces_before, restart)
    good = first_good_laps(practice, bend, response)
    weight = np.where(good, practice.pieces, 0.0)
    return good, retention_of(practice, response, weight, restart)


def _cell_fits(
    practice: Practice, experience: np.ndarray, retention: Retention, selection: Selection
) -> CellFits:
    known = np.isfinite(retention.loss_error)
    last = practice.last_laps
    slopes = [np.zeros(c.theta.shape) for c in selection.candidates]
    experience_slope = np.zeros(len(last))
    if known.any():
        moved = experience_at(practice, retention.used * np.exp(-LOSS_STEP))
        slopes = [
            loss_slopes(selection, c, practice, moved, LOSS_STEP) for c in selection.candidates
        ]
        experience_slope = (moved - experience)[last] / LOSS_STEP
    noise = selection.noise
    return CellFits(
        selection.candidates, slopes, noise.variance, noise.likeness, noise.piece_doubt,
        noise.freedom,
        retention.per_week, np.where(known, retention.loss_error, PUBLISHED_LOSS),
        (experience + practice.pieces)[last], experience_slope, practice.weeks_rested,
    )  # fmt: skip


def _cell_frame(
    practice: Practice, retention: Retention, selection: Selection, fits: CellFits
) -> pd.DataFrame:
    cells = practice.cells.copy()
    theta = selection.picked("theta")
    cells["curve"] = selection.curve
    cells["first_unit_seconds"] = np.exp(theta[:, LEVEL] + selection.picked("log_smearing"))
    rates = _learning_rates(selection, fits)
    cells["learning_rate"], cells["learning_rate_low"], cells["learning_rate_high"] = rates
    _add_plateaus(cells, selection, fits)
    cells["pieces_made"] = (practice.pieces_before + practice.pieces)[practice.last_laps].astype(
        int
    )
    cells["effective_experience"] = fits.experience
    level = np.where(selection.few, cells["first_unit_seconds"], np.nan)
    following = next_unit(fits)
    _add(cells, "next_unit", following, level)
    cells["pooled_next_unit_seconds"] = np.where(selection.few, following[0], np.nan)
    mean, low, high, cells["present_loss_error"] = _present(practice, selection, fits)
    _add(cells, "present", (mean, low, high))
    cells["weeks_rested"] = practice.weeks_rested
    _add(cells, "next_batch", next_batch(fits, BATCH), BATCH * level)
    cells["retention_per_week"] = retention.per_week
    cells["retention_low"], cells["retention_high"] = retention.low, retention.high
    told = selection.work.restart_told
    cells["restart_effect"] = np.where(told, theta[:, RESTART], np.nan)
    cells["laps"] = np.bincount(practice.cell)
    cells["pooled"] = selection.few
    _add_break(cells, retention, fits)
    cells["practice_p"] = selection.practice_p
    cells["lap_noise"] = np.sqrt(fits.variance)
    cells["session_noise"] = np.sqrt(fits.variance * fits.likeness)
    cells["degrees_of_freedom"] = fits.freedom
    cells["note"] = _notes(selection)
    return cells[CELL_COLUMNS]


def _add(cells: pd.DataFrame, name: str, triple: MeanAndRange, instead: Number = np.nan) -> None:
    """instead: the value to state, where known; the interval is made to hold what is stated."""
    value, low, high = triple
    value = np.where(np.isfinite(instead), instead, value)
    cells[f"{name}_seconds"] = value
    cells[f"{name}_low"], cells[f"{name}_high"] = np.minimum(low, value), np.maximum(high, value)


def _add_break(cells: pd.DataFrame, retention: Retention, fits: CellFits) -> None:
    one, many = break_cost(fits, 2.0, BATCH)
    cells["two_week_break_seconds"], cells["two_week_break_batch_seconds"] = one, many
    cells["two_week_break_batch_low"] = break_cost(fits, 2.0, BATCH, retention.high)[1]
    cells["two_week_break_batch_high"] = break_cost(fits, 2.0, BATCH, retention.low)[1]


def _learning_rates(selection: Selection, fits: CellFits) -> MeanAndRange:
    """(rate, low, high). Of a constant the rate is 1 and the interval that of its unit curve, 1
    included; of a falling curve it ends at 1."""
    constant = selection.curve == "constant"
    steady = constant & ~selection.few
    rate = np.where(constant, 1.0, learning_rate_of(selection.picked("theta")[:, EXPONENT]))
    centre, variance = _averaged_exponent(selection, fits)
    unit = selection.unit
    centre = np.where(steady, unit.theta[:, EXPONENT], centre)
    variance = np.where(steady, unit.covariance[:, EXPONENT, EXPONENT], variance)
    half = fits.t * np.sqrt(variance)
    low, high = learning_rate_of(centre - half), learning_rate_of(centre + half)
    high = np.where(constant, np.maximum(high, 1.0), np.minimum(high, 1.0))
    return rate, np.minimum(low, rate), np.maximum(high, rate)


def _averaged_exponent(selection: Selection, fits: CellFits) -> tuple[np.ndarray, np.ndarray]:
    """(mean, variance) of the exponent over the curves in doubt, by their Akaike weights w
    (Burnham & Anderson 2002): sum w b and sum w (own variance + (b - mean)^2), among those whose
    rate is of the whole time; a plateau's is of a part, and has no doubt but its own."""
    plateau = selection.curve == "plateau"
    exponents = np.array([c.theta[:, EXPONENT] for c in fits.candidates])
    own = np.array(
        [
            c.covariance[:, EXPONENT, EXPONENT] + (slope[:, EXPONENT] * fits.loss_error) ** 2
            for c, slope in zip(fits.candidates, fits.loss_slopes, strict=True)
        ]
    )
    weights = np.array([c.weight * ((c.curve == "plateau") == plateau) for c in fits.candidates])
    weights = weights / weights.sum(axis=0)
    mean = (weights * exponents).sum(axis=0)
    return mean, (weights * (own + (exponents - mean) ** 2)).sum(axis=0)


def _add_plateaus(cells: pd.DataFrame, selection: Selection, fits: CellFits) -> None:
    """c = a f, with the delta method on its log: d log c = d log a + df / f. NaN where the laps do
    not show a plateau: then it is said to be not identifiable."""
    has = selection.curve == "plateau"
    theta, covariance = selection.picked("theta"), selection.picked("covariance")
    f = np.where(has, theta[:, FRACTION], 1.0)
    variance = (
        covariance[:, LEVEL, LEVEL]
        + covariance[:, FRACTION, FRACTION] / f**2
        + 2 * covariance[:, LEVEL, FRACTION] / f
    )
    half = fits.t * np.sqrt(np.maximum(variance, 0))
    plateau = np.where(has, cells["first_unit_seconds"] * f, np.nan)
    _add(cells, "plateau", (plateau, plateau * np.exp(-half), plateau * np.exp(half)))
    cells["plateau_identifiable"] = has
    exponent = np.where(has, theta[:, EXPONENT], -1.0)
    near = pieces_until_near_plateau(cells["first_unit_seconds"].to_numpy(), plateau, exponent)
    cells["pieces_to_plateau"] = np.maximum(np.ceil(near - fits.experience), 0.0)


def _present(
    practice: Practice, selection: Selection, fits: CellFits
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(mean, low, high, standard error by the retention) of the seconds per piece at the practice
    of the file's last lap, the usual share of restarts in it; of a level that stands alone and of
    too few laps simply the seconds of the laps used over their pieces."""
    lap = present_lap(fits)
    starts, restart = practice.cell_starts, selection.picked("theta")[:, RESTART]
    slowness = np.exp(restart_multiple(selection.work, restart)[0])
    pieces = np.add.reduceat(practice.pieces, starts)
    value = lap.mean + np.log(np.add.reduceat(practice.pieces * slowness, starts) / pieces)
    used = np.add.reduceat(selection.weight, starts)
    seconds = np.add.reduceat(np.where(selection.good, practice.seconds, 0.0), starts)
    level = (selection.few | selection.candidates[0].alone) & (used > 0)
    mean = np.where(level, seconds / np.where(level, used, 1.0), np.exp(value))
    centre = np.where(selection.few, np.exp(value), mean)
    half = fits.t * np.sqrt(lap.variance)
    return mean, centre * np.exp(-half), centre * np.exp(half), lap.loss_error


def _notes(selection: Selection) -> np.ndarray:
    rate = f"{100 * learning_rate_of(selection.guess.exponent):.0f} %"
    source = "your other operations and published studies"
    if not selection.guess.cells:
        source = "published studies alone"
    return np.select(
        [
            selection.few,
            selection.rising,
            selection.curve == "constant",
            selection.curve != "plateau",
        ],
        [
            f"too few laps to tell; the guess is a learning rate of about {rate}, from {source}",
            "laps got slower as more were made, which practice does not explain: look at tools, "
            "material and tiredness",
            "no effect of practice shows in these laps",
            "where it will level out cannot be told from these laps",
        ],
        "",
    )


def _lap_values(
    practice: Practice, experience: np.ndarray, selection: Selection
) -> dict[str, np.ndarray]:
    return {
        "cell": practice.cell,
        "expected_seconds": np.exp(selection.log_expected) * practice.pieces,
        "residual_z": selection.z,
        "suspicious": ~selection.good,
        "pieces_before": practice.pieces_before,
        "experience": experience,
        "position": practice.position,
    }


def _lap_frame(index: pd.Index, values: Mapping[str, np.ndarray]) -> pd.DataFrame:
    blank = {"cell": -1, "suspicious": False}
    columns = {}
    for name in LAP_COLUMNS:
        column = np.full(len(index), blank.get(name, np.nan))
        if values:
            column[values["position"]] = values[name]
        columns[name] = column
    return pd.DataFrame(columns, index=index)


def _no_cells() -> pd.DataFrame:
    text = [*CELL, "curve", "note"]
    return pd.DataFrame(
        {name: pd.Series(dtype=str if name in text else float) for name in CELL_COLUMNS}
    )
