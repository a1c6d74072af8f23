"""The way practice went in one operation: what was seen, the fitted line, where it ends, breaks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.forecast import log_lap, present_lap
from analysis.study.learning import LearningResult

CURVE_COLUMNS = ("worker", "pieces_made", "seconds", "low", "high")
KNOTS = 40  # of the drawn line, besides its steps
AWAY_DAYS = 10.0  # shorter time away is not marked
MOST_BREAKS = 3  # marked, a worker: the longest


@dataclass(frozen=True)
class PracticePath:
    """One operation's practice; seconds are per piece, rows of one worker in order of practice.

    points    worker, pieces_made, seconds, laps (means of neighbouring laps, odd ones left out)
    curve     worker, pieces_made, seconds, low, high: the fitted mean, the usual share of restarts
              in it, and its 95 % band; it steps up where a break took practice away
    plateaus  worker, seconds; only where the laps show one
    breaks    worker, pieces_made, days_away (>= AWAY_DAYS, the longest MOST_BREAKS)
    """

    points: pd.DataFrame
    curve: pd.DataFrame
    plateaus: pd.DataFrame
    breaks: pd.DataFrame

    def of(self, worker: str) -> PracticePath:
        """The path of one worker alone; of all where `worker` is blank."""
        if not worker:
            return self
        tables = (self.points, self.curve, self.plateaus, self.breaks)
        return PracticePath(*(table[table["worker"] == worker] for table in tables))


def practice_path(
    points: pd.DataFrame,
    laps: pd.DataFrame,
    learning: LearningResult,
    product: str,
    operation: str,
) -> PracticePath:
    """The path of every worker who did `operation` of `product`, in seconds per piece.

    points: `learning_points` of the same laps; laps: those that `learning` was made from. Frames
    without rows where nobody did it.
    """
    seen = points[_is(points, product, operation) & ~points["ahead"].astype(bool)]
    seen = seen.rename(columns={"piece": "pieces_made"})
    observed = seen.rename(columns={"observed_seconds": "seconds"})
    cells = learning.cells[_is(learning.cells, product, operation)]
    plateaus = cells[cells["plateau_identifiable"].astype(bool)]
    plateaus = plateaus.rename(columns={"plateau_seconds": "seconds"})
    return PracticePath(
        observed[["worker", "pieces_made", "seconds", "laps"]].reset_index(drop=True),
        _curve(learning, cells),
        plateaus[["worker", "seconds"]].reset_index(drop=True),
        _breaks(laps, learning, cells),
    )


def _is(frame: pd.DataFrame, product: str, operation: str) -> pd.Series:
    return (frame["product"] == product) & (frame["operation"] == operation)


def _curve(learning: LearningResult, cells: pd.DataFrame) -> pd.DataFrame:
    """The fitted mean at some of the laps' own experience, which time away has taken down.

    mean = exp(log mean of the piece) x usual restarts, the latter as in the present time;
    band = mean exp(-+ t(.975) se).
    """
    fits = learning.fits
    if fits is None or cells.empty:
        return pd.DataFrame(columns=CURVE_COLUMNS)
    present = np.exp(present_lap(fits).mean)
    usual = learning.cells["present_seconds"].to_numpy(float) / present
    laps = learning.laps[learning.laps["cell"].isin(cells.index)]
    knots = pd.concat([
        own.iloc[_knots(own["pieces_before"].to_numpy(), own["experience"].to_numpy())]
        for _, own in laps.sort_values("pieces_before").groupby("cell")
    ])  # fmt: skip
    cell = knots["cell"].to_numpy(np.int64)
    here = fits.of_cells(cell)
    log = log_lap(here, knots["experience"].to_numpy(float))
    mean, half = usual[cell] * np.exp(log.mean), here.t * np.sqrt(log.variance)
    return pd.DataFrame(
        {
            "worker": cells["worker"].loc[cell].to_numpy(),
            "pieces_made": knots["pieces_before"].to_numpy() + 1,
            "seconds": mean,
            "low": mean * np.exp(-half),
            "high": mean * np.exp(half),
        }
    )


def _knots(before: np.ndarray, experience: np.ndarray) -> np.ndarray:
    """Places of the laps to draw the line through: close at first, where it is steep, and on both
    sides of every loss of practice."""
    wanted = before[-1] * np.linspace(0, 1, KNOTS) ** 2
    spread = np.minimum(np.searchsorted(before, wanted), len(before) - 1)
    lost = np.diff(experience - before) < -0.5
    steps = np.flatnonzero(lost)
    return np.unique(np.concatenate([spread, steps, steps + 1]))


def _breaks(laps: pd.DataFrame, learning: LearningResult, cells: pd.DataFrame) -> pd.DataFrame:
    """The longest stretches of AWAY_DAYS or more between the end of a lap and the next start."""
    here = learning.laps["cell"].isin(cells.index).to_numpy()
    own = laps.loc[here, ["started_at", "seconds"]].join(
        learning.laps.loc[here, ["cell", "pieces_before"]]
    )
    own = own.sort_values(["cell", "started_at"], kind="stable")
    end = own["started_at"] + pd.to_timedelta(own["seconds"], unit="s")
    days = (own["started_at"] - end.groupby(own["cell"]).shift()).dt.total_seconds() / 86400
    away = own.assign(days_away=days)[(days >= AWAY_DAYS).to_numpy()]
    away = away.sort_values("days_away", ascending=False).groupby("cell").head(MOST_BREAKS)
    away = away.sort_values(["cell", "pieces_before"])
    worker = cells["worker"].reindex(away["cell"].astype(np.int64)).to_numpy()
    return pd.DataFrame(
        {
            "worker": worker,
            "pieces_made": away["pieces_before"].to_numpy(float),
            "days_away": away["days_away"].to_numpy(float),
        }
    )
