"""Suspicious laps: far from the curve the rest of the cell follows, and how far.

A forgotten stop or a double tap, not a slow beginner: judged on log residuals from the fitted
curve, never on the mean, with the modified z-score of Iglewicz & Hoaglin (1993),
    z = 0.6745 (r - median) / MAD,  |z| > 3.5 being suspicious,
and 1.253314 times the mean absolute deviation for the scale where more than half of the
residuals are equal (MAD = 0).
"""

from __future__ import annotations

import numpy as np

LIMIT = 3.5
FEWEST_LAPS = 5  # of fewer, none can be called the odd one out
SURE_LAPS = 10  # of fewer, only a gross one
BEGINNING_LAPS = 5
BEGINNING_MULTIPLE = 3.0  # a cell's first laps may take this many times the curve's time
SMALLEST_SCALE = 0.01  # of log seconds: what is within a few percent of its curve is no outlier


def modified_z(residual, starts):
    """Modified z-score of every residual within its group; groups are consecutive."""
    size = np.diff(np.append(starts, len(residual)))
    group = np.repeat(np.arange(len(starts)), size)
    from_median = residual - grouped_median(residual, starts, size)[group]
    distance = np.abs(from_median)
    scale = grouped_median(distance, starts, size) / 0.6745
    mean_distance = np.add.reduceat(distance, starts) / size
    scale = np.where(scale > 0, scale, 1.253314 * mean_distance)
    return from_median / np.maximum(scale, SMALLEST_SCALE)[group]


def grouped_median(values, starts, size):
    """Median of each group of consecutive values."""
    ordered = values.copy()
    for start, laps in zip(starts, size, strict=True):  # a short sort a cell beats one long one
        ordered[start : start + laps].sort()
    return 0.5 * (ordered[starts + (size - 1) // 2] + ordered[starts + size // 2])


def suspicious(residual, starts, relative_noise):
    """(mask, z) of log residuals; relative_noise: a lap's standard deviation against a lap of
    one piece, since a lap of many pieces strays less.

    In the first laps of a cell the curve is steep and known least, and of few laps the median
    deviation says little (27 19 20 21 13 is a published time study, none of it left out): there
    a lap is suspicious only beyond BEGINNING_MULTIPLE times the curve, or as far below it.
    """
    z = modified_z(residual / relative_noise, starts)
    size = np.diff(np.append(starts, len(residual)))
    order = np.arange(len(residual)) - np.repeat(starts, size)
    unsure = (order < BEGINNING_LAPS) | np.repeat(size < SURE_LAPS, size)
    beginner = unsure & (np.abs(residual) < np.log(BEGINNING_MULTIPLE))
    enough = np.repeat(size >= FEWEST_LAPS, size)
    return (np.abs(z) > LIMIT) & ~beginner & enough, np.where(enough, z, 0.0)
