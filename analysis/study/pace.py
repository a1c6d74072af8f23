"""Pace: how long each piece took against what practice let expect, and the pieces just before it.

pace = log(seconds / expected seconds) of a lap: 0 as expected at that level of practice, -0.1 a
tenth faster. A spoiled piece changes its own time, so what a fault may depend on is the pace of
the pieces just before it, in two readings:

carried   the mean pace of the last WINDOW_PIECES pieces of the same worker and batch: a hurried
          run makes the next piece worse, whatever its own pace
steady    the pace this piece was itself about to be made at, of which the earlier laps of its
          session are a noisy measure. Regression calibration (Carroll et al., Measurement Error in
          Nonlinear Models, 2006, from memory): its best linear guess from the k earlier laps,
              mean + (m_k - mean) k tau^2 / (k tau^2 + sigma^2),
          m_k their mean pace, tau^2 the variance between sessions, sigma^2 between laps within one.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.study.experience import Practice, practice_of
from analysis.study.rates import clusters

WINDOW_PIECES = 5  # of our own, no source: a few minutes' work, short enough to be "just before"
COLUMNS = (
    "product", "operation", "worker", "cluster", "pieces", "faults", "scrap", "own", "carried",
    "steady", "reliability", "steady_variance",
)  # fmt: skip
NAMES = ("product", "operation", "worker")


def paces(laps: pd.DataFrame, timezone: str = "UTC") -> pd.DataFrame:
    """COLUMNS, one row a lap of operation or inspection, in the order of batches and time.

    laps: `Study.laps` (expected_seconds per piece, suspicious). cluster: a code of the batch of
    its product, of the shop's day where no batch is named. faults = rework_units + scrap_units,
    those left out that name another operation as their cause, and scrap those of them lost. own:
    the lap's own pace, NaN where it is suspicious; carried: NaN for the first of a batch, which
    has nothing before it; steady: the mean alone for the first of a session; reliability:
    k tau^2 / (k tau^2 + sigma^2) behind steady; steady_variance: tau^2 (1 - reliability), what the
    session's pace may be off the guess by.
    """
    practice = practice_of(laps, timezone)
    rows = laps.iloc[practice.position]
    pace = practice.log_seconds_per_piece - np.log(rows["expected_seconds"].to_numpy(float))
    usable = np.isfinite(pace) & ~rows["suspicious"].to_numpy(bool)
    faults = np.where(made_here(rows), rows["rework_units"] + rows["scrap_units"], 0.0)
    session = np.zeros(len(pace), "int64")
    session[practice.session_starts] = 1
    session = np.cumsum(session) - 1
    operation = rows["operation"].cat.codes.to_numpy("int64")
    pace = np.where(usable, pace, 0.0)
    steady, reliability, left = _steady(pace, usable, faults == 0, session, operation)
    frame = pd.DataFrame(
        {
            **{name: rows[name].array for name in NAMES},
            "cluster": clusters(rows, timezone),
            "pieces": practice.pieces,
            "faults": faults,
            "scrap": np.where(faults > 0, rows["scrap_units"], 0.0),
            "own": np.where(usable, pace, np.nan),
            "carried": _carried(pace, usable, practice, rows["batch"], session),
            "steady": steady,
            "reliability": reliability,
            "steady_variance": left,
        }
    )
    return frame[list(COLUMNS)]


def made_here(rows: pd.DataFrame) -> np.ndarray:
    """Mask over rows: the lap's operation made its faults; no other is named as their cause."""
    operation = rows["operation"].astype(object).to_numpy()
    cause = rows["cause_operation"].astype(object).to_numpy()
    return (cause == "") | (cause == operation)


def _carried(
    pace: np.ndarray, usable: np.ndarray, practice: Practice, batch: pd.Series, session: np.ndarray
) -> np.ndarray:
    """Mean pace, by pieces, of the fewest laps before that hold WINDOW_PIECES pieces."""
    named = (batch != "").to_numpy()
    group = np.where(named, batch.cat.codes.to_numpy("int64"), -1 - session)
    order = np.lexsort([np.arange(len(pace)), group, practice.cell])
    changed = np.ones(len(order), bool)
    for key in (group[order], practice.cell[order]):
        changed[1:] &= key[1:] == key[:-1]
    changed[1:] = ~changed[1:]
    first = np.maximum.accumulate(np.where(changed, np.arange(len(order)), 0))
    pieces = practice.pieces[order]
    before = np.cumsum(pieces) - pieces
    start = np.searchsorted(before, before - WINDOW_PIECES, side="right") - 1
    start = np.maximum(start, first)
    weight = np.where(usable[order], pieces, 0.0)
    result = np.empty(len(order))
    result[order] = _mean_between(pace[order], weight, start, np.arange(len(order)))
    return result


def _steady(
    pace: np.ndarray,
    usable: np.ndarray,
    faultless: np.ndarray,
    session: np.ndarray,
    operation: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(best guess of the pace about to be worked at, its reliability, the variance left)."""
    starts = np.flatnonzero(np.diff(session, prepend=-1))
    first = starts[session] if len(session) else session
    weight = usable.astype(float)
    count = np.cumsum(weight) - weight
    laps_before = count - count[first]
    mean_before = _mean_between(pace, weight, first, np.arange(len(pace)))
    between, within, centre = _session_variances(pace, usable & faultless, session, operation)
    with np.errstate(invalid="ignore", divide="ignore"):
        told = laps_before * between[operation]
        reliability = np.where(told > 0, told / (told + within[operation]), 0.0)
    centre = centre[operation]
    steady = centre + reliability * (np.nan_to_num(mean_before, nan=0.0) - centre)
    return steady, reliability, between[operation] * (1 - reliability)


def _session_variances(
    pace: np.ndarray, counted: np.ndarray, session: np.ndarray, operation: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Over operations: (tau^2, sigma^2, mean), by analysis of variance of one way with random
    effects (Searle, Casella & McCulloch, Variance Components, 1992, from memory):
        sigma^2 = SSW / (N - S),  tau^2 = (SSB - (S - 1) sigma^2) / ((N - sum n^2 / N)), >= 0.
    """
    groups = int(operation.max(initial=-1)) + 1
    sessions = int(session.max(initial=-1)) + 1
    weight = counted.astype(float)
    n = np.bincount(session, weight, sessions)
    total = np.bincount(session, weight * pace, sessions)
    own = np.zeros(sessions, "int64")
    own[session] = operation
    laps = np.bincount(operation, weight, groups)
    with np.errstate(invalid="ignore", divide="ignore"):
        centre = np.bincount(operation, weight * pace, groups) / laps
        mean = np.where(n > 0, total / n, 0.0)
        squares = np.bincount(operation, weight * (pace - mean[session]) ** 2, groups)
        told = np.bincount(own, n > 0, groups)
        within = squares / np.maximum(laps - told, 1)
        spread = np.bincount(own, n * np.nan_to_num(mean - centre[own]) ** 2, groups)
        size = laps - np.bincount(own, n * n, groups) / laps
        between = np.maximum(spread - (told - 1) * within, 0.0) / size
    return np.nan_to_num(between, posinf=0.0), within, np.nan_to_num(centre)


def _mean_between(
    value: np.ndarray, weight: np.ndarray, start: np.ndarray, end: np.ndarray
) -> np.ndarray:
    """Weighted means of value[start:end], NaN where the weights there are 0."""
    top = np.append(0.0, np.cumsum(weight * value))
    bottom = np.append(0.0, np.cumsum(weight))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = (top[end] - top[start]) / (bottom[end] - bottom[start])
    return np.where(bottom[end] > bottom[start], mean, np.nan)
