"""Forecasts from fitted learning curves: the next piece, the next batch, the price of a break."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.study.regression import ACTIVE, Work, log_mean
from analysis.study.selection import Candidate, expected

_LOSS_STEP = 1e-3


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
    loss_error: np.ndarray
    experience: np.ndarray  # after the last lap
    experience_slope: np.ndarray  # its change with the loss per week

    @property
    def t(self) -> np.ndarray:
        """The 97.5 % point of Student's t."""
        from scipy.special import stdtrit  # scipy is slow to import; .stats three times as slow

        return stdtrit(self.freedom, 0.975)


def log_lap(fits: CellFits, experience, pieces=1, before_in_spell=None):
    """(log of the mean seconds per piece of a lap in every cell, its variance).

    The lap's pieces are E+1 ... E+k; before_in_spell: pieces of the spell done before it, None for
    straight on. The mean is over the curves by their Akaike weights w (`selection.expected`). In
    the variance about it: the curves' parameters, the retention, and the doubt between curves,
    sum of w (variance + (value - mean)^2) (Burnham & Anderson 2002).
    """
    cells = len(fits.variance)
    experience = np.maximum(np.broadcast_to(experience, (cells,)), 0.0)
    spell = None if before_in_spell is None else np.full(cells, float(before_in_spell))
    work = Work.of(experience, np.full(cells, float(pieces)), np.ones(cells, int), spell)
    values, variances = zip(
        *(
            _log_lap(*pair, fits, work)
            for pair in zip(fits.candidates, fits.loss_slopes, strict=True)
        ),
        strict=True,
    )
    mean = expected(fits.candidates, values)
    variance = sum(
        candidate.weight * (own + (value - mean) ** 2)
        for candidate, value, own in zip(fits.candidates, values, variances, strict=True)
    )
    return mean, variance


def _log_lap(candidate: Candidate, loss_slope, fits: CellFits, work: Work):
    """(log mean, variance) by one curve. The loss per week moves both the curve and where on it
    the worker stands, mostly against one another: what was seen last stays as it was seen."""
    value, columns = log_mean(candidate.curve, work, candidate.theta)
    active = list(ACTIVE[candidate.curve])
    slope = np.stack(columns, axis=1)
    covariance = candidate.covariance[:, active][:, :, active]
    by_curve = np.einsum("ci,cij,cj->c", slope, covariance, slope)
    share = np.divide(work.experience, np.maximum(fits.experience, 1.0))
    moved = np.maximum(work.experience + _LOSS_STEP * share * fits.experience_slope, 0.0)
    by_place = (log_mean(candidate.curve, work.at(moved), candidate.theta)[0] - value) / _LOSS_STEP
    by_loss = ((slope * loss_slope[:, active]).sum(axis=1) + by_place) * fits.loss_error
    return value + candidate.log_smearing, by_curve + by_loss**2


def next_unit(fits: CellFits):
    """(mean, low, high) seconds of the next piece, straight on; a 95 % prediction interval.

    The lap is log-normal with the curve for its mean, so its median is lower by half its variance.
    """
    value, variance = log_lap(fits, fits.experience)
    noise = fits.variance * (1 + fits.likeness) * fits.piece_doubt
    half = fits.t * np.sqrt(noise + variance)
    return np.exp(value), np.exp(value - noise / 2 - half), np.exp(value - noise / 2 + half)


def next_batch(fits: CellFits, pieces, weeks_away=0.0):
    """(mean, low, high) seconds of the next batch of so many pieces, begun as a spell of its own;
    a 95 % prediction interval, lap and session noise in it.

    weeks_away: time away before it; NaN where that is not 0 and retention not known.
    """
    value, variance = log_lap(fits, _after(fits, weeks_away), pieces, before_in_spell=0)
    noise = fits.variance * (1 / pieces + fits.likeness)
    half = fits.t * np.sqrt(noise + variance)
    seconds = pieces * np.exp(value)
    return seconds, seconds * np.exp(-noise / 2 - half), seconds * np.exp(-noise / 2 + half)


def break_cost(fits: CellFits, weeks, batch=25, retention=None):
    """(seconds lost on the first piece, over the first batch) after `weeks` away; NaN where
    retention is not known. retention: per week, in place of the fitted one."""
    after = _after(fits, weeks, retention)
    one, many = (
        pieces * (np.exp(log_lap(fits, after, pieces)[0])
                  - np.exp(log_lap(fits, fits.experience, pieces)[0]))
        for pieces in (1, batch)
    )  # fmt: skip
    return one, many


def _after(fits: CellFits, weeks, retention=None):
    """Experience after time away: E retention^weeks."""
    if not weeks:
        return fits.experience
    return fits.experience * (fits.retention if retention is None else retention) ** weeks
