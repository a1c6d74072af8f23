"""A scenario as TOML text, which `read_scenario` reads back to an equal scenario."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import MISSING, fields
from typing import TYPE_CHECKING

from analysis.records.scenario import Estimate, Order, Scenario
from analysis.records.shop import quoted

if TYPE_CHECKING:
    from _typeshed import DataclassInstance  # known to type checkers only

NAMED = {"operations": "operation", "factor_products": "products"}  # keys unlike their field's name
ALWAYS = ("hours_per_week", "cost_per_hour", "product", "pieces", "week")


def scenario_toml(scenario: Scenario) -> str:
    """The scenario as TOML text; what is as by default is left out."""
    own = ("name", "horizon_weeks", "discount_rate_per_year", "starts_in_month")
    lines = ["[scenario]", *(f"{key} = {_value(getattr(scenario, key))}" for key in own)]
    parts = [
        ("[helper]", scenario.helper),
        *(("[[equipment]]", machine) for machine in scenario.equipment),
        ("[move]", scenario.move),
        ("[demand]", scenario.demand),
        *(("[[demand.orders]]", order) for order in _orders(scenario)),
    ]
    for head, part in parts:
        if part is not None:
            lines += ["", head, *_pairs(part, head)]
    return "\n".join(lines) + "\n"


def _orders(scenario: Scenario) -> tuple[Order, ...]:
    return scenario.demand.orders if scenario.demand else ()


def _pairs(part: DataclassInstance, head: str) -> Iterator[str]:
    for field in fields(part):
        value = getattr(part, field.name)
        as_default = field.default is not MISSING and value == field.default
        if field.name == "orders" or (as_default and field.name not in ALWAYS):
            continue
        renamed = head == "[[equipment]]" or field.name == "factor_products"
        yield f"{NAMED.get(field.name, field.name) if renamed else field.name} = {_value(value)}"


def _value(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, Estimate):
        return f"[{value.low!r}, {value.high!r}]" if value.is_range else repr(value.low)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, tuple) and value and isinstance(value[0], tuple):
        return _table(value)
    if isinstance(value, tuple):
        return f"[{', '.join(map(_value, value))}]"
    return repr(value)


def _table(pairs: tuple[tuple[str, object], ...]) -> str:
    """Pairs as a table within a line; one of name "" as its number alone."""
    if [name for name, _ in pairs] == [""]:
        return _value(pairs[0][1])
    return "{" + ", ".join(f"{quoted(name)} = {_value(value)}" for name, value in pairs) + "}"
