"""What a good piece costs, and what an hour at the bench earns."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.shop import Shop
from analysis.study.content import Content

COLUMNS = (
    "product", "variant", "labour", "material", "rework_and_scrap", "overhead",
    "cost_per_good_piece", "cost_low", "cost_high", "price", "earned_per_hour", "earned_low",
    "earned_high", "bench_hours", "lost_material", "note",
)  # fmt: skip


def cost(content: Content, shop: Shop, shares: pd.DataFrame) -> pd.DataFrame:
    """Money per good piece by product ("" = its variants as demanded) and variant (COLUMNS).

    labour            wage x (standard time of one piece + setup / batch size + walks)
    material          material cost / share of started pieces that come out good
    rework_and_scrap  wage x (mending + work on pieces lost)
    overhead          overhead per week / capacity hours x bench hours of the piece, at normal
                      capacity (the hours the people of the shop work in a week; IAS 2, from
                      memory), so that a slow week does not make a piece dearer
    cost_per_good_piece   their sum
    earned_per_hour   (price - material - overhead) / bench hours: what is left per bench hour
                      before anybody's pay
    Amounts that hang on something not given are NaN, and `note` names it.
    """
    wage = wages(content.frame, shop, shares)
    rows = []
    for product in content.frame["product"].unique():
        own = content.frame["product"] == product
        variants = [v for v in content.frame.loc[own, "variant"].unique() if v]
        rows.append(_cost_row(content, shop, wage, product, ""))
        rows += [_cost_row(content, shop, wage, product, variant) for variant in variants]
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


def capacity_hours(shop: Shop) -> float:
    """Hours the people of the shop work in a week; the shop's own hours where none is named."""
    week = shop.week_seconds / 3600
    hours = [week if w.hours_per_week is None else w.hours_per_week for w in shop.workers]
    return sum(hours) if hours else week


def _cost_row(content: Content, shop: Shop, wage: np.ndarray, product: str, variant: str) -> tuple:
    frame = content.frame
    own = (frame["product"] == product).to_numpy()
    if variant:
        own = own & (frame["variant"] == variant).to_numpy()
    share = np.ones(own.sum()) if variant else frame["share"].to_numpy()[own]
    value = _amounts(content, shop, wage, own, share, None)
    drawn = _amounts(content, shop, wage, own, share, content.draws)
    row = {
        "product": product,
        "variant": variant,
        **{name: float(amount) for name, amount in value.items()},
    }
    row["price"] = _mixed(frame, shop, own, "price")
    for figure, short in (("cost_per_good_piece", "cost"), ("earned_per_hour", "earned")):
        low, high = np.quantile(drawn[figure], [0.025, 0.975])
        row[f"{short}_low"] = np.minimum(low, row[figure])
        row[f"{short}_high"] = np.maximum(high, row[figure])
    row["note"] = _note(content, shop, own, wage)
    return tuple(row[name] for name in COLUMNS)


def _amounts(content: Content, shop: Shop, wage, own, share, draws) -> dict:
    """The amounts of one row: numbers from the values, or arrays over the draws."""
    frame = content.frame
    if draws is None:
        part = {
            name: frame[f"{name}_seconds"].to_numpy()[own]
            for name in ("good", "setup", "transport", "rework")
        }
        part["extra"] = content.extra_seconds[own]
        first = _first(frame, own)
        good_share = 1 / frame["pieces_per_good_piece"].to_numpy()[own][first]
    else:
        part = {name: array[:, own] for name, array in draws.items()}
        good_share = content.good_share[:, own][:, _first(frame, own)]
    hourly = wage[own] * share / 3600
    labour = (part["good"] - part["extra"] + part["setup"] + part["transport"]) @ hourly
    mending = (part["rework"] + part["extra"]) @ hourly
    hours = (part["good"] + part["setup"] + part["transport"] + part["rework"]) @ share / 3600
    per_route = share[_first(frame, own)]
    bought = _of_routes(frame, shop, own, "material_cost")
    material = (bought / good_share) @ per_route
    weekly = np.nan if shop.overhead_per_week is None else shop.overhead_per_week
    capacity = capacity_hours(shop)
    overhead = (weekly / capacity if capacity else np.nan) * hours
    price = _mixed(frame, shop, own, "price")
    earned = (price - material - overhead) / np.where(hours > 0, hours, np.nan)
    return {
        "labour": labour, "material": material, "rework_and_scrap": mending,
        "overhead": overhead, "cost_per_good_piece": labour + material + mending + overhead,
        "earned_per_hour": earned, "bench_hours": hours,
        "lost_material": material - bought @ per_route,
    }  # fmt: skip


def _first(frame: pd.DataFrame, own: np.ndarray) -> np.ndarray:
    """Among the rows chosen, the first of each route."""
    return np.flatnonzero(frame["position"].to_numpy()[own] == 0)


def _of_routes(frame: pd.DataFrame, shop: Shop, own: np.ndarray, key: str) -> np.ndarray:
    """A money value of each route among the rows; NaN where not given."""
    routes = frame.loc[own].iloc[_first(frame, own)]
    rows = [
        shop.product(product, variant)
        for product, variant in zip(routes["product"], routes["variant"], strict=True)
    ]
    return np.array(
        [np.nan if row is None or getattr(row, key) is None else getattr(row, key) for row in rows],
        float,
    )


def _mixed(frame: pd.DataFrame, shop: Shop, own: np.ndarray, key: str) -> float:
    """A money value over the routes, as they are shared among the product's pieces."""
    share = frame["share"].to_numpy()[own][_first(frame, own)]
    return float(_of_routes(frame, shop, own, key) @ share / share.sum()) if share.sum() else np.nan


def _note(content: Content, shop: Shop, own: np.ndarray, wage: np.ndarray) -> str:
    """What is not given, and so keeps an amount from being known, in plain words."""
    money = {key: np.isnan(_mixed(content.frame, shop, own, key)) for key in
             ("material_cost", "price")}  # fmt: skip
    missing = {
        "a wage (cost_per_hour)": np.isnan(wage[own]).any(),
        "material cost": money["material_cost"],
        "overhead per week": shop.overhead_per_week is None,
        "price": money["price"],
    }
    names = [name for name, holds in missing.items() if holds]
    lost = content.frame["pieces_per_good_piece"][own].isna().any()
    notes = [f"not given: {', '.join(names)}"] if names else []
    return "; ".join(notes + ["every piece so far was lost"] * int(lost))
