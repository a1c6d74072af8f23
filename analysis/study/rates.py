"""Rates over batches: seconds per piece, faults per piece, with the error that batches show.

Pieces of one batch are alike (the same glue, the same mood), so the scatter between batches, not
between pieces, says how sure a rate is.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

REGULAR = ("operation", "inspection")
Z95 = 1.959963984540054  # standard normal quantile .975
FEWEST_CLUSTERS = 6  # below, the scatter between batches says too little; common practice


def is_activity(laps: pd.DataFrame, *activities: str) -> np.ndarray:
    """Mask over laps: those of these activities."""
    return laps["activity"].isin(activities).to_numpy()


def is_regular(laps: pd.DataFrame) -> np.ndarray:
    """Mask of the laps that pieces pass through: operation and inspection."""
    return is_activity(laps, *REGULAR)


def local_days(moments: pd.Series, timezone: str) -> np.ndarray:
    """A whole number per moment (with its zone): one day is the next one's less 1."""
    local = moments.dt.tz_convert(timezone).dt.tz_localize(None).dt.as_unit("s")
    return local.astype("int64").to_numpy() // 86400


def clusters(laps: pd.DataFrame, timezone: str) -> np.ndarray:
    """A code per lap: its batch of its product; the local day where no batch is named."""
    days = local_days(laps["started_at"], timezone)
    batch = laps["batch"].cat.codes.to_numpy().astype("int64")
    unnamed = (laps["batch"] == "").to_numpy()
    product = laps["product"].cat.codes.to_numpy().astype("int64")
    key = np.where(unnamed, days * 2, batch * 2 + 1)
    return codes(key, product)


def ratio(
    top: np.ndarray, bottom: np.ndarray, cell: np.ndarray, cluster: np.ndarray, cells: int
) -> pd.DataFrame:
    """Per cell: sum(top) / sum(bottom), and its standard error between clusters.

    top, bottom, cell (0 … cells-1), cluster: arrays over laps. Frame of `cells` rows with value,
    se, clusters. For clusters c = 1 … m of a cell, with r = sum y / sum x (Cochran, Sampling
    Techniques, 1977, the ratio estimate):
        se = sqrt(m / (m - 1) sum (y_c - r x_c)^2) / sum x,    NaN for m < 2.
    """
    top, bottom = np.asarray(top, float), np.asarray(bottom, float)
    total_top = np.bincount(cell, top, cells)
    total_bottom = np.bincount(cell, bottom, cells)
    pair, first = np.unique(
        np.asarray(cell) * (np.max(cluster, initial=0) + 1) + cluster, return_inverse=True
    )
    y, x = np.bincount(first, top, len(pair)), np.bincount(first, bottom, len(pair))
    pair_cell = (pair // (np.max(cluster, initial=0) + 1)).astype(int)
    with np.errstate(invalid="ignore", divide="ignore"):
        value = total_top / total_bottom
        m = np.bincount(pair_cell, minlength=cells)
        squares = np.bincount(pair_cell, (y - value[pair_cell] * x) ** 2, cells)
        se = np.where(m > 1, np.sqrt(m / (m - 1) * squares) / total_bottom, np.nan)
    return pd.DataFrame({"value": value, "se": se, "clusters": m})


def codes(*keys: np.ndarray) -> np.ndarray:
    """One code 0 … per distinct combination of integer keys, all of one length; over their rows."""
    code = np.zeros(len(keys[0]), "int64")
    for key in keys:
        distinct, inverse = np.unique(key, return_inverse=True)
        code = code * max(len(distinct), 1) + inverse
    return np.unique(code, return_inverse=True)[1]


def cell_codes(frame: pd.DataFrame, keys: list[str], table: pd.DataFrame) -> np.ndarray:
    """The row of `table` (keys unique there) of each row of `frame`; -1 where there is none."""
    if len(table) == 0 or len(frame) == 0:
        return np.full(len(frame), -1)
    row_of = {names: row for row, names in enumerate(_as_text(table, keys))}
    columns = [frame[key].astype("category") for key in keys]
    code = codes(*(column.cat.codes.to_numpy().astype("int64") for column in columns))
    _, first = np.unique(code, return_index=True)
    return np.array([row_of.get(names, -1) for names in _as_text(frame.iloc[first], keys)])[code]


def _as_text(frame: pd.DataFrame, keys: list[str]) -> Iterator[tuple[str, ...]]:
    return zip(*(frame[key].astype(str).tolist() for key in keys), strict=True)
