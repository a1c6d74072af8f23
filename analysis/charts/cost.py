"""What a good piece costs: a bar a piece, split by what the money goes into, against its price."""

import altair as alt
import pandas as pd

from analysis.charts import look
from analysis.charts.stretches import Kind, fill, stretches, strewn
from analysis.records.figures import number

PARTS = {
    "labour": Kind("labour", look.SKY, None),
    "material": Kind("material", look.ORANGE, "upright"),
    "rework_and_scrap": Kind("putting right", look.VERMILION, "cross"),
    "overhead": Kind("overhead", look.GREY, "level"),
}
ROW_PIXELS = 36  # a bar, its range, and the mark of the price across both
LETTER, NARROWEST = 7, 200  # pixels: of a digit, and of the bars' room on a phone


def cost_chart(pieces: pd.DataFrame, currency: str) -> alt.Chart:
    """A bar of each of `pieces`, in the order given, split into the parts of its cost.

    `pieces` has the columns piece (its name), those of `PARTS` (NaN where not known),
    cost_per_good_piece with cost_low and cost_high, and price; all in `currency` per good piece.
    Raises ValueError where no part of any cost is known.
    """
    look.refuse_nothing(pieces, "pieces")
    parts = pieces.melt(["piece"], list(PARTS), "part", "money").dropna(subset="money")
    order = list(pieces["piece"])
    parts = parts.assign(piece=pd.Categorical(parts["piece"], order)).sort_values("piece")
    drawn = stretches(parts, "piece", "part", "money", PARTS)
    look.refuse_nothing(drawn, "the parts of the cost")
    shown = [kind for part, kind in PARTS.items() if part in set(drawn["part"])]
    y = alt.Y("piece:N", sort=order, title=None, axis=alt.Axis(labelLimit=150))
    longest = max(drawn["end"].max(), pieces[["price", "cost_high"]].max().max())
    words = 14 + LETTER * len(number(longest, 2))  # the price, right of all that is drawn
    x = alt.X(
        "start:Q",
        title=f"{currency} per good piece",
        scale=alt.Scale(domain=[0, longest / (1 - words / NARROWEST)], nice=False),
        axis=alt.Axis(tickCount=5),
    )
    bars = (
        alt.Chart(drawn)
        .mark_bar(stroke=look.INK, strokeWidth=0.6, height=18)
        .encode(x=x, x2="end:Q", y=y, fill=fill(shown, 2), tooltip=_tooltip(currency))
    )
    layers = alt.layer(
        bars, strewn(drawn, "piece", y, shown, 2), *_ranges(pieces, y), *_prices(pieces, drawn, y)
    )
    return look.finished(layers, _described(pieces, currency), alt.Step(ROW_PIXELS))


def _tooltip(currency: str) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("piece:N", title="piece"),
        alt.Tooltip("said:N", title="goes into"),
        alt.Tooltip("money:Q", title=f"{currency} a piece", format=",.2f"),
    ]


def _ranges(pieces: pd.DataFrame, y: alt.Y) -> list[alt.Chart]:
    """The range of each cost, across the end of its bar."""
    known = pieces.dropna(subset=["cost_low", "cost_high"])
    rule = alt.Chart(known[["piece", "cost_low", "cost_high"]])
    return [rule.mark_rule(color=look.INK, strokeWidth=3).encode(x="cost_low:Q", x2="cost_high:Q",
                                                                 y=y)]  # fmt: skip


def _prices(pieces: pd.DataFrame, drawn: pd.DataFrame, y: alt.Y) -> list[alt.Chart]:
    """An upright tick at each price, and the price right of it and of its bar."""
    known = pieces.dropna(subset=["price"])[["piece", "price", "cost_high"]]
    bar = known["piece"].map(drawn.groupby("piece", observed=True)["end"].max()).astype(float)
    ends = pd.DataFrame({"price": known["price"], "range": known["cost_high"], "bar": bar})
    known = known.assign(
        said=[number(price, 2) for price in known["price"]], label_at=ends.max(axis=1)
    )
    at = alt.Chart(known[["piece", "price", "said", "label_at"]]).encode(y=y)
    tick = at.mark_tick(color=look.INK, thickness=3, height=28)
    words = at.mark_text(align="left", baseline="middle", dx=6, color=look.INK)
    tooltip = [alt.Tooltip("said:N", title="price")]
    return [tick.encode(x="price:Q", tooltip=tooltip), words.encode(x="label_at:Q", text="said:N")]


def _described(pieces: pd.DataFrame, currency: str) -> str:
    parts = []
    for row in pieces.itertuples(index=False):
        cost = f"{number(row.cost_per_good_piece, 2)}" if row.cost_low > 0 else "not known in full"
        price = f"price {number(row.price, 2)}" if row.price > 0 else "price not known"
        parts.append(f"{row.piece}: cost {cost}, {price}")
    return f"Bar chart of the cost of a good piece in {currency}: " + "; ".join(parts) + "."
