"""What a good piece costs, and what an hour at the bench earns."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.shop import Shop
from analysis.study.content import Content, Parts

COLUMNS = (
    "product", "variant", "labour", "material", "rework_and_scrap", "overhead",
    "cost_per_good_piece", "cost_low", "cost_high", "price", "earned_per_hour", "earned_low",
    "earned_high", "bench_hours", "bench_hours_low", "bench_hours_high", "contribution",
    "contribution_low", "contribution_high", "left", "left_low", "left_high", "lost_material",
    "note",
)  # fmt: skip

RANGES = {
    "cost_per_good_piece": "cost",
    "earned_per_hour": "earned",
    "bench_hours": "bench_hours",
    "contribution": "contribution",
    "left": "left",
}  # each with the name its range goes by


def cost(content: Content, shop: Shop, shares: pd.DataFrame) -> pd.DataFrame:
    """Money per good piece by product ("" = its variants as demanded) and variant (COLUMNS).

    labour            wage x (standard time of one piece + setup / batch size + walks)
    material          material cost / share of started pieces that come out good
    rework_and_scrap  wage x (mending + work on pieces lost)
    overhead          overhead per week / capacity hours x bench hours of the piece, at normal
                      capacity (the hours the people of the shop work in a week, weeks closed in
                      a year spread over it; IAS 2, from memory), so that a slow week does not make
                      a piece dearer
    cost_per_good_piece   their sum
    earned_per_hour   (price - material - overhead) / bench hours: what is left per bench hour
                      before anybody's pay
    contribution      price - material: what one piece more brings in as long as the hours and the
                      overhead are there anyway
    left              price - cost_per_good_piece: what is left once everybody is paid
    Amounts that hang on a wage, price or material cost not given are NaN; overhead not given
    counts as 0. `note` names what is missing.
    """
    wage = wages(content.frame, shop, shares)
    rows = []
    for product in content.frame["product"].unique():
        own = content.frame["product"] == product
        unpaid = unpaid_workers(shop, shares, content.frame[own])
        variants = [v for v in content.frame.loc[own, "variant"].unique() if v]
        rows.append(_cost_row(content, shop, wage, unpaid, product, ""))
        rows += [_cost_row(content, shop, wage, unpaid, product, variant) for variant in variants]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def wages(frame: pd.DataFrame, shop: Shop, shares: pd.DataFrame) -> np.ndarray:
    """Cost of an hour at each row: that of those who do it now, by their share of its time.

    Work nobody has done yet is the first worker's. NaN where a wage is not given.
    """
    per_hour = {
        w.name: np.nan if w.cost_per_hour is None else w.cost_per_hour for w in shop.workers
    }
    shares = shares[shares["share"] > 0]
    paid = shares.assign(paid=shares["share"] * shares["worker"].map(per_hour).astype(float))
    mean = (
        paid.groupby(["product", "operation"])["paid"].sum(min_count=1, skipna=False)
        if len(paid)
        else pd.Series(dtype=float)
    )
    first = per_hour[shop.workers[0].name] if shop.workers else np.nan
    return np.array(
        [mean.get(pair, first) for pair in zip(frame["product"], frame["operation"], strict=True)],
        float,
    )


def _cost_row(
    content: Content, shop: Shop, wage: np.ndarray, unpaid: list[str], product: str, variant: str
) -> tuple:
    frame = content.frame
    own = (frame["product"] == product).to_numpy()
    share = frame["share"].to_numpy(float)
    if variant:
        own, share = own & (frame["variant"] == variant).to_numpy(), np.ones(len(frame))
    own = np.flatnonzero(own & (share > 0))
    price = _money(frame, shop, own, share, "price")
    value = _amounts(content.values, frame, shop, own, share, wage)
    drawn = _amounts(content.draws, frame, shop, own, share, wage)
    row: dict[str, object] = {"product": product, "variant": variant, "price": price}
    for name, amount in value.items():
        row[name] = float(amount[0])
    for figure, short in RANGES.items():
        low, high = np.quantile(drawn[figure], [0.025, 0.975])
        row[f"{short}_low"] = np.minimum(low, value[figure][0])
        row[f"{short}_high"] = np.maximum(high, value[figure][0])
    row["note"] = _note(content, shop, own, share, wage, unpaid)
    return tuple(row[name] for name in COLUMNS)


def _amounts(
    parts: Parts,
    frame: pd.DataFrame,
    shop: Shop,
    own: np.ndarray,
    share: np.ndarray,
    wage: np.ndarray,
) -> dict:
    """Money per good piece of the rows `own`, weighted by `share`: arrays over the n of parts."""
    hourly, share_of = (wage * share)[own] / 3600, share[own]
    labour = (parts.standard + parts.setup + parts.transport)[:, own] @ hourly
    mending = (parts.rework + parts.good - parts.standard)[:, own] @ hourly
    hours = parts.total[:, own] @ share_of / 3600
    routes = own[frame["position"].to_numpy()[own] == 0]
    bought = _of_routes(frame, shop, routes, "material_cost") * share[routes]
    material = (1 / parts.good_share[:, routes]) @ bought
    overhead = overhead_per_hour(shop) * hours
    contribution = _money(frame, shop, own, share, "price") - material
    cost = labour + material + mending + overhead
    return {
        "labour": labour, "material": material, "rework_and_scrap": mending,
        "overhead": overhead, "cost_per_good_piece": cost, "bench_hours": hours,
        "earned_per_hour": (contribution - overhead) / np.where(hours > 0, hours, np.nan),
        "left": contribution + material - cost, "contribution": contribution,
        "lost_material": material - bought.sum(),
    }  # fmt: skip


def overhead_per_hour(shop: Shop) -> float:
    """Overhead of a week over the hours its people work in one; 0 where none is given, NaN where
    there are no hours to spread it over."""
    if not shop.overhead_per_week:
        return 0.0
    return shop.overhead_per_week / shop.capacity_hours if shop.capacity_hours else np.nan


def _of_routes(frame: pd.DataFrame, shop: Shop, routes: np.ndarray, key: str) -> np.ndarray:
    """A money value of the product and variant of each row; NaN where not given."""
    names = frame[["product", "variant"]].iloc[routes].itertuples(index=False)
    values = [getattr(shop.product(*name), key, None) for name in names]
    return np.array([np.nan if value is None else value for value in values], float)


def _money(frame: pd.DataFrame, shop: Shop, own: np.ndarray, share: np.ndarray, key: str) -> float:
    """A money value over the routes among `own`, as they are shared."""
    routes = own[frame["position"].to_numpy()[own] == 0]
    return float(_of_routes(frame, shop, routes, key) @ share[routes]) if len(routes) else np.nan


def _note(
    content: Content,
    shop: Shop,
    own: np.ndarray,
    share: np.ndarray,
    wage: np.ndarray,
    unpaid: list[str],
) -> str:
    """What is not given, and so keeps an amount from being known, in plain words."""
    frame = content.frame
    missing = {
        f"the wage (cost_per_hour) of {', '.join(unpaid)}": np.isnan(wage[own]).any(),
        "material cost": np.isnan(_money(frame, shop, own, share, "material_cost")),
        "price": np.isnan(_money(frame, shop, own, share, "price")),
    }
    names = [name for name, holds in missing.items() if holds]
    lost = np.isnan(content.values.through[0, own]).any()
    notes = {
        f"not given: {', '.join(names)}": bool(names),
        "no overhead given, counted as 0": shop.overhead_per_week is None,
        "no working hours given to spread the overhead over": np.isnan(overhead_per_hour(shop)),
        "every piece so far was lost": lost,
    }
    return "; ".join(note for note, holds in notes.items() if holds)


def unpaid_workers(shop: Shop, shares: pd.DataFrame, rows: pd.DataFrame) -> list[str]:
    """Those whose work goes into these rows (product, operation) and whose wage is not given, by
    name; the first worker for what nobody has done yet."""
    paid = {worker.name for worker in shop.workers if worker.cost_per_hour is not None}
    keys = ["product", "operation"]
    done = rows[keys].drop_duplicates().merge(shares[shares["share"] > 0], on=keys, how="left")
    first = shop.workers[0].name if shop.workers else np.nan
    names = dict.fromkeys(done["worker"].astype(object).fillna(first).dropna())
    return [name for name in names if name not in paid] or ["the workers"]
