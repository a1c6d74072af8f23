"""Order of work, batch size: money and time of a good piece against the size of the batch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from analysis.flow.batch_size import BatchSizes
from analysis.flow.work import Batch
from analysis.screens import answers, glossary, order_choice, words
from analysis.screens.order_words import span

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from analysis.flow.batch_size import Costs, Seconds
    from analysis.records.shop import Shop
    from analysis.screens.order_of_work import Seen

MONEY = "money"


@dataclass(frozen=True)
class Sizes:
    """The answer on batch size, ready to be shown."""

    sentence: str
    points: tuple[str, ...]
    result: BatchSizes
    unit: str
    table: answers.Table


def sizes(seen: Seen) -> None:
    """Money and time of a good piece against the size of the batch, the flat region first."""
    batch, people = seen.choice.batches[0], seen.choice.people
    choice = (batch.product, batch.variant, people, seen.choice.change_seconds)
    page = seen.desk.kept("batch sizes", choice, lambda: _sizes(seen, batch))
    answers.answer(page.sentence, page.points)
    glossary.beside("batch", "setup", "work in process")
    answers.picture(seen.desk, "batch sizes", choice, lambda: _sizes_drawn(page))
    st.caption(
        "Shaded: batches within 2 % of the best, where another size hardly matters. Squares: more "
        "pieces than rack or press hold at once; the sizes named above leave these out."
    )
    answers.table(page.table, "batch_size", "Each batch size with its time and money")
    answers.surer([
        "What an hour costs, material and pieces asked for a week, on *Shop*: without them the "
        "hours alone decide.",
        "Setups timed as laps of their own (*Setup* on the bench page): they are what large "
        "batches share.",
    ])  # fmt: skip
    answers.worked_out(SIZES_WORKED_OUT)


def _sizes(seen: Seen, batch: Batch) -> Sizes:
    from analysis.flow.batch_size import batch_sizes

    shop, routing = seen.desk.settings
    costs, seconds = _costs(seen, batch), _practice(seen, batch.product)
    result = batch_sizes(
        routing, batch.product, batch.variant, max(1, len(seen.choice.people)), costs,
        seconds=seconds, change_seconds=seen.choice.change_seconds, file="the route",
    )  # fmt: skip
    unit = (f"{shop.currency} per good piece" if result.judged_by == MONEY
            else "minutes of work per good piece")  # fmt: skip
    own = result.table.set_index("units")
    low, high = _worth_making(result)
    what = words.variant(batch.product, batch.variant)
    largest, one = (own.loc[size] for size in (high, 1))
    usual = order_choice.batch_size(shop, (batch.product, batch.variant))
    size = f"{low} to {high}" if high > low else f"{low}"
    sentence = (
        f"Make {what} in batches of {size}: within these the size hardly matters"
        f"{_yours(usual, low, high)}."
    )
    points = (
        f"A good piece takes {words.number(largest.worker_minutes, 1)} min of work in batches of "
        f"{high}, {words.number(one.worker_minutes, 1)} min made singly (setting up, "
        "and hands that find their pace; rests, interruptions, walks and mending come on top).",
        _said_money(own, result, (high, usual), shop.currency),
        f"A batch of {low} is through in {span(own.elapsed_seconds[low])} with its waits but "
        f"without nights, one of {high} in {span(own.elapsed_seconds[high])}: of sizes that "
        "cost alike, the smaller is sooner on the shelf, and a fault in it spoils fewer.",
        _said_places(result.table),
    )
    return Sizes(sentence, tuple(filter(None, points)), result, unit, _sizes_table(result, shop))


def _worth_making(result: BatchSizes) -> tuple[int, int]:
    """The flat region, as far as rack and press take a batch in one go."""
    low, high = result.flat
    held = result.table.loc[result.table["fits"], "units"]
    most = int(held.max()) if len(held) else high
    return (low, min(high, most)) if low <= most else (low, high)


def _yours(usual: int, low: int, high: int) -> str:
    if low <= usual <= high:
        return f", and your {usual} {'is' if usual == 1 else 'are'} among them"
    if usual == 1:
        return "; yours of 1 are smaller"
    return f"; your {usual} are {'fewer' if usual < low else 'more'}"


def _said_money(
    own: pd.DataFrame, result: BatchSizes, sizes: tuple[int, ...], currency: str
) -> str:
    """What a good piece costs in batches of about these sizes, and made singly."""
    if result.judged_by != MONEY:
        return ("What a piece costs is not known yet (an hour's cost and material, on *Shop*), so "
                "minutes of work decide.")  # fmt: skip
    near = dict.fromkeys(int(own.index[abs(own.index - size).argmin()]) for size in sizes)
    each = [f"{words.money(own.money[size], currency)} in batches of {size}" for size in near]
    return (
        f"A good piece costs about {', '.join(each)}, "
        f"{words.money(own.money[1], currency)} singly. That is to compare sizes by: material, "
        "what lies tied up and the minutes above, without rests, mending or overhead. What a piece "
        "costs in all stands on *What a piece costs*."
    )


def _said_places(table: pd.DataFrame) -> str:
    tight = table.loc[~table["fits"], "units"]
    if not len(tight):
        return ""
    return (
        f"From {tight.iloc[0]} pieces on, rack or press do not take a batch in one go: larger ones "
        "gain next to nothing and get in the way."
    )


def _costs(seen: Seen, batch: Batch) -> Costs:
    from analysis.flow.batch_size import Costs

    shop, _ = seen.desk.settings
    row = shop.product(batch.product, batch.variant) or shop.product(batch.product)
    pay = [w.cost_per_hour for w in shop.workers
           if w.name in seen.choice.people and w.cost_per_hour is not None]  # fmt: skip
    return Costs(
        cost_per_hour=sum(pay) / len(pay) if pay else None,
        material_cost=row.material_cost if row else None,
        good_share=_good_share(seen, batch.product),
        demand_per_week=row.demand_per_week if row else None,
        working_seconds_per_week=float(shop.week_seconds) or 144_000.0,
    )


def _good_share(seen: Seen, product: str) -> float:
    """Of the pieces started, those that come out good, by the laps."""
    if not seen.desk.here.store.lap_count():
        return 1.0
    own = seen.desk.figures.rolled_yield
    own = own.loc[own["product"] == product, "good_share"].dropna()
    return float(own.iloc[0]) if len(own) and own.iloc[0] > 0 else 1.0


def _practice(seen: Seen, product: str) -> Callable[[int], Seconds] | None:
    """Seconds per piece in a batch of so many, practice within it counted; None without laps."""
    if not seen.desk.here.store.lap_count():
        return None
    from analysis.flow.batch_size import practice_in_batch

    return practice_in_batch(seen.desk.figures.learning, product)


def _sizes_drawn(page: Sizes) -> alt.Chart:
    from analysis.charts.batch_size import batch_size_chart

    return batch_size_chart(page.result.table, page.result.judged_by, page.unit)


def _sizes_table(result: BatchSizes, shop: Shop) -> answers.Table:
    import pandas as pd

    own = result.table
    own = own[own["units"].isin((1, 2, 5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 140, 200))]
    money = f"{shop.currency} per good piece"
    frame = pd.DataFrame(
        {
            "pieces": own["units"],
            "work (min per good piece)": own["worker_minutes"],
            money: own["money"],
            "of it setting up (min)": own["setup_minutes"],
            "batch through after (h)": own["elapsed_seconds"] / 3600,
            f"tied up ({shop.currency} per piece)": own["tied_up"],
            "most waiting at once (pieces)": own["most_waiting"],
            "rack and press": own["fits"].map({True: "hold it", False: "too small"}),
        }
    )
    formats = dict.fromkeys(frame.columns[[1, 2, 3, 5]], "%.2f") | {frame.columns[4]: "%.1f"}
    return answers.Table.of(frame, formats)


SIZES_WORKED_OUT = """
- **Work per good piece** = (setups + work, practice within the batch counted) / good pieces, with
  the share that comes out good by your laps.
- **Money** = work × what an hour costs + material / good share + what the money tied up costs
  (10 % a year, from the start of the batch until half of it is sold) + nothing for rack places.
- **Flat**: within 2 % of the least (common practice, no source). The curve has no sharp best, as
  the classical lot-size formula (Harris 1913) shows.
- **Batch through after**: by simple rules, working hours without nights; sizes are compared by like
  with like.
"""
