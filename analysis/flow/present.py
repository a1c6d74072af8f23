"""Present seconds: what a piece takes now, at the level of practice that the laps show."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.study.learning import fit_learning


def present_seconds(laps: pd.DataFrame) -> dict[tuple[str, str], float]:
    """Seconds per piece by (product, operation), from the fitted curves of checked laps.

    Where several people do an operation, their present times weighted by the pieces they have
    made. Operations without a fit are left out: the planned seconds stand.
    """
    cells = fit_learning(laps).cells
    cells = cells[np.isfinite(cells["present_seconds"].to_numpy(float))]
    present: dict[tuple[str, str], float] = {}
    for (product, operation), rows in cells.groupby(["product", "operation"], observed=True):
        weight = np.maximum(rows["pieces_made"].to_numpy(float), 1.0)
        seconds = rows["present_seconds"].to_numpy(float)
        present[str(product), str(operation)] = float((weight * seconds).sum() / weight.sum())
    return present
