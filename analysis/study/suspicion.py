"""Suspicious laps: far from the curve the rest of the cell follows, and how far.

A forgotten stop or a double tap, not a slow beginner: judged on log residuals from the fitted
curve, never on the mean, with the modified z-score of Iglewicz & Hoaglin (1993),
    z = 0.6745 (r - median) / MAD,  |z| > 3.5 being suspicious,
and 1.253314 times the mean absolute deviation for the scale where more than half of the
residuals are equal (MAD = 0).
"""

from __future__ import annotations

import numpy as np

from analysis.study.experience import Practice

LIMIT = 3.5
FEWEST_LAPS = 5  # of fewer, none can be called the odd one out
SURE_LAPS = 10  # of fewer, only a gross one
BEGINNING_LAPS = 5
BEGINNING_MULTIPLE = 3.0  # a cell's first laps may take this many times the curve's time
FEWEST_IN_SESSION = 3  # of fewer laps, the median is the odd lap itself
SMALLEST_SCALE = 0.01  # of log seconds: what is within a few percent of its curve is no outlier


def modified_z(
    residual: np.ndarray, starts: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(modified z-score, median, scale) of residuals in groups of consecutive ones; the last two
    over groups, so that z = (residual - median) / scale."""
    size = np.diff(np.append(starts, len(residual)))
    median = grouped_median(residual, starts, size)
    from_median = residual - np.repeat(median, size)
    distance = np.abs(from_median)
    scale = grouped_median(distance, starts, size) / 0.6745
    mean_distance = np.add.reduceat(distance, starts) / size
    scale = np.where(scale > 0, scale, 1.253314 * mean_distance)
    scale = np.maximum(scale, SMALLEST_SCALE)
    return from_median / np.repeat(scale, size), median, scale


def grouped_median(values: np.ndarray, starts: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Median of each group of consecutive values; over groups: `starts`, the place of its first
    value, and `size`, how many it has (1 or more)."""
    ordered = values.copy()
    for start, laps in zip(starts, size, strict=True):  # a short sort a cell beats one long one
        ordered[start : start + laps].sort()
    return 0.5 * (ordered[starts + (size - 1) // 2] + ordered[starts + size // 2])


def odd_laps(
    practice: Practice, residual: np.ndarray, likeness: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(mask, z) of laps that are odd for their cell, and for their session too.

    A lap of many pieces strays less, so residuals are first divided by sqrt(1/k + likeness). A
    whole session may be slow or quick, and is work all the same: where it has laps enough, what
    they share (their median, drawn to 0 as the likeness of laps says) explains that much of each.
    In the first laps of a cell the curve is steep and known least, and of few laps the median
    deviation says little (27 19 20 21 13 is a published time study, none of it left out): there
    a lap is suspicious only beyond BEGINNING_MULTIPLE times the curve, or as far below it.
    likeness: tau^2 / sigma^2, over cells.
    """
    starts, size = practice.cell_starts, np.bincount(practice.cell)
    relative = np.sqrt(1 / practice.pieces + np.repeat(likeness, size))
    z, _, scale = modified_z(residual / relative, starts)
    shared = _shared(practice, residual, likeness) / relative / np.repeat(scale, size)
    z = np.sign(z) * np.clip(np.sign(z) * (z - shared), 0, np.abs(z))
    order = np.arange(len(residual)) - np.repeat(starts, size)
    unsure = (order < BEGINNING_LAPS) | np.repeat(size < SURE_LAPS, size)
    beginner = unsure & (np.abs(residual) < np.log(BEGINNING_MULTIPLE))
    z = np.where(np.repeat(size >= FEWEST_LAPS, size), z, 0.0)
    return (np.abs(z) > LIMIT) & ~beginner, z


def _shared(practice: Practice, residual: np.ndarray, likeness: np.ndarray) -> np.ndarray:
    """What each lap's residual shares with its session."""
    starts = practice.session_starts
    laps = np.diff(np.append(starts, len(residual)))
    weight = likeness[practice.session_cell] * np.add.reduceat(practice.pieces, starts)
    known = np.where(laps >= FEWEST_IN_SESSION, weight / (1 + weight), 0.0)
    return np.repeat(known * grouped_median(residual, starts, laps), laps)
