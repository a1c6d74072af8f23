"""Yields by product, variant, worker and week, each beside what its own mix of work would give.

Operations differ in how often they fail, so whoever sews has more faults than whoever wraps. Each
row therefore has the faults expected of the same pieces at the shop's mean rates (indirect
standardisation, as in a standardised ratio): against_expected = faults / expected_faults.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.study.quality import KEYS, likeness, passes, wilson
from analysis.study.rates import cell_codes, clusters, is_regular
from analysis.study.weeks import week_starts

COLUMNS = (
    "units", "faults", "first_pass_yield", "first_pass_yield_low", "first_pass_yield_high",
    "likeness", "expected_faults", "against_expected", "against_low", "against_high",
)  # fmt: skip
NOT_KNOWN = ""  # the worker of a fault that cannot be traced


def yields(laps: pd.DataFrame, by: list[str], timezone: str) -> pd.DataFrame:
    """First-pass yield of the pieces that passed, by columns of the laps, or `week_start`.

    Frame of `by` and COLUMNS. Faults count where they were found: for who made them ask
    `worker_yields`. The interval is Wilson's, widened for the likeness of pieces of one batch.
    """
    regular = laps[is_regular(laps)]
    if "week_start" in by:
        regular = regular.assign(week_start=week_starts(regular["started_at"], timezone))
    table = passes(regular, by, timezone)
    table["faults"] = table["rework_units"] + table["scrap_units"]
    faults = (regular["rework_units"] + regular["scrap_units"]).to_numpy(float)
    expected = _expected(regular, faults, *_rows_of(regular, KEYS))
    cell = cell_codes(regular, by, table)
    table["expected_faults"] = np.bincount(cell, expected, len(table))
    return _against(table)[[*by, *COLUMNS]]


def worker_yields(laps: pd.DataFrame, timezone: str) -> pd.DataFrame:
    """Yield by worker, product and operation (COLUMNS), faults charged to who made them.

    A fault with a cause_operation is shared out among those who did that operation in the same
    batch, by their pieces; where nobody can be named the worker is NOT_KNOWN and there are no
    units. The expected faults are the shop's mean for the operation, by all who do it.
    """
    regular = laps[is_regular(laps)]
    keys = [*KEYS, "worker"]
    units = regular.groupby(keys, observed=True, sort=True)["units"].sum().reset_index()
    units[keys] = units[keys].astype(str)
    made = charged_faults(regular, timezone)
    table = units.merge(made.groupby(keys, as_index=False)["faults"].sum(), on=keys, how="outer")
    table = table.fillna({"units": 0.0, "faults": 0.0}).sort_values(keys, ignore_index=True)
    table["likeness"] = _made_likeness(regular, made, table, keys, timezone)
    faults = np.minimum(table["faults"], table["units"])
    table["first_pass_yield"] = 1 - faults / table["units"].where(table["units"] > 0)
    bounds = wilson(table["units"] - faults, table["units"], table["likeness"])
    table["first_pass_yield_low"], table["first_pass_yield_high"] = bounds
    both = table.groupby(KEYS)[["faults", "units"]].transform("sum")
    table["expected_faults"] = table["units"] * (both["faults"] / both["units"])
    return _against(table)[[*keys, *COLUMNS]]


def charged_faults(regular: pd.DataFrame, timezone: str) -> pd.DataFrame:
    """Faults (pieces) by who made them, one row a charge.

    product, operation (that made them), worker, cluster (number of the batch), faults.
    """
    faulty = (regular["rework_units"] + regular["scrap_units"]).to_numpy() > 0
    cluster = clusters(regular, timezone)
    rows = regular.loc[faulty, [*KEYS, "worker", "cause_operation"]].astype(str)
    rows = rows.assign(
        cluster=cluster[faulty], faults=(regular["rework_units"] + regular["scrap_units"])[faulty]
    )
    elsewhere = (rows["cause_operation"] != "") & (rows["cause_operation"] != rows["operation"])
    own, other = rows[~elsewhere], rows[elsewhere]
    other = other.assign(operation=other["cause_operation"]).drop(columns="worker")
    named = [*KEYS, "cluster"]
    hands = regular[[*KEYS, "worker"]].astype(str).assign(cluster=cluster, units=regular["units"])
    hands = hands.groupby([*named, "worker"], as_index=False)["units"].sum()
    hands["share"] = hands["units"] / hands.groupby(named)["units"].transform("sum")
    traced = other.merge(hands[[*named, "worker", "share"]], on=named, how="left")
    traced["faults"] = traced["faults"] * traced["share"].fillna(1.0)
    traced["worker"] = traced["worker"].fillna(NOT_KNOWN)
    columns = [*KEYS, "worker", "cluster", "faults"]
    return pd.concat([own[columns], traced[columns]], ignore_index=True)


def _made_likeness(
    regular: pd.DataFrame, made: pd.DataFrame, table: pd.DataFrame, keys: list[str], timezone: str
) -> np.ndarray:
    """Design effect of the charged faults between batches, as `quality.likeness`.

    Never below that of the operation over all who do it: one person's few batches tell little of
    how alike the pieces of a batch are.
    """
    own = _design_effect(regular, made, table, keys, timezone)
    operations = table[KEYS].drop_duplicates()
    shared = _design_effect(regular, made, operations, KEYS, timezone)
    return np.maximum(own, shared[cell_codes(table, KEYS, operations)])


def _design_effect(
    regular: pd.DataFrame, made: pd.DataFrame, table: pd.DataFrame, keys: list[str], timezone: str
) -> np.ndarray:
    at, charged = cell_codes(regular, keys, table), cell_codes(made, keys, table)
    cell = np.concatenate([at, charged])
    hits = np.concatenate([np.zeros(len(at)), made["faults"].to_numpy(float)])
    pieces = np.concatenate([regular["units"].to_numpy(float), np.zeros(len(charged))])
    batch = np.concatenate([clusters(regular, timezone), made["cluster"].to_numpy("int64")])
    return likeness(hits, pieces, cell, batch, len(table))


def _rows_of(regular: pd.DataFrame, keys: list[str]) -> tuple[np.ndarray, int]:
    """A code 0 … per lap for its combination of categories, and how many there are."""
    code = regular.groupby(keys, observed=True, sort=True).ngroup().to_numpy()
    return code, int(code.max(initial=-1)) + 1


def _expected(
    regular: pd.DataFrame, faults: np.ndarray, cell: np.ndarray, cells: int
) -> np.ndarray:
    """Per lap, the faults expected at the mean rate of its product and operation."""
    units = regular["units"].to_numpy(float)
    rate = np.bincount(cell, faults, cells) / np.bincount(cell, units, cells)
    return units * rate[cell]


def _against(table: pd.DataFrame) -> pd.DataFrame:
    """Faults, and the ends of their interval, over the faults expected; NaN where none are."""
    expected = table["expected_faults"].where(table["expected_faults"] > 0)
    return table.assign(
        against_expected=table["faults"] / expected,
        against_low=(1 - table["first_pass_yield_high"]) * table["units"] / expected,
        against_high=(1 - table["first_pass_yield_low"]) * table["units"] / expected,
    )
