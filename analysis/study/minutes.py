"""Where a batch's minutes go: by operation and activity, and the hours nobody worked on it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from analysis.records.shop import DAYS, Shop
from analysis.study.rates import is_activity, is_regular

COLUMNS = ("product", "operation", "activity", "seconds", "laps", "seconds_per_good_piece", "share")
BATCH_COLUMNS = (
    "batch", "product", "variant", "first_at", "last_at", "units_started", "good_units",
    "lost_units",
    "finished", "elapsed_hours", "worked_hours", "hours_nobody_worked",
    "open_hours_nobody_worked",
)  # fmt: skip


def minutes(laps: pd.DataFrame, good_units: np.ndarray) -> pd.DataFrame:
    """Seconds by product, operation and activity (COLUMNS), longest first within a product.

    seconds_per_good_piece divides by the good pieces the product's laps finished; interruptions
    that belong to no product stand under a blank one.
    """
    keys = ["product", "operation", "activity"]
    table = laps.groupby(keys, observed=True)["seconds"].agg(["sum", "size"]).reset_index()
    table = table.rename(columns={"sum": "seconds", "size": "laps"})
    table[keys] = table[keys].astype(str)
    good = pd.Series(good_units).groupby(laps["product"].astype(str).to_numpy()).sum()
    pieces = table["product"].map(good).astype(float)
    table["seconds_per_good_piece"] = table["seconds"] / pieces.where(pieces > 0)
    table["share"] = table["seconds"] / table.groupby("product")["seconds"].transform("sum")
    order = ["product", "seconds"]
    table = table.sort_values(order, ascending=[True, False], kind="stable", ignore_index=True)
    return table[list(COLUMNS)]


def batches(laps: pd.DataFrame, good_units: np.ndarray, shop: Shop) -> pd.DataFrame:
    """One row a named batch of a product, in the order of its first lap (BATCH_COLUMNS).

    elapsed runs from the first lap's start to the last one's end; nobody worked in it where no
    lap of the batch was running: drying, waiting its turn, nights. A batch is finished when the
    pieces that came out good and those lost are as many as its largest operation had; one that was
    only set up for is not.
    """
    named = ((laps["batch"] != "") & (laps["product"] != "")).to_numpy()
    own = laps[named].assign(good=np.asarray(good_units)[named])
    keys = ["product", "variant", "batch"]
    own = own.sort_values("started_at", kind="stable")
    own["code"] = own.groupby(keys, observed=True, sort=False).ngroup()
    own = own.sort_values(["code", "started_at"], kind="stable")
    names = own.groupby("code")[keys].first().astype(str)
    table = names.assign(**_spans(own, shop), **_pieces(own))
    gone = table["good_units"] + table["lost_units"]
    table["finished"] = (gone >= table["units_started"]) & (table["units_started"] > 0)
    return table.reset_index(drop=True)[list(BATCH_COLUMNS)]


def _spans(own: pd.DataFrame, shop: Shop) -> dict[str, pd.Series]:
    """Elapsed and worked time, and the gaps in which no lap of the batch ran."""
    start = own["started_at"]
    end = start + pd.to_timedelta(own["seconds"], unit="s")
    reached = end.groupby(own["code"]).cummax()
    before = reached.groupby(own["code"]).shift()
    gap = before.notna() & (start > before)
    idle = (start - before).dt.total_seconds().where(gap, 0.0)
    clock = open_clock(start.min(), end.max(), shop)
    open_idle = np.where(gap, clock(start) - clock(before.where(gap, start)), 0.0)
    by = own["code"]
    first, last = start.groupby(by).first(), end.groupby(by).max()
    return {
        "first_at": first, "last_at": last,
        "elapsed_hours": (last - first).dt.total_seconds() / 3600,
        "worked_hours": own["seconds"].groupby(by).sum() / 3600,
        "hours_nobody_worked": idle.groupby(by).sum() / 3600,
        "open_hours_nobody_worked": pd.Series(open_idle, own.index).groupby(by).sum() / 3600,
    }  # fmt: skip


def _pieces(own: pd.DataFrame) -> dict[str, pd.Series]:
    regular = own[is_regular(own)]
    at_most = regular.groupby(["code", "operation"], observed=True)["units"].sum()
    codes = own["code"].unique()
    lost = own[is_regular(own) | is_activity(own, "rework")].groupby("code")["scrap_units"].sum()
    return {
        "units_started": at_most.groupby("code").max().reindex(codes, fill_value=0),
        "good_units": own.groupby("code")["good"].sum().astype("int64"),
        "lost_units": lost.reindex(codes, fill_value=0),
    }


def open_clock(
    first: pd.Timestamp, last: pd.Timestamp, shop: Shop
) -> Callable[[pd.Series], np.ndarray]:
    """A function from times (UTC series) to the seconds the shop has been open since `first`.

    Opening hours are wall-clock hours in the shop's zone, daylight saving included.
    """
    if pd.isna(first):
        return lambda times: np.zeros(len(times))
    from_day = first.tz_convert(shop.timezone).tz_localize(None).normalize()
    to_day = last.tz_convert(shop.timezone).tz_localize(None).normalize()
    days = pd.date_range(from_day, to_day + pd.Timedelta(days=1), freq="D")
    spans = [
        (day + pd.Timedelta(seconds=start), day + pd.Timedelta(seconds=end))
        for day in days
        for start, end in shop.week.get(DAYS[day.weekday()], ())
    ]
    if not spans:
        return lambda times: np.zeros(len(times))
    edges = pd.DatetimeIndex([moment for span in spans for moment in span])
    # An opening hour that daylight saving skips or repeats begins when the clock allows it.
    edges = edges.tz_localize(
        shop.timezone, ambiguous=np.ones(len(edges), bool), nonexistent="shift_forward"
    ).tz_convert("UTC")
    at = edges.as_unit("us").astype("int64").to_numpy() / 1e6
    open_now = np.maximum(np.diff(at)[::2], 0)
    so_far = np.concatenate([[0.0], np.cumsum(open_now)])
    values = np.stack([so_far[:-1], so_far[1:]], axis=1).ravel()
    return lambda times: np.interp(
        times.dt.as_unit("us").astype("int64").to_numpy() / 1e6, at, values
    )
