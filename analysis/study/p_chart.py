"""The share of faulty pieces week by week: which weeks are news, which only ordinary chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.frames import Values
from analysis.study.rates import is_regular
from analysis.study.weeks import D2_OF_TWO, FEWEST_WEEKS, week_starts

COLUMNS = ("week_start", "units", "faults", "share", "centre", "lower", "upper", "news")


@dataclass(frozen=True)
class PChart:
    """Centre line and control limits of shares, one lower and upper limit a subgroup.

    sigma_z: how much more the shares scatter than independent pieces would (1 = as much), by the
    moving range; corrected: the limits were widened by it.
    """

    centre: float
    sigma_z: float
    corrected: bool
    lower: np.ndarray
    upper: np.ndarray


def p_chart(faults: Values, units: Values) -> PChart:
    """Control limits for the share of faulty pieces in subgroups in time order.

    With p = sum faults / sum units and s_i = sqrt(p (1 - p) / units_i) (NIST/SEMATECH e-Handbook
    of Statistical Methods, 6.3.3.2):
        limits_i = p -+ 3 s_i sigma_z,    cut at 0 and 1,
    sigma_z = mean |z_i - z_(i-1)| / 1.128 of z_i = (p_i - p) / s_i where that is above 1, else 1
    (Laney, Improved control charts for attributes, Quality Engineering 14(4), 2002): pieces of one
    week are alike, and then limits for independent pieces cry wolf. A scatter below that of
    independent pieces is taken for chance and does not narrow the limits. Subgroups without units
    have NaN limits and are stepped over. All NaN where no piece, or every piece, was faulty: the
    scatter of a share of 0 or 1 says nothing.
    """
    faults, units = np.asarray(faults, float), np.asarray(units, float)
    worked = units > 0
    centre = faults.sum() / units.sum() if worked.any() else np.nan
    unknown = np.full(len(units), np.nan)
    if not 0 < centre < 1:
        return PChart(centre, np.nan, False, unknown, unknown.copy())
    error = np.sqrt(centre * (1 - centre) / np.where(worked, units, np.nan))
    z = ((faults / np.where(worked, units, np.nan) - centre) / error)[worked]
    sigma_z = np.abs(np.diff(z)).mean() / D2_OF_TWO if len(z) > 1 else np.nan
    corrected = bool(sigma_z > 1)
    half = 3 * error * (sigma_z if corrected else 1.0)
    return PChart(
        centre, sigma_z, corrected, np.maximum(centre - half, 0), np.minimum(centre + half, 1)
    )


def weekly_faults(
    laps: pd.DataFrame, timezone: str, product: str = ""
) -> tuple[pd.DataFrame, PChart]:
    """One row a week, empty ones listed (COLUMNS), and the chart behind its limits; of one product
    where it is named.

    Without a product all of them are counted together, and nothing allows for their mix: a week
    with more of a product that often fails then stands out by that alone. The mix of operations
    is not allowed for either way.

    units: pieces that passed an operation or an inspection; faults: those of them that needed
    rework or were lost; share of the two is NaN in weeks without pieces. Limits only from
    FEWEST_WEEKS worked weeks on; news is "above", "below" or "".
    """
    regular = laps[is_regular(laps)]
    if product:
        regular = regular[(regular["product"] == product).to_numpy()]
    start = week_starts(regular["started_at"], timezone).to_numpy()
    counts = pd.DataFrame({
        "units": regular["units"], "faults": regular["rework_units"] + regular["scrap_units"],
    }).groupby(start).sum()  # fmt: skip
    if len(counts):
        counts = counts.reindex(pd.date_range(counts.index[0], counts.index[-1], freq="7D"))
    table = counts.fillna(0).astype("int64").rename_axis("week_start").reset_index()
    chart = p_chart(table["faults"], table["units"])
    if (table["units"] > 0).sum() < FEWEST_WEEKS:
        unknown = np.full(len(table), np.nan)
        chart = PChart(chart.centre, chart.sigma_z, False, unknown, unknown)
    share = table["faults"] / table["units"].where(table["units"] > 0)
    table = table.assign(share=share, centre=chart.centre, lower=chart.lower, upper=chart.upper)
    table["news"] = np.select([share > chart.upper, share < chart.lower], ["above", "below"], "")
    return table[list(COLUMNS)], chart
