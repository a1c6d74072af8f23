"""Quality: how many pieces are right first time, how many are lost, what mending takes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.study.frames import Values
from analysis.study.rates import (
    FEWEST_CLUSTERS,
    Z95,
    cell_codes,
    clusters,
    is_activity,
    is_regular,
    ratio,
)

COLUMNS = (
    "product", "operation", "laps", "batches", "units", "rework_units", "scrap_units",
    "lost_units", "first_pass_yield",
    "first_pass_yield_low", "first_pass_yield_high", "likeness", "scrap_rate", "scrap_rate_low",
    "scrap_rate_high", "scrap_likeness", "rework_seconds", "rework_seconds_per_unit",
)  # fmt: skip
KEYS = ["product", "operation"]
COUNTS = ("units", "rework_units", "scrap_units")
ROLLED_COLUMNS = ("product", "rolled_throughput_yield", "rolled_low", "rolled_high", "good_share")
CAUSE_COLUMNS = (
    "product",
    "operation",
    "cause_operation",
    "cause",
    "rework_units",
    "scrap_units",
    "rework_seconds",
)


def wilson(
    successes: Values, trials: Values, likeness: float | Values = 1.0, z: float = Z95
) -> tuple[Values, Values]:
    """Wilson's score interval (low, high) of a share, for arrays (Wilson 1927).

    With p = successes / trials and n = trials / likeness:
        (p + z^2 / 2n -+ z sqrt(p (1-p) / n + z^2 / 4n^2)) / (1 + z^2 / n)
    `likeness` >= 1 is the design effect: how much wider the variance is than that of as many
    independent pieces (Kish 1965). NaN without trials.
    """
    trials = np.asarray(trials, float)
    with np.errstate(invalid="ignore", divide="ignore"):
        p, n = np.asarray(successes, float) / trials, trials / likeness
        centre = p + z * z / (2 * n)
        half = z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
        low, high = (centre - half) / (1 + z * z / n), (centre + half) / (1 + z * z / n)
    # At p = 0 and p = 1 the bound is 0 or 1 exactly; rounding must not move it past p.
    return np.clip(np.minimum(low, p), 0, 1), np.clip(np.maximum(high, p), 0, 1)


def quality(laps: pd.DataFrame, timezone: str) -> pd.DataFrame:
    """First-pass yield, scrap rate and mending time by product and operation (COLUMNS).

    first-pass yield = (units - rework_units - scrap_units) / units over operation and inspection
    laps; scrap rate = lost_units / units, pieces lost in mending included; rework_seconds_per_unit
    = seconds of the rework laps at the operation / units. An operation whose only laps are
    mending has 0 units, its rates NaN.
    """
    table = _with_only_mended(passes(laps[is_regular(laps)], KEYS, timezone), laps)
    table = _with_mending(_with_losses(table, laps, timezone), laps)
    return table[list(COLUMNS)]


def _with_only_mended(table: pd.DataFrame, laps: pd.DataFrame) -> pd.DataFrame:
    """The table, and a row of no pieces for each operation that has no laps but of mending."""
    rework = laps[is_activity(laps, "rework")]
    only = rework.loc[cell_codes(rework, KEYS, table) < 0, KEYS].astype(str).drop_duplicates()
    if only.empty:
        return table
    nothing = dict.fromkeys((*COUNTS, "laps", "batches"), 0) | {"likeness": 1.0}
    both = pd.concat([table, only.assign(**nothing)], ignore_index=True)
    return both.sort_values(KEYS, kind="stable", ignore_index=True)


def passes(regular: pd.DataFrame, by: list[str], timezone: str) -> pd.DataFrame:
    """Pieces that passed, their faults and the share right first time, by the columns `by`.

    regular: laps of operations and inspections, which are what pieces pass. Adds laps, units,
    rework_units, scrap_units, first_pass_yield with its interval, likeness, batches.
    """
    table = regular.groupby(by, observed=True, sort=True)[list(COUNTS)].sum().reset_index()
    named = [key for key in by if isinstance(regular[key].dtype, pd.CategoricalDtype)]
    table[named] = table[named].astype(str)
    cell = cell_codes(regular, by, table)
    table["laps"] = np.bincount(cell, minlength=len(table))
    units = regular["units"].to_numpy(float)
    faults = (regular["rework_units"] + regular["scrap_units"]).to_numpy(float)
    batch = clusters(regular, timezone)
    table["batches"] = ratio(faults, units, cell, batch, len(table))["clusters"]
    table["likeness"] = likeness(faults, units, cell, batch, len(table))
    right = table["units"] - table["rework_units"] - table["scrap_units"]
    table["first_pass_yield"] = right / table["units"]
    bounds = wilson(right, table["units"], table["likeness"])
    table["first_pass_yield_low"], table["first_pass_yield_high"] = bounds
    return table


def _with_losses(table: pd.DataFrame, laps: pd.DataFrame, timezone: str) -> pd.DataFrame:
    may_lose = laps[is_regular(laps) | is_activity(laps, "rework")]
    cell = cell_codes(may_lose, KEYS, table)
    may_lose, cell = may_lose[cell >= 0], cell[cell >= 0]
    pieces = np.where(is_regular(may_lose), may_lose["units"], 0.0)
    scrap = may_lose["scrap_units"].to_numpy(float)
    alike = likeness(scrap, pieces, cell, clusters(may_lose, timezone), len(table))
    # More may be logged as lost in mending than was made; no more than all can be gone.
    lost = np.minimum(np.bincount(cell, scrap, len(table)), table["units"]).astype("int64")
    low, high = wilson(lost, table["units"], alike)
    return table.assign(
        lost_units=lost, scrap_rate=lost / table["units"], scrap_rate_low=low,
        scrap_rate_high=high, scrap_likeness=alike,
    )  # fmt: skip


def _with_mending(table: pd.DataFrame, laps: pd.DataFrame) -> pd.DataFrame:
    rework = laps[is_activity(laps, "rework")]
    place = cell_codes(rework, KEYS, table)
    seconds = np.bincount(place[place >= 0], rework["seconds"][place >= 0], len(table))
    per_unit = seconds / table["units"].where(table["units"] > 0)
    return table.assign(rework_seconds=seconds, rework_seconds_per_unit=per_unit)


def likeness(
    hits: np.ndarray, units: np.ndarray, cell: np.ndarray, cluster: np.ndarray, cells: int
) -> np.ndarray:
    """Design effect of a share per cell: variance between batches over the binomial one, >= 1.

    1 where fewer than FEWEST_CLUSTERS batches, or none or all of the pieces, were hit: the
    scatter between batches then says nothing.
    """
    rate = ratio(hits, units, cell, cluster, cells)
    pieces = np.bincount(cell, units, cells)
    with np.errstate(invalid="ignore", divide="ignore"):
        binomial = rate["value"] * (1 - rate["value"]) / pieces
        effect = rate["se"] ** 2 / binomial
    told = (rate["clusters"] >= FEWEST_CLUSTERS) & (binomial > 0)
    return np.where(told, np.maximum(effect, 1.0), 1.0)


def share_draws(
    hits: Values, trials: Values, effect: Values, draws: int, rng: np.random.Generator
) -> np.ndarray:
    """Draws (draws x cells) of a share from its posterior, likeness allowed for.

    Beta(hits / effect + 1/3, (trials - hits) / effect + 1/3): the neutral prior (Kerman 2011),
    whose median is the observed share, so that many operations without a fault do not add up to
    faults nobody saw. Zero trials give zeros.
    """
    hits, trials = np.asarray(hits, float), np.asarray(trials, float)
    drawn = rng.beta(hits / effect + 1 / 3, (trials - hits) / effect + 1 / 3, (draws, len(hits)))
    return np.where(trials > 0, drawn, 0.0)


def rolled_yield(
    quality: pd.DataFrame, content: pd.DataFrame, rng: np.random.Generator, draws: int = 1000
) -> pd.DataFrame:
    """Rolled throughput yield per product: the product of the first-pass yields on its route.

    The share of pieces that pass every operation first time, faults of different operations taken
    as independent (ASQ; trade). Variants with routes of their own are weighed as in `content`
    (product, variant, operation, share). good_share: the product of (1 - scrap rate) likewise.
    Operations no piece is known to have passed count as faultless; products without laps have no
    row.
    """
    quality = quality[quality["units"] > 0]
    first_pass = quality["units"] - quality["rework_units"] - quality["scrap_units"]
    drawn = share_draws(first_pass, quality["units"], quality["likeness"], draws, rng)
    right = _over_routes(quality["first_pass_yield"].to_numpy()[None, :], quality, content)
    good = _over_routes(1 - quality["scrap_rate"].to_numpy()[None, :], quality, content)
    spread = _over_routes(drawn, quality, content)
    rows = []
    for product in quality["product"].unique():
        value = right[product][0]
        low, high = np.quantile(spread[product], [0.025, 0.975])
        rows.append((product, value, min(low, value), max(high, value), good[product][0]))
    return pd.DataFrame(rows, columns=list(ROLLED_COLUMNS))


def _over_routes(rates: np.ndarray, quality: pd.DataFrame, content: pd.DataFrame) -> dict:
    """Per product: the mean over its routes, by share, of the product of rates (n x operations)."""
    at = cell_codes(content, KEYS, quality)
    share = content["share"].to_numpy(float)
    rolled: dict[str, np.ndarray] = {}
    for (product, _), rows in content.groupby(["product", "variant"], sort=False).indices.items():
        passed = rates[:, at[rows][at[rows] >= 0]].prod(axis=1)
        rolled[product] = rolled.get(product, 0.0) + share[rows[0]] * passed
    return rolled


def causes(laps: pd.DataFrame) -> pd.DataFrame:
    """Faults and mending time by where they were found, who made them and why (CAUSE_COLUMNS).

    A blank cause_operation is the operation they were found in. Largest mending time first.
    """
    counted = laps[is_regular(laps) | is_activity(laps, "rework")]
    counted = counted[
        (counted["rework_units"] > 0)
        | (counted["scrap_units"] > 0)
        | is_activity(counted, "rework")
    ]
    keys = ["product", "operation", "cause_operation", "cause"]
    table = counted[keys].astype(str)
    table["cause_operation"] = table["cause_operation"].where(
        table["cause_operation"] != "", table["operation"]
    )
    mended = is_activity(counted, "rework")
    table["rework_units"] = np.where(mended, 0, counted["rework_units"])
    table["scrap_units"] = counted["scrap_units"].to_numpy()
    table["rework_seconds"] = np.where(mended, counted["seconds"], 0.0)
    summed = table.groupby(keys, sort=True).sum().reset_index()
    order = ["rework_seconds", "scrap_units", "rework_units"]
    return summed.sort_values(order, ascending=False, kind="stable", ignore_index=True)[
        list(CAUSE_COLUMNS)
    ]
