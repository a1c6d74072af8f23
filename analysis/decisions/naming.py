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


def forgetting_name(hand: str) -> str:
    """What time away costs one person, in all that they do: `forgetting: maker`."""
    return f"forgetting: {hand}"


def pace_name(hand: str) -> str:
    """The draw that moves all times of a newcomer."""
    return f"pace of {hand}"


def learning_name(hand: str) -> str:
    """The draw that moves all practice of a newcomer."""
    return f"learning of {hand}"
