"""Weekly output, and whether a week is news or only an ordinary week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.frames import Values

D2_OF_TWO = 1.128  # mean range of two normal values, in sd; NIST/SEMATECH e-Handbook 6.3.2.2
ROUNDING = 1e-9  # of a value: far below any difference that counts, far above that of a mean
COLUMNS = (
    "week_start",
    "good_units",
    "bench_hours",
    "good_units_per_bench_hour",
    "centre",
    "lower",
    "upper",
    "news",
)
FEWEST_WEEKS = 5  # fewer values give no limits worth drawing; common practice, no source


@dataclass(frozen=True)
class IndividualsChart:
    """Centre line and control limits of single values in time order."""

    centre: float
    lower: float
    upper: float


def individuals_chart(values: Sequence[float] | Values) -> IndividualsChart:
    """Individuals and moving range (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2).

    centre = mean x;  limits = centre -+ 3 MR / 1.128,  MR the mean of |x_i - x_(i-1)|. In the
    unit of the values, which stand in time order; NaN limits of fewer than two, all NaN of none.
    Values all alike lie within their limits, whatever their mean was rounded to.
    """
    values = np.asarray(values, float)
    centre = values.mean() if len(values) else np.nan
    moving = np.abs(np.diff(values)).mean() if len(values) > 1 else np.nan
    half = np.maximum(3 * moving / D2_OF_TWO, ROUNDING * np.abs(centre))
    return IndividualsChart(centre, centre - half, centre + half)


def week_starts(started_at: pd.Series, timezone: str) -> pd.Series:
    """The Monday, as a plain date, of the week each time falls in by the shop's clock."""
    day = started_at.dt.tz_convert(timezone).dt.tz_localize(None).dt.normalize()
    return day - pd.to_timedelta(day.dt.day_of_week, unit="D")


def weeks(laps: pd.DataFrame, good_units: np.ndarray, timezone: str) -> pd.DataFrame:
    """One row a week from the first to the last, empty ones listed (COLUMNS).

    good_units: per lap, the good pieces it finished. bench_hours is all logged time. Limits are
    for good_units_per_bench_hour over the weeks worked, and only from FEWEST_WEEKS on.
    """
    start = week_starts(laps["started_at"], timezone)
    totals = pd.DataFrame({
        "good_units": np.asarray(good_units, float), "bench_hours": laps["seconds"] / 3600,
    }).groupby(start.to_numpy()).sum()  # fmt: skip
    if len(totals):
        totals = totals.reindex(pd.date_range(totals.index[0], totals.index[-1], freq="7D"))
    table = totals.fillna(0.0).rename_axis("week_start").reset_index()
    table["good_units"] = table["good_units"].astype("int64")
    worked = table["bench_hours"] > 0
    table["good_units_per_bench_hour"] = table["good_units"] / table["bench_hours"].where(worked)
    return _with_limits(table, worked)[list(COLUMNS)]


def _with_limits(table: pd.DataFrame, worked: pd.Series) -> pd.DataFrame:
    values = table["good_units_per_bench_hour"]
    told = worked.sum() >= FEWEST_WEEKS
    chart = individuals_chart(values[worked] if told else [])
    lower = max(chart.lower, 0.0)  # nobody makes less than nothing
    table = table.assign(centre=chart.centre, lower=lower, upper=chart.upper)
    table["news"] = np.select([values > chart.upper, values < chart.lower], ["above", "below"], "")
    return table


def week_products(laps: pd.DataFrame, good_units: np.ndarray, timezone: str) -> pd.DataFrame:
    """week_start, product, variant, good_units of the laps that finished pieces."""
    finishing = np.asarray(good_units) != 0
    made = laps[["product", "variant"]][finishing].astype(str)
    made.insert(0, "week_start", week_starts(laps["started_at"][finishing], timezone))
    made["good_units"] = np.asarray(good_units)[finishing].astype("int64")
    keys = ["week_start", "product", "variant"]
    return made.groupby(keys, sort=True)["good_units"].sum().reset_index()
