"""What a good piece costs, and what an hour at the bench earns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.records.shop import Product, Shop
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
    every = _Rows.of(content.frame, shop, shares)
    rows: list[dict[str, object]] = []
    for product in dict.fromkeys(every.product):
        own = every.product == product
        unpaid = unpaid_workers(shop, shares, content.frame[own])
        for variant in dict.fromkeys(["", *every.variant[own]]):
            row = _cost_row(content, shop, every.chosen(product, variant), unpaid)
            rows.append({"product": product, "variant": variant} | row)
    return pd.DataFrame(rows, columns=list(COLUMNS))


@dataclass(frozen=True)
class _Rows:
    """Rows of the content as arrays: their place there, names, position on the route, weight in
    the cost, wage of an hour, and the price and material cost of the piece; NaN where not given."""

    place: np.ndarray
    product: np.ndarray
    variant: np.ndarray
    position: np.ndarray
    share: np.ndarray
    wage: np.ndarray
    price: np.ndarray
    material_cost: np.ndarray

    @classmethod
    def of(cls, frame: pd.DataFrame, shop: Shop, shares: pd.DataFrame) -> _Rows:
        """All rows, each variant weighted by its share of the product."""
        product, variant = (frame[name].to_numpy(object) for name in ("product", "variant"))
        known = [shop.product(*names) for names in zip(product, variant, strict=True)]
        return cls(
            np.arange(len(frame)), product, variant, frame["position"].to_numpy(),
            frame["share"].to_numpy(float), wages(frame, shop, shares),
            _given(known, "price"), _given(known, "material_cost"),
        )  # fmt: skip

    def chosen(self, product: str, variant: str) -> _Rows:
        """Those that go into one piece of a product: of the variant named, else of each by its
        share."""
        own = self.product == product
        share = self.share
        if variant:
            own, share = own & (self.variant == variant), np.ones(len(share))
        own = own & (share > 0)
        arrays = {name: values[own] for name, values in vars(self).items()}
        return _Rows(**arrays | {"share": share[own]})

    @property
    def first(self) -> np.ndarray:
        """Mask: the first row of each route."""
        return self.position == 0

    def of_routes(self, amount: np.ndarray) -> np.ndarray:
        """What a piece costs or brings, once for each route, by its share."""
        return (amount * self.share)[self.first]


def _given(known: list[Product | None], key: str) -> np.ndarray:
    values = [getattr(product, key, None) for product in known]
    return np.array([np.nan if value is None else value for value in values], float)


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


def _cost_row(content: Content, shop: Shop, rows: _Rows, unpaid: list[str]) -> dict[str, object]:
    value = _amounts(content.values, shop, rows)
    drawn = _amounts(content.draws, shop, rows)
    row: dict[str, object] = {"price": _price(rows)}
    for name, amount in value.items():
        row[name] = float(amount[0])
    low, high = np.quantile(np.stack([drawn[name] for name in RANGES]), [0.025, 0.975], axis=1)
    for place, (figure, short) in enumerate(RANGES.items()):
        row[f"{short}_low"] = np.minimum(low[place], value[figure][0])
        row[f"{short}_high"] = np.maximum(high[place], value[figure][0])
    row["note"] = _note(content, shop, rows, unpaid)
    return row


def _amounts(parts: Parts, shop: Shop, rows: _Rows) -> dict[str, np.ndarray]:
    """Money per good piece of some rows: arrays over the n of parts."""
    own, hourly = rows.place, rows.wage * rows.share / 3600
    labour = (parts.standard + parts.setup + parts.transport)[:, own] @ hourly
    mending = (parts.rework + parts.good - parts.standard)[:, own] @ hourly
    hours = parts.total[:, own] @ rows.share / 3600
    bought = rows.of_routes(rows.material_cost)
    material = (1 / parts.good_share[:, own[rows.first]]) @ bought
    overhead = overhead_per_hour(shop) * hours
    contribution = _price(rows) - material
    cost = labour + material + mending + overhead
    return {
        "labour": labour, "material": material, "rework_and_scrap": mending,
        "overhead": overhead, "cost_per_good_piece": cost, "bench_hours": hours,
        "earned_per_hour": (contribution - overhead) / np.where(hours > 0, hours, np.nan),
        "left": contribution + material - cost, "contribution": contribution,
        "lost_material": material - bought.sum(),
    }  # fmt: skip


def _price(rows: _Rows) -> float:
    """What a piece sells for; NaN where it is not given, or where no row begins a route."""
    first = rows.first
    return float(rows.price[first] @ rows.share[first]) if first.any() else np.nan


def overhead_per_hour(shop: Shop) -> float:
    """Overhead of a week over the hours its people work in one; 0 where none is given, NaN where
    there are no hours to spread it over."""
    if not shop.overhead_per_week:
        return 0.0
    return shop.overhead_per_week / shop.capacity_hours if shop.capacity_hours else np.nan


def _note(content: Content, shop: Shop, rows: _Rows, unpaid: list[str]) -> str:
    """What is not given, and so keeps an amount from being known, in plain words."""
    missing = {
        f"the wage (cost_per_hour) of {', '.join(unpaid)}": np.isnan(rows.wage).any(),
        "material cost": not rows.first.any() or np.isnan(rows.of_routes(rows.material_cost)).any(),
        "price": np.isnan(_price(rows)),
    }
    names = [name for name, holds in missing.items() if holds]
    lost = np.isnan(content.values.through[0, rows.place]).any()
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
