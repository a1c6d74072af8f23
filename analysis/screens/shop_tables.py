"""The shop as tables to edit, and back: every table is checked by the reader of the shop file.

So a form cannot say what a file may not, and both complain in the same words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from io import BytesIO
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analysis.problems import BadInput, Fault
from analysis.records.routing import read_routing, write_routing
from analysis.records.shop import (
    DAYS,
    Allowance,
    Product,
    Shop,
    Worker,
    hours_text,
    quoted,
    read_shop,
    shop_toml,
)
from analysis.screens.parts import without_rows
from analysis.study.route import usual_routing

if TYPE_CHECKING:
    from analysis.study.summary import Study

FORM = "Shop"
DAY_NAMES = {
    "Mon": "Monday",
    "Tue": "Tuesday",
    "Wed": "Wednesday",
    "Thu": "Thursday",
    "Fri": "Friday",
    "Sat": "Saturday",
    "Sun": "Sunday",
}
# What is filled in for nearly every row comes first; both names stay where a phone slides on, which
# Streamlit grants up to three fifths of the width.
ROUTE_COLUMNS = {
    "product": st.column_config.TextColumn("Product", width=113, pinned=True),
    "operation": st.column_config.TextColumn("Operation", width=100, pinned=True),
    "seconds": st.column_config.NumberColumn(
        "A piece (s)", min_value=0, width=95, help="As planned."
    ),
    "wait_seconds": st.column_config.NumberColumn(
        "Waits after (min)",
        min_value=0,
        help="Drying, curing, cooling: time that needs nobody. An hour is 60.",
    ),
    "after": st.column_config.TextColumn(
        "Only after",
        width=150,
        help="Operations that must be done first, with | between them. One may carry a wait of "
        "its own, in seconds: glue:0|coat:1200.",
    ),
    "variant": st.column_config.TextColumn("Only variant", width=100),
    "setup_seconds": st.column_config.NumberColumn("Setup (min)", min_value=0, help="A batch."),
    "setup_wait_seconds": st.column_config.NumberColumn("Warms up (min)", min_value=0),
    "station": st.column_config.TextColumn("Tool or place"),
    "skill": st.column_config.TextColumn("Who can do it", help="Blank: everybody."),
    "pieces_at_once": st.column_config.NumberColumn("Pieces in one go", min_value=1, step=1),
    "wait_holds_station": st.column_config.CheckboxColumn("Waits in the tool"),
    "rack": st.column_config.TextColumn("Lies on"),
    "rack_places": st.column_config.NumberColumn("Places there", min_value=0, step=1),
    "max_wait_seconds": st.column_config.NumberColumn("Must go on within (min)", min_value=0),
}
# Stored in seconds, edited in minutes, as a maker says them.
IN_MINUTES = ["setup_seconds", "wait_seconds", "setup_wait_seconds", "max_wait_seconds"]
NUMBERS = "Float64"  # holds a blank in a row just added, which float64 does not in an empty table
PRODUCT_NUMBERS = ("demand_per_week", "batch_size", "price", "material_cost", "stock")


def hours_table(shop: Shop) -> pd.DataFrame:
    """One row a day: `day`, and `hours` as `08:00-12:00, 13:00-17:00`, blank where closed."""
    rows = [(DAY_NAMES[day], hours_text(shop.week.get(day, ()))) for day in DAYS]
    return pd.DataFrame(rows, columns=["day", "hours"])


def people_table(shop: Shop, logged: Iterable[str] = ()) -> pd.DataFrame:
    """One row a person: `name`, `cost_per_hour`, `hours_per_week`; NaN where not known.

    Workers only the laps know follow with their names alone.
    """
    rows = [(worker.name, worker.cost_per_hour, worker.hours_per_week) for worker in shop.workers]
    known = {worker.name for worker in shop.workers}
    rows += [(name, None, None) for name in logged if name not in known]
    table = pd.DataFrame(rows, columns=["name", "cost_per_hour", "hours_per_week"])
    return table.astype({"name": "str", "cost_per_hour": NUMBERS, "hours_per_week": NUMBERS})


def products_table(shop: Shop, logged: Iterable[tuple[str, str]] = ()) -> pd.DataFrame:
    """One row a product or variant; a product's demand and stock are blank where they are sums.

    Products and variants only the laps know follow with their names alone.
    """
    rows = [
        [row.name, row.variant, *(_own_number(shop, row, key) for key in PRODUCT_NUMBERS)]
        for row in shop.products
    ]
    known = {(row.name, row.variant) for row in shop.products}
    new = dict.fromkeys(pair for name, kind in logged for pair in ((name, ""), (name, kind)))
    rows += [[*pair, *[None] * len(PRODUCT_NUMBERS)] for pair in new if pair not in known]
    table = pd.DataFrame(rows, columns=["product", "variant", *PRODUCT_NUMBERS])
    return table.astype(
        {"product": "str", "variant": "str"} | dict.fromkeys(PRODUCT_NUMBERS, NUMBERS)
    )


def with_hours(shop: Shop, table: pd.DataFrame) -> Shop:
    """The shop with the hours of the table; BadInput names the day."""
    lines = [
        f"{day} = {quoted(_text(hours))}" for day, hours in zip(DAYS, table["hours"], strict=True)
    ]
    return replace(shop, week=_read("[week]\n" + "\n".join(lines)).week)


def with_people(shop: Shop, table: pd.DataFrame) -> Shop:
    """The shop with the people of the table; BadInput names the person."""
    rows = _named_rows(table, ["name"])
    workers = [
        Worker(_text(row["name"]), _number(row["cost_per_hour"]), _number(row["hours_per_week"]))
        for row in rows
    ]
    return _checked(replace(shop, workers=tuple(workers)))


def with_products(shop: Shop, table: pd.DataFrame) -> Shop:
    """The shop with the products of the table; a product named only by a variant gets its row."""
    rows = _named_rows(table, ["product", "variant"])
    names = list(dict.fromkeys(_text(row["product"]) for row in rows))
    products = []
    for name in names:
        own = [row for row in rows if _text(row["product"]) == name]
        whole = [row for row in own if not _text(row["variant"])]
        base = _product(whole[0], Product(name)) if whole else Product(name)
        products += [base, *(_product(row, base) for row in own if _text(row["variant"]))]
    return _checked(replace(shop, products=tuple(products)))


def with_basics(
    shop: Shop,
    name: str,
    timezone: str,
    currency: str,
    overhead_per_week: float | None,
    weeks_closed_per_year: int,
) -> Shop:
    """The shop with its name, time zone, currency, weekly costs and the weeks it is closed."""
    changed = replace(shop, name=name, timezone=timezone, currency=currency)
    return _checked(
        replace(
            changed,
            overhead_per_week=overhead_per_week,
            weeks_closed_per_year=weeks_closed_per_year,
        )
    )


def with_allowance(shop: Shop, allowance: Allowance) -> Shop:
    """The shop with other time-study allowances."""
    return _checked(replace(shop, allowance=allowance))


def route_table(routing: pd.DataFrame | None) -> pd.DataFrame:
    """The route as a table to edit, one row a product and operation, columns in reading order;
    setups and waits in minutes."""
    if routing is None:
        routing = read_routing(",".join(ROUTE_COLUMNS).encode() + b"\n", "Route")
    table = routing[list(ROUTE_COLUMNS)].reset_index(drop=True)
    numbers = table.select_dtypes("number").columns
    table = table.astype(dict.fromkeys(numbers, NUMBERS) | {"wait_holds_station": "boolean"})
    table[IN_MINUTES] = table[IN_MINUTES] / 60
    return table


def usual_route(figures: Study) -> pd.DataFrame:
    """The usual order of the laps (`Study.route`) as a route to check and save."""
    rows = usual_routing(figures.route, figures.operations)
    blank = {"station": "", "skill": "", "rack": "", "wait_holds_station": False}
    zero = dict.fromkeys(["setup_seconds", "wait_seconds", "setup_wait_seconds"], 0.0)
    table = route_table(None).reindex(range(len(rows)))
    return table.assign(**blank, **zero, pieces_at_once=1, **rows)


def route_csv(routing: pd.DataFrame) -> bytes:
    """The route as the bytes of a routing file."""
    written = BytesIO()
    write_routing(routing, written)
    return written.getvalue()


def checked_route(table: pd.DataFrame) -> pd.DataFrame:
    """The route of an edited table; BadInput counts rows as the table does, without a header."""
    said = table[[any(map(_said, row)) for row in table[["product", "operation"]].to_numpy()]]
    minutes = said[IN_MINUTES].astype(NUMBERS)
    said = said.assign(**(60 * minutes).round(6))  # what division by 60 did to the last digit
    try:
        return read_routing(said.to_csv(index=False).encode(), "Route")
    except BadInput as bad:
        faults = [_as_edited(fault) for fault in bad.faults]
        raise BadInput(faults, bad.count) from None


def _as_edited(fault: Fault) -> Fault:
    """A fault of the file behind the table, by the table's own rows, headers and minutes."""
    header = (ROUTE_COLUMNS.get(fault.column) or {}).get("label") or fault.column
    value = fault.value
    if fault.column in IN_MINUTES and _is_figure(value):
        value = f"{float(value) / 60:.10g}"
    return replace(fault, row=max(fault.row - 1, 0), column=header, value=value)


def _is_figure(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _product(row: dict, base: Product) -> Product:
    """A product from a row of the table; what a variant leaves blank is its product's."""
    size = _number(row["batch_size"])
    price, material_cost = _number(row["price"]), _number(row["material_cost"])
    return Product(
        base.name,
        _text(row["variant"]),
        _number(row["demand_per_week"]),
        # A size that is not whole goes on as it is: the shop's reader says so, in its words.
        base.batch_size if size is None else _whole(size),  # type: ignore[arg-type]
        base.price if price is None else price,
        base.material_cost if material_cost is None else material_cost,
        _number(row["stock"]),
    )


def _named_rows(table: pd.DataFrame, key: list[str]) -> list[dict]:
    """The rows that say anything; a row without its first name, or one twice, is a fault."""
    rows = [(number, row) for number, row in enumerate(table.to_dict("records"), 1)]
    rows = [(number, row) for number, row in rows if any(map(_said, row.values()))]
    faults, seen = [], set()
    for number, row in rows:
        names = tuple(_text(row[column]) for column in key)
        if not names[0]:
            faults.append(Fault(FORM, number, key[0], "is blank", "", "give it a name"))
        elif names in seen:
            stated = ", ".join(filter(None, names))
            faults.append(Fault(FORM, number, key[0], "stands twice", stated, "keep one of them"))
        seen.add(names)
    if faults:
        raise BadInput(faults)
    return [row for _, row in rows]


def _checked(shop: Shop) -> Shop:
    """The shop as the shop file's reader understands it; BadInput where that finds a fault."""
    return _read(shop_toml(shop))


def _read(text: str) -> Shop:
    """Read the text of a shop file."""
    try:
        return read_shop(text.encode(), FORM)
    except BadInput as bad:
        raise without_rows(bad) from None


def _own_number(shop: Shop, row: Product, key: str) -> float | None:
    """A row's number; None for a product whose number is the sum of its variants'."""
    value = getattr(row, key)
    if row.variant or key not in ("demand_per_week", "stock"):
        return value
    parts = [getattr(other, key) for other in shop.products if other.name == row.name]
    parts = [part for part in parts[1:] if part is not None]
    return None if parts and value == sum(parts) else value


def _said(value: object) -> bool:
    return _text(value) != ""


def _text(value: object) -> str:
    return "" if value is None or value is pd.NA or value != value else str(value).strip()


def _number(value: float | str | None) -> float | None:
    return None if value is None or not _said(value) else float(value)


def _whole(number: float) -> float | int:
    return int(number) if number == int(number) else number
