"""Points of a learning curve to draw: what was seen, in few bins, and the fitted line and band."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.study.experience import CELL
from analysis.study.forecast import CellFits, log_lap
from analysis.study.learning import LearningResult

POINT_COLUMNS = [
    *CELL, "piece", "pieces", "laps", "observed_seconds", "fitted_seconds", "fitted_low",
    "fitted_high", "ahead",
]  # fmt: skip
BINS = 40  # finer at first, where the curve is steep: even in the root of the piece's number
AHEAD = np.array([0, 5, 10, 15, 20, 25, 30, 40, 50])  # pieces ahead of the last one made


def learning_points(result: LearningResult, laps: pd.DataFrame) -> pd.DataFrame:
    """POINT_COLUMNS, at most 50 rows a cell.

    piece: number of the piece (middle of the bin); observed_seconds: mean per piece over the
    bin's laps, suspicious ones left out; fitted_*: the mean the curve expects there, breaks and
    restarts included, and its 95 % band; ahead: True for the pieces still to come, which have no
    observation.
    """
    if result.fits is None:
        return pd.DataFrame({name: pd.Series(dtype=float) for name in POINT_COLUMNS})
    seen, to_come = _seen(result, result.fits, laps), _to_come(result, result.fits)
    points = pd.concat([seen, to_come], ignore_index=True)
    keys = result.cells[CELL].iloc[points["cell"]].reset_index(drop=True)
    points = pd.concat([keys, points], axis=1)
    return points.sort_values(["cell", "piece"], ignore_index=True)[POINT_COLUMNS]


def _seen(result: LearningResult, fits: CellFits, laps: pd.DataFrame) -> pd.DataFrame:
    used = ((result.laps["cell"] >= 0) & ~result.laps["suspicious"]).to_numpy()
    lap, pieces = result.laps[used], laps["units"].to_numpy(float)[used]
    cell, before = lap["cell"].to_numpy(), lap["pieces_before"].to_numpy()
    made = result.cells["pieces_made"].to_numpy(float)[cell]
    bins = np.minimum((BINS * np.sqrt(before / made)).astype(int), BINS - 1)
    table = pd.DataFrame(
        {
            "cell": cell,
            "bin": bins,
            "pieces": pieces,
            "laps": 1,
            "piece": pieces * (before + (pieces + 1) / 2),
            "experience": pieces * (lap["experience"].to_numpy() + (pieces - 1) / 2),
            "observed_seconds": laps["seconds"].to_numpy(float)[used],
            "fitted_seconds": lap["expected_seconds"].to_numpy(),
        }
    )
    table = table.groupby(["cell", "bin"], as_index=False).sum()
    for name in ("piece", "experience", "observed_seconds", "fitted_seconds"):
        table[name] /= table["pieces"]
    return _banded(fits, table).assign(ahead=False)


def _to_come(result: LearningResult, fits: CellFits) -> pd.DataFrame:
    cells = len(result.cells)
    table = pd.DataFrame(
        {
            "cell": np.tile(np.arange(cells), len(AHEAD)),
            "experience": np.add.outer(AHEAD, fits.experience).ravel(),
            "piece": np.add.outer(AHEAD + 1, result.cells["pieces_made"].to_numpy(float)).ravel(),
            "pieces": np.nan,
            "laps": 0,
            "observed_seconds": np.nan,
        }
    )
    return _banded(fits, table).assign(ahead=True)


def _banded(fits: CellFits, table: pd.DataFrame) -> pd.DataFrame:
    """Fitted line and band at each row's experience; `log_lap` takes one experience a cell, so
    the rows are dealt out in rounds, one of every cell at a time."""
    rank = table.groupby("cell").cumcount().to_numpy()
    cell, experience = table["cell"].to_numpy(), table["experience"].to_numpy()
    value, half = np.empty(len(table)), np.empty(len(table))
    for turn in range(rank.max(initial=-1) + 1):
        here = rank == turn
        at = fits.experience.copy()
        at[cell[here]] = experience[here]
        line_here = log_lap(fits, at)
        value[here] = line_here.mean[cell[here]]
        half[here] = (fits.t * np.sqrt(line_here.variance))[cell[here]]
    line = table.get("fitted_seconds", pd.Series(np.exp(value), table.index)).to_numpy()
    return table.assign(
        fitted_seconds=line, fitted_low=line * np.exp(-half), fitted_high=line * np.exp(half)
    )
