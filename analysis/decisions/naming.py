"""What the figures in doubt are called: the names of their draws, of the tornado's bars."""

from __future__ import annotations

INTERRUPTIONS = "interruptions"


def skill_name(kind: str, key: tuple[str, str, str]) -> str:
    """Of a `time` or a `practice`: `time: sew, desk journal, by maker`."""
    hand, product, operation = key
    return f"{kind}: {operation}, {product}, by {hand}"


def step_name(kind: str, operation: str, product: str) -> str:
    """Of `rework`, `scrap`, `setup` or `machine`: `setup: foil-stamp, desk journal`."""
    return f"{kind}: {operation}, {product}"


def demand_name(product: str, variant: str) -> str:
    """`demand: desk journal linen`."""
    return f"demand: {product} {variant}".rstrip()
