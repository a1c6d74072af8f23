"""Stock: what is on the shelf, how long it lasts, what is not put away, what to make next."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.shop import Shop

COLUMNS = (
    "product", "variant", "stock", "counted", "packed_not_put_away", "in_progress",
    "demand_per_week", "lasts_days", "lasts_days_low", "lasts_days_high", "make_rank",
    "batch_size", "note",
)  # fmt: skip
RECENT_WEEKS = 8  # sales of so many weeks stand in for a demand that is not given


def stock(
    laps: pd.DataFrame,
    good_units: np.ndarray,
    batches: pd.DataFrame,
    shop: Shop,
    movements: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """One row a variant (or product without variants), what runs out first on top (COLUMNS).

    movements: moved_at (UTC), kind, product, variant, pieces.
    stock = the last count - sales + put-aways since; where nothing was counted, what the shop file
    says, sales and put-aways not known.
    packed_not_put_away = good pieces finished since the count - put-aways since (NaN without a
    count). lasts_days = 7 x stock / demand per week, 0 where more were sold than there were; its
    interval is that of the day on which the last piece goes if buyers come one by one at that rate
    (gamma; 95 %). make_rank orders by how long stock, packed and started pieces last together.
    """
    table = _variants(laps, shop)
    moved = _since_count(table, movements)
    counted = moved["counted"].notna()
    table["stock"] = moved["stock"].where(counted, table["stock"])
    table["counted"] = moved["counted"]
    finished = _finished_since(laps, good_units, table)
    packed = (finished - moved["put_away"]).clip(lower=0)
    table["packed_not_put_away"] = packed.where(counted)
    table["in_progress"] = _in_progress(table, batches)
    table["demand_per_week"] = table["demand_per_week"].fillna(_sold_per_week(table, movements))
    table = _how_long(table)
    table["note"] = _notes(table)
    return table.sort_values("make_rank", kind="stable", ignore_index=True)[list(COLUMNS)]


def _variants(laps: pd.DataFrame, shop: Shop) -> pd.DataFrame:
    """What is sold: each variant of the shop or of the laps, else the product."""
    rows = {
        (row.name, row.variant): (row.stock, row.demand_per_week, row.batch_size)
        for row in shop.products
    }
    for pair in (
        laps[["product", "variant"]]
        .drop_duplicates()
        .astype(str)
        .itertuples(index=False, name=None)
    ):
        if pair[0]:
            rows.setdefault(pair, (None, None, shop.batch_size(*pair)))
    several = {product for product, variant in rows if variant}
    kept = {pair: row for pair, row in rows.items() if pair[1] or pair[0] not in several}
    table = pd.DataFrame(
        [(*pair, *row) for pair, row in kept.items()],
        columns=["product", "variant", "stock", "demand_per_week", "batch_size"],
    )
    return table.astype({"stock": float, "demand_per_week": float, "product": str, "variant": str})


def _since_count(table: pd.DataFrame, movements: pd.DataFrame | None) -> pd.DataFrame:
    """Per row of table: when last counted, stock by now, put-aways since."""
    nothing = pd.DataFrame({"counted": pd.NaT, "stock": np.nan, "put_away": 0.0}, table.index)
    nothing["counted"] = pd.to_datetime(nothing["counted"], utc=True)
    if movements is None or not len(movements):
        return nothing
    own = _placed(movements, table).sort_values("moved_at", kind="stable")
    counts = own[own["kind"] == "count"].groupby("place").last()
    counted = counts["moved_at"].reindex(own["place"]).set_axis(own.index)
    since = own[own["moved_at"] > counted]
    moved = since.groupby(["place", "kind"])["pieces"].sum().unstack(fill_value=0)
    moved = moved.reindex(index=counts.index, columns=["sale", "put_away"], fill_value=0)
    found = pd.DataFrame({
        "counted": counts["moved_at"],
        "stock": counts["pieces"] - moved["sale"] + moved["put_away"],
        "put_away": moved["put_away"].astype(float),
    })  # fmt: skip
    found = found.reindex(table.index)
    return found.assign(put_away=found["put_away"].fillna(0.0))


def _placed(movements: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """The movements of what the table lists, each with its row there as `place`."""
    index = pd.MultiIndex.from_frame(table[["product", "variant"]])
    place = index.get_indexer(
        pd.MultiIndex.from_frame(movements[["product", "variant"]].astype(str))
    )
    return movements.assign(place=place)[place >= 0]


def _finished_since(laps: pd.DataFrame, good_units: np.ndarray, table: pd.DataFrame) -> pd.Series:
    finishing = np.asarray(good_units) != 0
    made = laps.loc[finishing, ["product", "variant", "started_at"]].assign(
        good=np.asarray(good_units)[finishing]
    )
    made = _placed(made, table)
    counted = table["counted"].take(made["place"]).set_axis(made.index)
    since = made[made["started_at"] > counted]
    return since.groupby("place")["good"].sum().reindex(table.index, fill_value=0).astype(float)


def _in_progress(table: pd.DataFrame, batches: pd.DataFrame) -> pd.Series:
    """Pieces of batches not finished, those lost and those already good left out."""
    flying = batches[~batches["finished"].astype(bool)]
    left = (flying["units_started"] - flying["good_units"] - flying["lost_units"]).clip(lower=0)
    own = _placed(flying.assign(left=left), table)
    return own.groupby("place")["left"].sum().reindex(table.index, fill_value=0).astype(float)


def _sold_per_week(table: pd.DataFrame, movements: pd.DataFrame | None) -> pd.Series:
    """Mean sales of the last RECENT_WEEKS, or of the weeks there are; NaN without sales."""
    if movements is None or not (movements["kind"] == "sale").any():
        return pd.Series(np.nan, table.index)
    moved_at = movements["moved_at"]
    since = moved_at.max() - pd.Timedelta(weeks=RECENT_WEEKS)
    recent = movements[moved_at > since]
    weeks = _weeks_told(recent) if len(recent) == len(movements) else RECENT_WEEKS
    sold = _placed(recent[recent["kind"] == "sale"], table).groupby("place")["pieces"].sum()
    return (sold / weeks).reindex(table.index)


def _weeks_told(movements: pd.DataFrame) -> float:
    """Weeks that the movements tell of, 1 at least: from the first to the last. A sale is of the
    time before it, so one that stands first adds as much as usually lies between two."""
    moments = movements["moved_at"].drop_duplicates().sort_values()
    weeks = (moments.iloc[-1] - moments.iloc[0]) / pd.Timedelta(weeks=1)
    first = movements.loc[movements["moved_at"] == moments.iloc[0], "kind"]
    if (first == "sale").all() and len(moments) > 1:
        weeks *= len(moments) / (len(moments) - 1)
    return max(weeks, 1.0)


def _how_long(table: pd.DataFrame) -> pd.DataFrame:
    from scipy.special import gammaincinv  # imported where used: scipy is slow to import

    demand = table["demand_per_week"].where(table["demand_per_week"] > 0)
    pieces = table["stock"].clip(lower=0).to_numpy(float)
    table["lasts_days"] = 7 * pieces / demand
    for end, chance in (("low", 0.025), ("high", 0.975)):
        last = np.where(pieces > 0, gammaincinv(np.maximum(pieces, 1e-9), chance), pieces * 0)
        table[f"lasts_days_{end}"] = 7 * last / demand
    soon = table["stock"].fillna(0) + table["packed_not_put_away"].fillna(0) + table["in_progress"]
    known = table["stock"].notna() & demand.notna()
    table["make_rank"] = (soon / demand).where(known).rank(method="first")
    return table


def _notes(table: pd.DataFrame) -> list[str]:
    notes = []
    for row in table.itertuples():
        said = []
        if np.isnan(row.stock):
            said.append("stock not counted")
        if row.stock < 0:
            said.append("more sold than there were: count again")
        if np.isnan(row.demand_per_week):
            said.append("demand not known")
        if row.packed_not_put_away > 0:
            said.append(f"{row.packed_not_put_away:.0f} packed but not put away")
        notes.append("; ".join(said))
    return notes
