"""What to plan: products and pieces, who is there, when it begins, what a change of task costs."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import streamlit as st

from analysis.flow.work import Batch, skills
from analysis.records.shop import DAYS
from analysis.screens import source, words

if TYPE_CHECKING:
    import pandas as pd

    from analysis.records.shop import Shop
    from analysis.screens.answers import Desk

ANOTHER = "another person"
CHANGE_SECONDS = 30  # common practice, no source: where the laps cannot tell yet
MOST_PIECES = 500
MOST_BATCHES = 4


@dataclass(frozen=True)
class Choice:
    """What the page plans; `start` carries the shop's zone."""

    batches: tuple[Batch, ...]
    people: tuple[str, ...]
    start: datetime
    change_seconds: float


def chosen(desk: Desk, now: datetime) -> Choice:
    """The choice as it stands in the page's fields, the likeliest one to begin with."""
    shop, routing = desk.settings
    offered = makes(shop, routing)
    first, change = desk.kept("order defaults", (), lambda: _defaults(desk, offered))
    with st.container(horizontal=True, vertical_alignment="bottom"):
        made = st.selectbox(
            "Make", offered, index=offered.index(first), format_func=name, key="order_make"
        )
        pieces = st.number_input(
            "Pieces", 1, MOST_PIECES, batch_size(shop, made), width=140,
            key=f"order_pieces_{name(made)}",
        )  # fmt: skip
    everybody = people(shop, routing)
    who = st.pills(
        "Who is there", everybody, selection_mode="multi", default=everybody[:1], key="order_people"
    )
    with st.expander("When to begin, changes of task, another batch beside it"):
        start = _start(shop, now)
        seconds = st.number_input(
            "Seconds lost at a change of task", 0, 3600, round(change), key="order_change",
            help="Putting one thing away and taking up the next. Your laps say how much slower the "
            "first pieces after a change are; where they cannot tell yet, 30 s stand here.",
        )  # fmt: skip
        others = _others(shop, offered)
    batches = (Batch(made[0], int(pieces), made[1]), *others)
    return Choice(batches, tuple(who or everybody[:1]), start, float(seconds))


def name(made: tuple[str, str]) -> str:
    """A product with its variant, as a list shows it."""
    return ", ".join(part for part in made if part)


def makes(shop: Shop, routing: pd.DataFrame) -> list[tuple[str, str]]:
    """(product, variant) of everything that has a route, each variant of its own."""
    found: dict[tuple[str, str], None] = {}
    for product in dict.fromkeys(routing["product"]):
        variants = [row.variant for row in shop.products if row.name == product]
        variants += list(routing.loc[routing["product"] == product, "variant"])
        named = [variant for variant in dict.fromkeys(variants) if variant]
        found |= dict.fromkeys((product, variant) for variant in named or [""])
    return list(found)


def batch_size(shop: Shop, made: tuple[str, str]) -> int:
    """How many the shop makes of it in a batch."""
    return min(shop.batch_size(*made), MOST_PIECES)


def people(shop: Shop, routing: pd.DataFrame) -> list[str]:
    """Everybody who could be there: skilled ones first, then the shop's, then one more."""
    skilled = [who for text in routing["skill"] for who in skills(text)]
    names = list(dict.fromkeys([*skilled, *(worker.name for worker in shop.workers)]))
    return [*(names or ["maker"]), ANOTHER]


def _defaults(desk: Desk, offered: list[tuple[str, str]]) -> tuple[tuple[str, str], float]:
    """What the shelf is shortest of, and what a change costs by the laps."""
    if not desk.here.store.lap_count():
        return offered[0], CHANGE_SECONDS
    from analysis.flow.present import change_seconds

    shelf = source.week_figures(desk.here).shelf
    shelf = shelf[shelf["make_rank"].notna()].sort_values("make_rank")
    short = [key for key in zip(shelf["product"], shelf["variant"], strict=True) if key in offered]
    change = change_seconds(desk.figures.learning.cells, CHANGE_SECONDS)
    return (short or offered)[0], change


def _start(shop: Shop, now: datetime) -> datetime:
    """The moment the session begins; at first the shop's next opening."""
    opening = next_opening(shop, now)
    with st.container(horizontal=True):
        day = st.date_input("Begin on", opening.date(), key="order_day")
        clock = st.time_input("at", opening.time(), step=900, key="order_clock")
    return datetime.combine(day, clock, ZoneInfo(shop.timezone))


def next_opening(shop: Shop, now: datetime) -> datetime:
    """The next time the shop opens in the morning, by its own clock."""
    local = now.astimezone(ZoneInfo(shop.timezone))
    for offset in range(15):
        day = local.date() + timedelta(days=offset)
        hours = shop.week.get(DAYS[day.weekday()], ())
        if hours:
            first = min(hours)[0]
            opening = datetime.combine(day, time(first // 3600, first % 3600 // 60), local.tzinfo)
            if opening > local:
                return opening
    return local.replace(second=0, microsecond=0)


def _others(shop: Shop, offered: list[tuple[str, str]]) -> tuple[Batch, ...]:
    """Further batches made in the same session, sharing glue-up, warm press and waits."""
    count = int(st.number_input("More batches in the same session", 0, MOST_BATCHES - 1, 0,
                                key="order_more"))  # fmt: skip
    others = []
    for place in range(count):
        with st.container(horizontal=True, vertical_alignment="bottom"):
            made = st.selectbox(
                f"Batch {place + 2}", offered, format_func=name, key=f"order_make_{place}"
            )
            pieces = st.number_input(
                f"Pieces of batch {place + 2}", 1, MOST_PIECES, batch_size(shop, made), width=160,
                key=f"order_pieces_{place}_{name(made)}",
            )  # fmt: skip
        others.append(Batch(made[0], int(pieces), made[1]))
    return tuple(others)


def said(batches: tuple[Batch, ...]) -> str:
    """The batches in words: `25 pocket notebook, linen`."""
    return " and ".join(
        f"{batch.units} {words.variant(batch.product, batch.variant)}" for batch in batches
    )


def pace(desk: Desk, people: tuple[str, ...]) -> dict[tuple[str, str], float]:
    """Present seconds per piece, to three digits: a lap more must not turn the plan over."""
    if not desk.here.store.lap_count():
        return {}
    from analysis.flow.present import present_of

    found = present_of(desk.figures.learning.cells, people)
    return {key: float(f"{seconds:.3g}") for key, seconds in found.items()}
