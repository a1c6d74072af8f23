"""How long the stock of each variant lasts at the present rate of sales."""

import math

import altair as alt
import numpy as np
import pandas as pd

from analysis.charts import look
from analysis.records.figures import number

SOON_DAYS = 7
LETTER, NARROWEST = 6.0, 200  # pixels: of a letter, and of the bars' room on a phone
_STATES = ("gone within a week", "lasts longer")
_SHELF, _WAY = "on the shelf", "on the bench or packed"


def stock_chart(stock: pd.DataFrame, most_days: float = 90) -> alt.Chart:
    """One bar a product and variant: the days its stock lasts, shortest in all first.

    `stock` has product, variant, lasts_days and, where known, stock (pieces), lasts_days_low and
    lasts_days_high (a whisker), and on_its_way_days: what is packed or on the bench, a lighter and
    dashed second part. Bars and whiskers end at `most_days`, and the words beside them say what
    they stand for. Raises ValueError where no stock's days are known.
    """
    known = stock.dropna(subset=["lasts_days"])
    look.refuse_nothing(known, "stock")
    frame = _named(known, most_days)
    y = alt.Y("name:N", sort=list(frame["name"]), title=None, axis=alt.Axis(labelLimit=150))
    x = _days(frame)
    whiskers = alt.Chart(frame.dropna(subset=["low", "high"])).mark_rule(
        color=look.INK, strokeWidth=2
    )
    words = alt.Chart(frame).mark_text(align="left", dx=6, color=look.INK)
    layers = alt.layer(
        _bars(frame, x, y),
        _on_its_way(frame, y),
        whiskers.encode(x="low:Q", x2="high:Q", y=y),
        words.encode(x="label_at:Q", y=y, text="said:N"),
    )
    described = "; ".join(f"{row.name} {row.said}" for row in frame.itertuples(index=False))
    description = f"Days the stock lasts, shortest first: {described}."
    return look.finished(layers, description, alt.Step(look.ROW_PIXELS))


def _days(frame: pd.DataFrame) -> alt.X:
    """Days from 0 to the longest bar, with room to the right for the words beside each bar."""
    taken = (6 + LETTER * frame["said"].str.len()) / NARROWEST
    room = max((frame["label_at"] / (1 - taken.clip(upper=0.7))).max(), 10.0)
    longest = max(frame["label_at"].max(), 1.0)
    step = next(
        step for step in (1, 2, 5, 7, 10, 20, 50, 100) if longest / step <= 5 or step == 100
    )
    named = list(range(0, int(longest) + 1, step))
    scale = alt.Scale(domain=[0, room], nice=False)
    axis = alt.Axis(values=named, titleAnchor="start")  # the words take the room on the right
    return alt.X("shown:Q", title="days the stock lasts", axis=axis, scale=scale)


def _named(known: pd.DataFrame, most_days: float) -> pd.DataFrame:
    """One row a bar: its name, its length within `most_days`, and what is said beside it."""
    wanted = ["product", "variant", "stock", "lasts_days", "lasts_days_low", "lasts_days_high"]
    way = known.get("on_its_way_days", 0.0)
    known = known.assign(way=way, in_all=known["lasts_days"] + way)
    frame = known.sort_values("in_all", kind="stable", ignore_index=True)
    way, in_all = frame["way"].fillna(0), frame["in_all"].fillna(frame["lasts_days"])
    frame = frame.reindex(columns=wanted)
    product, variant = frame["product"].astype(str), frame["variant"].astype(str)
    days = frame["lasts_days"].astype(float)
    low, high = (frame[f"lasts_days_{end}"].astype(float) for end in ("low", "high"))
    shown = days.clip(0, most_days)
    return pd.DataFrame(
        {
            "name": product.where(variant == "", product + ", " + variant),
            "stock": frame["stock"].astype(float),
            "days": days.where(np.isfinite(days)),
            "shown": shown,
            "low": low.clip(0, most_days),
            "high": high.clip(0, most_days),
            "in_all": in_all.clip(0, most_days),
            "way": way,
            "part": _SHELF,
            "label_at": in_all.clip(0, most_days).combine(high.clip(0, most_days), np.fmax),
            "state": np.where(days <= SOON_DAYS, *_STATES),
            "said": [_said(*pair, most_days) for pair in zip(days, in_all, strict=True)],
        }
    )


def _said(days: float, in_all: float, most_days: float) -> str:
    """How long the shelf lasts and, where that is longer, with what is on its way: the order."""
    if not math.isfinite(days):
        return f"over {number(most_days)} days"
    count = f"{number(days)} day" if round(days) == 1 else f"{number(days)} days"
    said = f"{count}, soon gone" if days <= SOON_DAYS else count
    if round(in_all) != round(days):
        said += f"; {number(in_all)} in all"
    return f"{said}, off the chart" if in_all > most_days else said


def _on_its_way(frame: pd.DataFrame, y: alt.Y) -> alt.Chart:
    """What will last longer once it is put away: told by dashes and a lighter ground."""
    longer = frame[frame["in_all"] > frame["shown"]].assign(part=_WAY)
    bars = alt.Chart(longer).mark_bar(color=look.SKY, stroke=look.GREY, strokeWidth=1.5)
    tooltip = [
        alt.Tooltip("name:N", title="product"),
        alt.Tooltip("way:Q", title="on the bench or packed, days", format=",.0f"),
    ]
    return bars.encode(x="shown:Q", x2="in_all:Q", y=y, tooltip=tooltip, **_parts(frame))


def _parts(frame: pd.DataFrame) -> dict[str, alt.StrokeDash | alt.FillOpacity]:
    """What tells the shelf from what is on its way, with one legend for both."""
    shown = [_SHELF, _WAY] if (frame["in_all"] > frame["shown"]).any() else [_SHELF]
    legend = alt.Legend(symbolType="square", symbolFillColor=look.SKY, labelLimit=200, columns=1)
    styles = {"range": [[1, 0], [4, 3]][: len(shown)]}, {"range": [1, 0.25][: len(shown)]}
    dash, ground = (alt.Scale(domain=shown, **style) for style in styles)
    return {
        "strokeDash": alt.StrokeDash("part:N", title=None, scale=dash, legend=legend),
        "fillOpacity": alt.FillOpacity("part:N", title=None, scale=ground, legend=legend),
    }


def _bars(frame: pd.DataFrame, x: alt.X, y: alt.Y) -> alt.Chart:
    colours = alt.Scale(domain=list(_STATES), range=[look.VERMILION, look.SKY])
    tooltip = [
        alt.Tooltip("name:N", title="product"),
        alt.Tooltip("days:Q", title="lasts, days", format=",.0f"),
        alt.Tooltip("low:Q", title="range from, days", format=",.0f"),
        alt.Tooltip("high:Q", title="range to, days", format=",.0f"),
        alt.Tooltip("stock:Q", title="pieces in stock", format=",.0f"),
    ]
    bars = alt.Chart(frame).mark_bar(stroke=look.INK, strokeWidth=0.6)
    return bars.encode(
        x=x,
        y=y,
        color=alt.Color("state:N", scale=colours, legend=None),  # said beside each bar too
        tooltip=tooltip,
        **_parts(frame),
    )
