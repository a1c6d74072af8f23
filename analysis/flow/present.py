"""Present seconds: what a piece takes now, at the level of practice that the laps show."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from analysis.study.learning import fit_learning


def present_seconds(laps: pd.DataFrame) -> dict[tuple[str, str], float]:
    """Seconds per piece by (product, operation), from the fitted curves of checked laps."""
    return present_of(fit_learning(laps).cells)


def present_of(cells: pd.DataFrame, here: Sequence[str] = ()) -> dict[tuple[str, str], float]:
    """Seconds per piece by (product, operation), from the fitted curves' cells.

    Where several people do an operation, their present times weighted by the pieces they have
    made; of those `here`, where any of them has done it. Operations without a fit are left out:
    the planned seconds stand.
    """
    return {
        key: float(np.average(rows["present_seconds"], weights=_weight(rows)))
        for key, rows in _cells_by_operation(cells, here)
    }


def attended_range(
    cells: pd.DataFrame, pieces: Mapping[tuple[str, str], int], here: Sequence[str] = ()
) -> float:
    """How far the attended seconds of so many pieces by (product, operation) may be off.

    Half the width of the 95 % interval of each present time x pieces, added as independent errors:
    sqrt(sum of squares). What may interrupt the work is not in it.
    """
    squares = 0.0
    for key, rows in _cells_by_operation(cells, here):
        half = (rows["present_high"] - rows["present_low"]).to_numpy(float) / 2
        share = _weight(rows) / _weight(rows).sum()
        squares += float(np.nansum((share * half) ** 2)) * pieces.get(key, 0) ** 2
    return float(np.sqrt(squares))


def _cells_by_operation(
    cells: pd.DataFrame, here: Sequence[str]
) -> Iterator[tuple[tuple[str, str], pd.DataFrame]]:
    """((product, operation), its cells): of those here, or of all where none of them has any."""
    cells = cells[np.isfinite(cells["present_seconds"].to_numpy(float))]
    for (product, operation), rows in cells.groupby(["product", "operation"], observed=True):
        own = rows[rows["worker"].astype(str).isin(here)]
        yield (str(product), str(operation)), (own if len(own) else rows)


def _weight(rows: pd.DataFrame) -> np.ndarray:
    return np.maximum(rows["pieces_made"].to_numpy(float), 1.0)


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
