"""Time study: observed, normal and standard time per piece, and how many laps would be enough.

Terms and formulas after ILO, Introduction to Work Study: a piece's observed time, times the
rating, is its normal (basic) time; with the allowances added it is the standard time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.records.shop import Allowance
from analysis.study.frames import Number, Values
from analysis.study.rates import FEWEST_CLUSTERS, Z95, cell_codes, clusters, is_regular, ratio

SIGNIFICANCE = 0.05
PRECISION = 0.05  # laps needed: the mean known to 5 %, 95 times in 100
COLUMNS = (
    "product", "operation", "laps", "units", "observed_seconds", "observed_low", "observed_high",
    "normal_seconds", "normal_low", "normal_high", "standard_seconds", "standard_low",
    "standard_high", "laps_needed", "laps_needed_ilo", "laps_worth", "share_of_bench_time",
    "laps_set_aside", "observed_with_all_seconds", "still_falling",
)  # fmt: skip
KEYS = ["product", "operation"]


def standard_seconds(
    normal_seconds: float | Values, percent: Number, convention: str
) -> float | Values:
    """Standard time of a normal time, both in seconds.

    "of normal time": normal (1 + A);  "of working day": normal / (1 - A);  A = percent / 100.
    """
    share = percent / 100
    if convention == "of working day":
        return normal_seconds / (1 - share)
    return normal_seconds * (1 + share)


def allowance_percent(allowance: Allowance) -> float:
    """Personal, fatigue and contingency allowance together, in percent."""
    return allowance.personal_percent + allowance.fatigue_percent + allowance.contingency_percent


def laps_needed(mean: Values, sd: Values, precision: float = PRECISION) -> np.ndarray:
    """The smallest n with t(.975, n - 1) sd / sqrt(n) <= precision x mean, for arrays.

    NaN where the scatter is not known. The t form holds for few laps, where the normal one is
    too sure of itself.
    """
    from scipy.special import stdtrit  # imported where used: scipy is slow to import

    mean, sd = np.atleast_1d(np.asarray(mean, float)), np.atleast_1d(np.asarray(sd, float))
    with np.errstate(invalid="ignore", divide="ignore"):
        wanted = precision * mean / sd
        least = np.maximum(np.floor((Z95 / wanted) ** 2), 2)
    # t exceeds z by so little that the answer lies within a dozen laps of the normal form.
    n = least[:, None] + np.arange(13)
    with np.errstate(invalid="ignore"):
        reached = stdtrit(n - 1, 0.975) / np.sqrt(n) <= wanted[:, None]
    found = n[np.arange(len(n)), reached.argmax(axis=1)]
    return np.where(sd == 0, 2.0, np.where(np.isfinite(wanted), found, np.nan))


def laps_needed_ilo(
    laps: Number, total: Number, squares: Number, precision: float = PRECISION
) -> Number:
    """Number of observations for 95.45 % confidence (ILO, Introduction to Work Study).

    n = (2/p sqrt(n' sum x^2 - (sum x)^2) / sum x)^2,  n' the readings taken, x their seconds per
    piece, p the precision; 2/p is the 40 of the formula for +-5 %. laps: n'; total: sum x, in
    seconds; squares: sum x^2; arrays of one for each operation, or single figures. Not rounded.
    """
    return np.maximum((2 / precision) ** 2 * (laps * squares / total**2 - 1), 0)


def observed(laps: pd.DataFrame, used: np.ndarray, timezone: str) -> pd.DataFrame:
    """Unit-weighted mean seconds per piece by product and operation, and how sure it is.

    laps: all laps; used: mask of those averaged. Columns product, operation, laps, units,
    observed_seconds, observed_low, observed_high, sd (of a lap of average size), laps_worth.
    The interval is the t interval of the weighted mean; where laps of one batch are alike, that
    of the batches.
    """
    regular = laps[is_regular(laps)]
    table = _operations(regular)
    taken = laps[is_regular(laps) & used]
    cell = cell_codes(taken, KEYS, table)
    seconds, units = taken["seconds"].to_numpy(float), taken["units"].to_numpy(float)
    table["laps"] = np.bincount(cell, minlength=len(table))
    table["units"] = np.bincount(cell, units, len(table)).astype("int64")
    between = ratio(seconds, units, cell, clusters(taken, timezone), len(table))
    table["observed_seconds"] = between["value"]
    table["sd"] = _lap_sd(table, seconds, units, cell)
    return _with_interval(table, between)


def _operations(regular: pd.DataFrame) -> pd.DataFrame:
    pairs = regular[KEYS].drop_duplicates().astype(str)
    return pairs.sort_values(KEYS, ignore_index=True)


def _lap_sd(
    table: pd.DataFrame, seconds: np.ndarray, units: np.ndarray, cell: np.ndarray
) -> np.ndarray:
    """sd of seconds per piece of a lap of average size: s^2 = sum (u/U)(x - mean)^2 / (n - 1)."""
    away = seconds / units - table["observed_seconds"].to_numpy()[cell]
    squares = np.bincount(cell, units * away**2, len(table))
    laps, pieces = table["laps"].to_numpy(), table["units"].to_numpy()
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(laps > 1, np.sqrt(squares * laps / pieces / (laps - 1)), np.nan)


def _with_interval(table: pd.DataFrame, between: pd.DataFrame) -> pd.DataFrame:
    """The t interval of the mean; between batches where these differ more than chance allows.

    Chance: (se between batches / se of single laps)^2 against F(m - 1, n - 1). `laps_worth` is
    the number of independent laps that would tell as much.
    """
    from scipy.special import fdtrc, stdtrit  # imported where used: scipy is slow to import

    laps, batches = table["laps"].to_numpy(float), between["clusters"].to_numpy(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        se = table["sd"].to_numpy() / np.sqrt(laps)
        likeness = (between["se"].to_numpy() / se) ** 2
        chance = fdtrc(np.maximum(batches - 1, 1), np.maximum(laps - 1, 1), likeness)
        alike = (batches >= FEWEST_CLUSTERS) & (chance < SIGNIFICANCE)
        freedom = np.where(alike, batches, laps) - 1
        half = stdtrit(freedom, 0.975) * np.where(alike, between["se"], se)
    mean = table["observed_seconds"]
    return table.assign(
        observed_low=np.maximum(mean - half, 0),
        observed_high=mean + half,
        laps_worth=laps / np.where(alike, likeness, 1.0),
    )


def present_cells(laps: pd.DataFrame, used: np.ndarray, cells: pd.DataFrame) -> pd.DataFrame:
    """Per worker, product and operation: seconds per piece at the present level of practice.

    cells: the learning frame. Columns product, operation, worker, pieces_made, seconds, se_log,
    loss_error (of it, what the worker's retention makes: signed, the same doubt in all the worker's
    rows), rating (time-weighted, 1 = 100 %), normal_seconds, still_falling.
    """
    keys = ["product", "operation", "worker"]
    table = cells[[*keys, "pieces_made"]].astype(dict.fromkeys(keys, "str"))
    taken = laps[is_regular(laps) & used]
    cell = cell_codes(taken, keys, table)
    taken, cell = taken[cell >= 0], cell[cell >= 0]
    seconds = taken["seconds"].to_numpy(float)
    rated = np.bincount(cell, seconds * taken["rating"].to_numpy(float) / 100, len(table))
    spent = np.bincount(cell, seconds, len(table))
    with np.errstate(invalid="ignore", divide="ignore"):
        table["rating"] = np.where(spent > 0, rated / spent, 1.0)
    table["seconds"] = cells["present_seconds"]
    table["se_log"] = np.log(cells["present_high"] / cells["present_low"]) / (2 * Z95)
    table["loss_error"] = cells["present_loss_error"]
    table["normal_seconds"] = table["seconds"] * table["rating"]
    table["still_falling"] = ~(cells["curve"] == "constant").to_numpy()
    return table


def time_study(
    laps: pd.DataFrame,
    suspicious: np.ndarray,
    cells: pd.DataFrame,
    allowance: Allowance,
    timezone: str,
) -> pd.DataFrame:
    """Observed, normal and standard time by product and operation (COLUMNS).

    normal and standard time are those of the present level of practice, workers weighted by the
    pieces they made; observed_seconds is the mean of all laps used.
    """
    table = observed(laps, ~suspicious, timezone)
    with_all = observed(laps, np.ones(len(laps), bool), timezone)
    table["observed_with_all_seconds"] = with_all["observed_seconds"]
    table["laps_set_aside"] = with_all["laps"] - table["laps"]
    present = present_cells(laps, ~suspicious, cells)
    table = table.merge(normal_by_operation(present), on=KEYS, how="left")
    percent = allowance_percent(allowance)
    for end in ("seconds", "low", "high"):
        table[f"standard_{end}"] = standard_seconds(
            table[f"normal_{end}"], percent, allowance.convention
        )
    table["laps_needed"] = laps_needed(table["observed_seconds"], table["sd"])
    table["laps_needed_ilo"] = _ilo_by_operation(laps, ~suspicious, table)
    table["share_of_bench_time"] = _shares(laps, table)
    return table[list(COLUMNS)]


def normal_by_operation(present: pd.DataFrame) -> pd.DataFrame:
    """product, operation, normal_seconds, normal_low, normal_high, se_log, still_falling.

    Workers weighted by the pieces they made; the errors of their times taken as independent.
    """
    weight = present["pieces_made"].astype(float)
    part = weight * present["normal_seconds"]
    sums = pd.DataFrame({
        "product": present["product"], "operation": present["operation"], "weight": weight,
        "part": part, "square": (part * present["se_log"]) ** 2,
        "still_falling": present["still_falling"],
    }).groupby(KEYS, sort=True)  # fmt: skip
    sums = (
        sums[["weight", "part", "square"]]
        .sum(skipna=False)
        .assign(still_falling=sums["still_falling"].any())
        .reset_index()
    )
    sums["normal_seconds"] = sums["part"] / sums["weight"]
    sums["se_log"] = np.sqrt(sums["square"]) / sums["part"]
    sums["normal_low"] = sums["normal_seconds"] * np.exp(-Z95 * sums["se_log"])
    sums["normal_high"] = sums["normal_seconds"] * np.exp(Z95 * sums["se_log"])
    return sums.drop(columns=["weight", "part", "square"])


def retention_errors(present: pd.DataFrame, table: pd.DataFrame) -> np.ndarray:
    """How each worker's retention moves the log normal time of each operation of `table`:
    operations x workers, for one standard error of that retention.

    By the worker's share of the operation's time, as workers are weighted in it.
    """
    part = (present["pieces_made"] * present["normal_seconds"]).to_numpy(float)
    at = cell_codes(present, KEYS, table)
    names, worker = np.unique(present["worker"].to_numpy(str), return_inverse=True)
    known = (at >= 0) & np.isfinite(part)
    whole = np.bincount(at[known], part[known], len(table))
    errors = np.zeros((len(table), len(names)))
    own = part[known] * present["loss_error"].to_numpy(float)[known]
    np.add.at(errors, (at[known], worker[known]), own / whole[at[known]])
    return errors


def _ilo_by_operation(laps: pd.DataFrame, used: np.ndarray, table: pd.DataFrame) -> np.ndarray:
    """`laps_needed_ilo` of the seconds per piece of each operation's laps, rounded up."""
    taken = laps[is_regular(laps) & used]
    cell = cell_codes(taken, KEYS, table)
    x = taken["seconds"].to_numpy(float) / taken["units"].to_numpy(float)
    n = np.bincount(cell, minlength=len(table))
    total, squares = np.bincount(cell, x, len(table)), np.bincount(cell, x * x, len(table))
    with np.errstate(invalid="ignore", divide="ignore"):
        number = laps_needed_ilo(n, total, squares)
        return np.where(n > 1, np.ceil(number - 1e-9), np.nan)


def _shares(laps: pd.DataFrame, table: pd.DataFrame) -> np.ndarray:
    regular = laps[is_regular(laps)]
    seconds = np.bincount(cell_codes(regular, KEYS, table), regular["seconds"], len(table))
    return seconds / max(laps["seconds"].sum(), 1e-300)


@dataclass(frozen=True)
class DelayRate:
    """Interruptions in percent of the other logged time, and the standard error of that."""

    percent: float
    se: float


def delay_rate(laps: pd.DataFrame, timezone: str) -> DelayRate:
    """The logged rate of interruptions; its error is that between days."""
    delayed = (laps["activity"] == "delay").to_numpy()
    seconds = laps["seconds"].to_numpy(float)
    day = laps["started_at"].dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
    days = np.unique(day.to_numpy(), return_inverse=True)[1]
    whole = np.zeros(len(laps), int)
    rate = ratio(seconds * delayed, seconds * ~delayed, whole, days, 1).iloc[0]
    known = np.isfinite(rate["value"])
    return DelayRate(
        100 * rate["value"] if known else 0.0,
        100 * rate["se"] if known and np.isfinite(rate["se"]) else 0.0,
    )


def delays(laps: pd.DataFrame, timezone: str) -> pd.DataFrame:
    """Interruptions by cause, longest first: cause, times, seconds, share_of_bench_time, share_low,
    share_high.

    They are the foreign element: counted apart, never averaged into a piece's time. The range of
    the share r = sum y / sum x over days d = 1 … m, y_d a cause's seconds and x_d all of them, is
    r -+ t(.975, m - 1) sqrt(m / (m - 1) sum (y_d - r x_d)^2) / sum x (Cochran, Sampling
    Techniques, 1977); NaN below three days.
    """
    delayed = laps[(laps["activity"] == "delay").to_numpy()]
    table = delayed.groupby(delayed["cause"].astype(str))["seconds"].agg(["size", "sum"])
    table = table.rename(columns={"size": "times", "sum": "seconds"}).rename_axis("cause")
    table = table.sort_values("seconds", ascending=False, kind="stable").reset_index()
    total = laps["seconds"].sum()
    table["share_of_bench_time"] = table["seconds"] / (total or 1)
    half = _share_error(laps, delayed, table, timezone)
    low, high = table["share_of_bench_time"] - half, table["share_of_bench_time"] + half
    return table.assign(share_low=low.clip(lower=0), share_high=high.clip(upper=1))


def _share_error(
    laps: pd.DataFrame, delayed: pd.DataFrame, table: pd.DataFrame, timezone: str
) -> np.ndarray:
    """Half the width of the range of each cause's share of the time, between days."""
    from scipy.special import stdtrit

    day = laps["started_at"].dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
    whole = laps["seconds"].groupby(day).sum()
    days = len(whole)
    if days < 3:
        return np.full(len(table), np.nan)
    causes = delayed["cause"].astype(str)
    by_day = delayed["seconds"].groupby([day[delayed.index], causes]).sum().unstack(fill_value=0.0)
    by_day = by_day.reindex(index=whole.index, columns=table["cause"], fill_value=0.0)
    away = by_day.to_numpy() - np.outer(whole, table["share_of_bench_time"])
    error = np.sqrt(days / (days - 1) * (away**2).sum(axis=0)) / whole.sum()
    return stdtrit(days - 1, 0.975) * error
