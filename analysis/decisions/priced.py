"""Whether a shop's money is known well enough to put a change into money."""

from __future__ import annotations

from analysis.problems import BadInput, Fault
from analysis.records.shop import Shop


def check_priced(shop: Shop, file: str = "the shop") -> None:
    """Raise BadInput for every product that is asked for and has no price, or where none is."""
    asked = [row for row in shop.products if row.demand_per_week]
    if not asked:
        fault = Fault(
            file, min((row.line for row in shop.products), default=0), "products",
            "have no demand_per_week", "", "say how many pieces are asked for in a week",
        )  # fmt: skip
        raise BadInput([fault])
    priced = {row.name for row in shop.products if row.variant and row.price is not None}
    faults = [
        Fault(
            file, row.line, _column(row.name, row.variant), "has no price", "",
            "give price = …, what a piece is sold for",
        )
        for row in asked
        if row.price is None and (row.variant or row.name not in priced)
    ]  # fmt: skip
    if faults:
        raise BadInput(faults)


def _column(product: str, variant: str) -> str:
    return f"products.{product}.variants.{variant}" if variant else f"products.{product}"
