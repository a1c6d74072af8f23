"""The way practice went in one operation: measured means, the fitted line, time away, what is next.

Made from a `LearningResult` for a chart and for sentences; nothing is fitted here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.learning import CellFits, LearningResult, log_piece

POINTS = 40  # means of neighbouring laps, a worker
LINE_POINTS = 60
AWAY_DAYS = 10.0  # shorter time away is not marked
MOST_BREAKS = 4  # marked, a worker: the longest


@dataclass(frozen=True)
class PracticePath:
    """One operation's practice; seconds are per piece, rows of one worker in order of practice.

    points    worker, pieces_made, seconds, laps (used in this mean)
    curve     worker, pieces_made, seconds, low, high (95 % of the mean; usual restarts in it)
    plateaus  worker, seconds; only where the laps show one
    breaks    worker, pieces_made, days_away (>= AWAY_DAYS, the longest MOST_BREAKS)
    """

    points: pd.DataFrame
    curve: pd.DataFrame
    plateaus: pd.DataFrame
    breaks: pd.DataFrame


def practice_path(
    laps: pd.DataFrame, learning: LearningResult, product: str, operation: str
) -> PracticePath:
    """The path of every worker who did `operation` of `product`.

    laps: the checked laps that `learning` was made from, with the same index.
    """
    chosen = learning.cells
    chosen = chosen[(chosen["product"] == product) & (chosen["operation"] == operation)]
    parts = [
        _path_of_cell(_laps_of_cell(laps, learning, cell), learning.fits, cell, row["worker"])
        for cell, row in chosen.iterrows()
    ]
    has_plateau = chosen[chosen["plateau_identifiable"].astype(bool)]
    plateaus = has_plateau[["worker", "plateau_seconds"]]
    return PracticePath(
        _stacked([part[0] for part in parts], ["worker", "pieces_made", "seconds", "laps"]),
        _stacked([part[1] for part in parts], ["worker", "pieces_made", "seconds", "low", "high"]),
        plateaus.rename(columns={"plateau_seconds": "seconds"}).reset_index(drop=True),
        _stacked([part[2] for part in parts], ["worker", "pieces_made", "days_away"]),
    )


def _stacked(frames: list[pd.DataFrame], columns: list[str]) -> pd.DataFrame:
    full = [frame for frame in frames if len(frame)]
    return pd.concat(full, ignore_index=True) if full else pd.DataFrame(columns=columns)


def _laps_of_cell(laps: pd.DataFrame, learning: LearningResult, cell: int) -> pd.DataFrame:
    """The practised laps of one cell in order, with what the fit says of each."""
    here = (learning.laps["cell"] == cell).to_numpy()
    given = laps.loc[here, ["started_at", "seconds", "units"]]
    said = learning.laps.loc[here, ["suspicious", "pieces_before", "experience"]]
    return given.join(said).sort_values(["pieces_before", "started_at"], ignore_index=True)


def _path_of_cell(own: pd.DataFrame, fits: CellFits, cell: int, worker: str):
    points = _means(own[~own["suspicious"].astype(bool)])
    breaks = _breaks(own)
    curve = _line(own, breaks, fits, cell)
    return tuple(frame.assign(worker=worker) for frame in (points, curve, breaks))


def _means(own: pd.DataFrame) -> pd.DataFrame:
    """Seconds a piece over runs of neighbouring laps: sum of seconds / sum of pieces."""
    count = len(own)
    part = np.arange(count) * min(POINTS, count) // max(count, 1)
    pieces = np.bincount(part, own["units"])
    # A lap of k pieces stands for the middle one of them.
    middle = own["pieces_before"] + (own["units"] + 1) / 2
    return pd.DataFrame(
        {
            "pieces_made": np.bincount(part, middle * own["units"]) / pieces,
            "seconds": np.bincount(part, own["seconds"]) / pieces,
            "laps": np.bincount(part),
        }
    )


def _breaks(own: pd.DataFrame) -> pd.DataFrame:
    """The longest stretches of AWAY_DAYS or more between the end of a lap and the next start."""
    end = own["started_at"] + pd.to_timedelta(own["seconds"], unit="s")
    days = (own["started_at"] - end.shift()).dt.total_seconds() / 86400
    away = pd.DataFrame({"pieces_made": own["pieces_before"], "days_away": days})
    return away[away["days_away"] >= AWAY_DAYS].nlargest(MOST_BREAKS, "days_away").sort_index()


def _line(own: pd.DataFrame, breaks: pd.DataFrame, fits: CellFits, cell: int) -> pd.DataFrame:
    """The fitted mean at the laps' own experience, which a break has taken down, and its band.

    mean = exp(log mean of the piece + usual restarts); band = mean x exp(+- t(.975) se).
    """
    from scipy.special import stdtrit  # scipy is slow to import, and not every screen asks

    count = len(own)
    early = np.geomspace(1, count, LINE_POINTS // 2).astype(int) - 1
    even = np.linspace(0, count - 1, LINE_POINTS // 2).astype(int)
    steps = breaks.index.to_numpy(dtype=int)
    kept = own.iloc[np.unique(np.concatenate([early, even, steps, np.maximum(steps - 1, 0)]))]
    logs = [_log_piece_of_cell(fits, cell, e) for e in kept["experience"].to_numpy(float)]
    value, variance = np.array(logs).T
    value = value + fits.mean_restart[cell]
    half = stdtrit(fits.freedom[cell], 0.975) * np.sqrt(variance)
    return pd.DataFrame(
        {
            "pieces_made": kept["pieces_before"].to_numpy(float) + 1,
            "seconds": np.exp(value),
            "low": np.exp(value - half),
            "high": np.exp(value + half),
        }
    )


def next_batch(fits: CellFits, cell: int, pieces: int) -> tuple[float, float, float]:
    """(mean, low, high) seconds that the next `pieces` of a cell take; a 95 % prediction interval.

    Mean = sum over the pieces of the curve, usual restarts in it. On the log scale the spread is
    that of one session and k laps, and of the curve itself at the middle piece:
        variance = sigma^2 (likeness + 1 / k) + variance of the curve,
    and the median lies below the mean by half of the first part (log-normal).
    """
    from scipy.special import stdtrit

    made = fits.experience[cell]
    each = [_log_piece_of_cell(fits, cell, made + piece) for piece in range(pieces)]
    value, curve = np.array(each).T
    mean = np.exp(value + fits.mean_restart[cell]).sum()
    noise = fits.variance[cell] * (fits.likeness[cell] + 1 / pieces)
    half = stdtrit(fits.freedom[cell], 0.975) * np.sqrt(noise + curve[pieces // 2])
    return tuple(mean * np.exp([0.0, -noise / 2 - half, -noise / 2 + half]))


def _log_piece_of_cell(fits: CellFits, cell: int, experience: float) -> tuple[float, float]:
    value, variance = log_piece(_one(fits, cell), np.array([experience]))
    return float(value[0]), float(variance[0])


def _one(fits: CellFits, cell: int) -> CellFits:
    """The fits of one cell alone."""
    return CellFits(**{name: column[cell : cell + 1] for name, column in vars(fits).items()})
