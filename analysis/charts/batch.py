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
    layers = alt.layer(
        _bars(drawn, y, shown, title), strewn(drawn, "operation", y, shown), *_totals(totals, y)
    )
    return look.finished(layers, _described(totals, title), alt.Step(look.ROW_PIXELS))


def _bars(drawn: pd.DataFrame, y: alt.Y, shown: list[Kind], title: str) -> alt.Chart:
    """One stretch an activity, along the operation's bar."""
    tooltip = [
        alt.Tooltip("operation:N", title="operation"),
        alt.Tooltip("said:N", title="time spent"),
        alt.Tooltip("minutes:Q", title=title, format=",.2f"),
        alt.Tooltip("share:Q", title="share of all", format=".1%"),
    ]
    x = alt.X("start:Q", title=title, axis=alt.Axis(tickCount=5))
    bars = alt.Chart(drawn).mark_bar(stroke=look.INK, strokeWidth=0.6)
    return bars.encode(y=y, x=x, x2="end:Q", fill=fill(shown), tooltip=tooltip)


def _totals(totals: pd.DataFrame, y: alt.Y) -> list[alt.Chart]:
    """The range across the end of each bar, where it has one, and its figure behind both."""
    totals = totals[["operation", "total", "low", "high"]]
    totals = totals.assign(end=totals[["total", "high"]].max(axis=1))
    rule = alt.Chart(totals.dropna(subset=["low"])).mark_rule(color=look.INK, strokeWidth=2)
    words = alt.Chart(totals).mark_text(align="left", dx=5, color=look.INK)
    figures = alt.Text("total:Q", format=f",.{decimals(totals['total'].max())}f")
    return [
        rule.encode(y=y, x="low:Q", x2="high:Q"),
        words.encode(y=y, x="end:Q", text=figures),
    ]


def _described(totals: pd.DataFrame, title: str) -> str:
    """What a screen reader says in place of the picture: each operation's minutes and range."""
    each, places = [], decimals(totals["total"].max())  # as on the chart
    for row in totals.itertuples():
        said = f"{row.operation} {number(row.total, places)} minutes"
        known = row.low == row.low
        span = f" ({number(row.low, places)} to {number(row.high, places)})" if known else ""
        each.append(said + span)
    return (
        f"Bar chart of {title} by operation, each bar split by what the time was spent on. "
        + "; ".join(each)
        + "."
    )
