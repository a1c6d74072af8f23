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


def batch_minutes_chart(minutes: pd.DataFrame, per: str) -> alt.Chart:
    """Bars of `minutes` by operation, in the order given, split by activity.

    `minutes` has the columns operation, activity (of `ACTIVITIES`) and minutes; `per` is what the
    minutes are for, "piece" or "batch". Raises ValueError on an empty frame.
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
    totals = drawn.groupby("operation", observed=True, sort=False)["minutes"].sum()
    labels = (
        alt.Chart(totals.rename("total").reset_index())
        .mark_text(align="left", dx=5, color=look.INK)
        .encode(y=y, x="total:Q", text=alt.Text("total:Q", format=f",.{decimals(totals.max())}f"))
    )
    layers = alt.layer(bars, strewn(drawn, "operation", y, shown), labels)
    description = (
        f"Bar chart of {title} by operation, each bar split by what the time was spent on. "
        + "; ".join(f"{name} {number(total, 1)} minutes" for name, total in totals.items())
        + "."
    )
    return look.finished(layers, description, alt.Step(look.ROW_PIXELS))
