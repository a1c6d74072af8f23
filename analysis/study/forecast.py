"""Forecasts from fitted learning curves: the next piece, the next batch, the price of a break."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from analysis.study.frames import MeanAndRange, Number
from analysis.study.regression import ACTIVE, Work, log_mean
from analysis.study.selection import Candidate, expected

LOSS_STEP = 1e-3  # of the loss per week, small: what changes with it, as a difference quotient


@dataclass(frozen=True)
class CellFits:
    """All that a forecast needs, as arrays over cells."""

    candidates: list[Candidate]
    loss_slopes: list[np.ndarray]  # of each candidate: change of theta with the loss per week
    variance: np.ndarray  # sigma^2: of the log of a lap of one piece
    likeness: np.ndarray  # tau^2 / sigma^2
    piece_doubt: np.ndarray  # factor on the variance of a single piece
    freedom: np.ndarray
    retention: np.ndarray  # per week, NaN where not known
    loss_error: np.ndarray  # where not known, the loss that published studies found
    experience: np.ndarray  # after the last lap
    experience_slope: np.ndarray  # its change with the loss per week
    weeks_rested: np.ndarray  # from then to the file's last lap, where longer than a week; else 0

    def of_cells(self, cells: np.ndarray) -> CellFits:
        """Those of some cells alone; cells: their numbers, each as often as it is wanted."""
        found: dict[str, Any] = {
            own.name: getattr(self, own.name)[cells]
            for own in fields(self)
            if own.name not in ("candidates", "loss_slopes")
        }
        return CellFits(
            candidates=[candidate.of_cells(cells) for candidate in self.candidates],
            loss_slopes=[slope[cells] for slope in self.loss_slopes],
            **found,
        )

    @property
    def t(self) -> np.ndarray:
        """The 97.5 % point of Student's t."""
        from scipy.special import stdtrit  # scipy is slow to import; .stats three times as slow

        return stdtrit(self.freedom, 0.975)


@dataclass(frozen=True)
class LogLap:
    """Over cells: log of the mean seconds per piece of a lap, its variance, and of the variance
    what the retention makes, as its signed standard error: one worker's cells share it."""

    mean: np.ndarray
    variance: np.ndarray
    loss_error: np.ndarray


def log_lap(
    fits: CellFits,
    experience: Number,
    pieces: float = 1,
    before_in_spell: float | None = None,
    weeks_away: Number = 0.0,
) -> LogLap:
    """The mean of a lap in every cell.

    The lap's pieces are E+1 ... E+k; before_in_spell: pieces of the spell done before it, None for
    straight on; weeks_away: those for which practice was taken off to come down to E. The mean is
    over the curves by their Akaike weights w (`selection.expected`). In the variance about it: the
    curves' parameters, the retention, and the doubt between curves, sum of w (variance + (value -
    mean)^2) (Burnham & Anderson 2002).
    """
    cells = len(fits.variance)
    begun_with = np.maximum(np.broadcast_to(experience, (cells,)), 0.0)
    spell = None if before_in_spell is None else np.full(cells, float(before_in_spell))
    work = Work.of(begun_with, np.full(cells, float(pieces)), np.ones(cells, int), spell)
    values, variances, losses = zip(
        *(
            _log_lap(*pair, fits, work, weeks_away)
            for pair in zip(fits.candidates, fits.loss_slopes, strict=True)
        ),
        strict=True,
    )
    mean = expected(fits.candidates, values)
    variance = sum(
        candidate.weight * (own + loss**2 + (value - mean) ** 2)
        for candidate, value, own, loss in zip(
            fits.candidates, values, variances, losses, strict=True
        )
    )
    return LogLap(mean, variance, expected(fits.candidates, losses))


def present_lap(fits: CellFits) -> LogLap:
    """A piece like the last one made, at the practice that is left at the file's last lap.

    Time away up to then keeps retention^weeks of the experience (`experience.experience_at`).
    Where the retention is not known nothing is taken off, but the published loss is the doubt.
    """
    kept = np.where(np.isfinite(fits.retention), fits.retention, 1.0) ** fits.weeks_rested
    return log_lap(fits, (fits.experience - 1) * kept, weeks_away=fits.weeks_rested)


def _log_lap(
    candidate: Candidate, loss_slope: np.ndarray, fits: CellFits, work: Work, weeks_away: Number
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(log mean, variance by the curve, standard error by the loss) by one curve. The loss per week
    moves both the curve and where on it the worker stands, mostly against one another: what was
    seen last stays as it was seen. Time away since then moves only the latter."""
    value, columns = log_mean(candidate.curve, work, candidate.theta)
    active = list(ACTIVE[candidate.curve])
    slope = np.stack(columns, axis=1)
    covariance = candidate.covariance[:, active][:, :, active]
    by_curve = np.einsum("ci,cij,cj->c", slope, covariance, slope)
    share = np.divide(work.experience, np.maximum(fits.experience, 1.0))
    place_slope = share * fits.experience_slope - weeks_away * work.experience
    moved = np.maximum(work.experience + LOSS_STEP * place_slope, 0.0)
    by_place = (log_mean(candidate.curve, work.at(moved), candidate.theta)[0] - value) / LOSS_STEP
    by_loss = ((slope * loss_slope[:, active]).sum(axis=1) + by_place) * fits.loss_error
    return value + candidate.log_smearing, by_curve, by_loss


def next_unit(fits: CellFits) -> MeanAndRange:
    """(mean, low, high) seconds of the next piece, straight on; a 95 % prediction interval.

    The lap is log-normal with the curve for its mean, so its median is lower by half its variance.
    """
    lap = log_lap(fits, fits.experience)
    noise = fits.variance * (1 + fits.likeness) * fits.piece_doubt
    half = fits.t * np.sqrt(noise + lap.variance)
    middle = lap.mean - noise / 2
    return np.exp(lap.mean), np.exp(middle - half), np.exp(middle + half)


def next_batch(fits: CellFits, pieces: float, weeks_away: Number = 0.0) -> MeanAndRange:
    """(mean, low, high) seconds of the next batch of so many pieces, begun as a spell of its own;
    a 95 % prediction interval, lap and session noise in it.

    weeks_away: time away before it; NaN where that is not 0 and retention not known.
    """
    after = _after(fits, weeks_away)
    lap = log_lap(fits, after, pieces, before_in_spell=0, weeks_away=weeks_away)
    noise = fits.variance * (1 / pieces + fits.likeness)
    half = fits.t * np.sqrt(noise + lap.variance)
    seconds = pieces * np.exp(lap.mean)
    return seconds, seconds * np.exp(-noise / 2 - half), seconds * np.exp(-noise / 2 + half)


def break_cost(
    fits: CellFits, weeks: float, batch: float = 25, retention: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """(seconds lost on the first piece, over the first batch) after `weeks` away; NaN where
    retention is not known. retention: per week, in place of the fitted one."""
    after = _after(fits, weeks, retention)
    one, many = (
        pieces * (np.exp(log_lap(fits, after, pieces).mean)
                  - np.exp(log_lap(fits, fits.experience, pieces).mean))
        for pieces in (1, batch)
    )  # fmt: skip
    return one, many


def _after(fits: CellFits, weeks: Number, retention: np.ndarray | None = None) -> np.ndarray:
    """Experience after time away: E retention^weeks."""
    if not weeks:
        return fits.experience
    return fits.experience * (fits.retention if retention is None else retention) ** weeks
