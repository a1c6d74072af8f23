"""Where a batch's minutes go: one bar an operation, one stretch of it an activity."""

import altair as alt
import pandas as pd

from analysis.charts import look
from analysis.charts.stretches import Kind, decimals, fill, stretches, strewn
from analysis.records.figures import number

ACTIVITIES = {
    "operation": Kind("making", look.SKY, None),
    "inspection": Kind("checking", look.GREEN, "circle"),
    "setup": Kind("setting up", look.ORANGE, "upright"),
    "rework": Kind("putting right", look.VERMILION, "cross"),
    "transport": Kind("walking", look.PURPLE, "triangle-right"),
    "delay": Kind("interrupted", look.GREY, "level"),
}


def batch_minutes_chart(minutes: pd.DataFrame, per: str, totals: pd.DataFrame) -> alt.Chart:
    """Bars of `minutes` by operation, in the order given, split by activity.

    `minutes` has the columns operation, activity (of `ACTIVITIES`) and minutes; `per` is what the
    minutes are for, "piece" or "batch"; `totals` has operation, total, low and high in minutes, the
    ends NaN where there is no range. Raises ValueError on an empty frame.
    """
    look.refuse_nothing(minutes, "minutes")
    order = list(dict.fromkeys(minutes["operation"]))
    drawn = stretches(minutes, "operation", "activity", "minutes", ACTIVITIES)
    title = f"minutes per {per}"
    y = alt.Y("operation:N", sort=order, title=None)
    shown = [kind for activity, kind in ACTIVITIES.items() if activity in set(drawn["activity"])]
    bars = (
        alt.Chart(drawn)
        .mark_bar(stroke=look.INK, strokeWidth=0.6)
        .encode(
            y=y,
            x=alt.X("start:Q", title=title, axis=alt.Axis(tickCount=5)),
            x2="end:Q",
            fill=fill(shown),
            tooltip=[
                alt.Tooltip("operation:N", title="operation"),
                alt.Tooltip("said:N", title="time spent"),
                alt.Tooltip("minutes:Q", title=title, format=",.2f"),
                alt.Tooltip("share:Q", title="share of all", format=".1%"),
            ],
        )
    )
    totals = totals[["operation", "total", "low", "high"]]
    totals = totals.assign(end=totals[["total", "high"]].max(axis=1))
    figures = f",.{decimals(totals['total'].max())}f"
    labels = (
        alt.Chart(totals)
        .mark_text(align="left", dx=5, color=look.INK)
        .encode(y=y, x="end:Q", text=alt.Text("total:Q", format=figures))
    )
    ranges = (
        alt.Chart(totals.dropna(subset=["low"]))
        .mark_rule(color=look.INK, strokeWidth=2)
        .encode(y=y, x="low:Q", x2="high:Q")
    )
    layers = alt.layer(bars, strewn(drawn, "operation", y, shown), ranges, labels)
    description = (
        f"Bar chart of {title} by operation, each bar split by what the time was spent on. "
        + "; ".join(_told(row) for row in totals.itertuples())
        + "."
    )
    return look.finished(layers, description, alt.Step(look.ROW_PIXELS))


def _told(row) -> str:
    """An operation's minutes with their range, for those who do not see the chart."""
    said = f"{row.operation} {number(row.total, 1)} minutes"
    return f"{said} ({number(row.low, 1)} to {number(row.high, 1)})" if row.low == row.low else said
