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


def change_seconds(cells: pd.DataFrame, otherwise: float = 30.0) -> float:
    """What a change of task costs: the extra seconds of the first pieces after it, on average.

    The k-th piece after a start takes exp(r 2^-(k-1)) times as long (r the restart effect of the
    fitted curves), so a change costs sum over k of (exp(r 2^-(k-1)) - 1) pieces; the median over
    the operations whose effect is known. `otherwise`: where none is (common practice, no source).
    """
    known = cells[np.isfinite(cells["restart_effect"].to_numpy(float))]
    known = known[np.isfinite(known["present_seconds"].to_numpy(float))]
    if not len(known):
        return otherwise
    effect = known["restart_effect"].to_numpy(float)[:, None]
    pieces = np.expm1(effect * 0.5 ** np.arange(12)).sum(axis=1)
    return float(max(np.median(pieces * known["present_seconds"].to_numpy(float)), 0.0))
