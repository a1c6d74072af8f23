"""Where a batch's minutes go: one bar an operation, one stretch of it an activity."""

import altair as alt
import numpy as np
import pandas as pd

from analysis.charts import look

# activity: (plain words, colour, symbol that is strewn over the stretch; None = left plain)
ACTIVITIES = {
    "operation": ("making", look.SKY, None),
    "inspection": ("checking", look.GREEN, "circle"),
    "setup": ("setting up", look.ORANGE, "upright"),
    "rework": ("putting right", look.VERMILION, "cross"),
    "transport": ("walking", look.PURPLE, "triangle-right"),
    "delay": ("interrupted", look.GREY, "level"),
}
_WORDS = {activity: words for activity, (words, _, _) in ACTIVITIES.items()}
# Vega's own shapes, and two narrow boxes drawn in its square from -1 to 1.
_PATHS = {"upright": "M-.3,-1H.3V1H-.3Z", "level": "M-1,-.3H1V.3H-1Z"}
_SYMBOLS_ACROSS = 32  # symbols over the full width of the chart


def batch_minutes_chart(minutes: pd.DataFrame, per: str) -> alt.Chart:
    """Bars of `minutes` by operation, in the order given, split by activity.

    `minutes` has the columns operation, activity (of `ACTIVITIES`) and minutes; `per` is what the
    minutes are for, "piece" or "batch". Raises ValueError on an empty frame.
    """
    look.refuse_nothing(minutes, "minutes")
    order = list(dict.fromkeys(minutes["operation"]))
    stretches = _stretches(minutes, order)
    title = f"minutes per {per}"
    y = alt.Y("operation:N", sort=order, title=None)
    shown = [a for a in ACTIVITIES if a in set(stretches["activity"])]
    bars = (
        alt.Chart(stretches)
        .mark_bar(stroke=look.INK, strokeWidth=0.6)
        .encode(
            y=y,
            x=alt.X("start:Q", title=title, axis=alt.Axis(tickCount=5)),
            x2="end:Q",
            fill=_fill(shown),
            tooltip=[
                alt.Tooltip("operation:N", title="operation"),
                alt.Tooltip("kind:N", title="time spent"),
                alt.Tooltip("minutes:Q", title=title, format=",.2f"),
                alt.Tooltip("share:Q", title="share of all", format=".1%"),
            ],
        )
    )
    totals = stretches.groupby("operation", observed=True, sort=False)["minutes"].sum()
    labels = (
        alt.Chart(totals.rename("total").reset_index())
        .mark_text(align="left", dx=5, color=look.INK)
        .encode(y=y, x="total:Q", text=alt.Text("total:Q", format=f",.{_decimals(totals.max())}f"))
    )
    layers = alt.layer(bars, _strewn(stretches, y, shown), labels)
    description = (
        f"Bar chart of {title} by operation, each bar split by what the time was spent on. "
        + "; ".join(f"{name} {total:,.1f} minutes" for name, total in totals.items())
        + "."
    )
    return look.finished(layers, description, alt.Step(look.ROW_PIXELS))


def _stretches(minutes: pd.DataFrame, order: list[str]) -> pd.DataFrame:
    """Each activity's stretch of its operation's bar: start and end in minutes, share of all."""
    frame = minutes.groupby(["operation", "activity"], observed=True, sort=False, as_index=False)
    frame = frame["minutes"].sum().query("minutes > 0").astype({"operation": str, "activity": str})
    rank = {activity: place for place, activity in enumerate(ACTIVITIES)}
    place = pd.Series({operation: place for place, operation in enumerate(order)})
    frame = frame.assign(_row=frame["operation"].map(place), _rank=frame["activity"].map(rank))
    frame = frame.sort_values(["_row", "_rank"], ignore_index=True)
    end = frame.groupby("operation", sort=False)["minutes"].cumsum()
    return (
        frame.assign(
            start=end - frame["minutes"],
            end=end,
            share=frame["minutes"] / frame["minutes"].sum(),
            kind=frame["activity"].map(_WORDS),
        )
        .drop(columns=["_row", "_rank", "activity"])
        .assign(activity=frame["activity"])
    )


def _strewn(stretches: pd.DataFrame, y: alt.Y, shown: list[str]) -> alt.Chart:
    """Symbols laid over the stretches, so that an activity is told without its colour.

    The layer carries the legend: symbol and colour of one activity stand in one entry.
    """
    step = stretches["end"].max() / _SYMBOLS_ACROSS
    spots = pd.concat(
        [_spots(row, step) for row in stretches.itertuples() if ACTIVITIES[row.activity][2]]
        or [pd.DataFrame({"operation": [], "kind": [], "x": []})],
        ignore_index=True,
    )
    domain = [_WORDS[a] for a in shown]
    symbols = [ACTIVITIES[a][2] or "square" for a in shown]
    return (
        alt.Chart(spots)
        .mark_point(size=30, strokeWidth=1.2, stroke="#111111", opacity=1)
        .encode(
            y=y,
            x="x:Q",
            shape=alt.Shape(
                "kind:N",
                title=None,
                scale=alt.Scale(domain=domain, range=[_PATHS.get(s, s) for s in symbols]),
            ),
            fill=_fill(shown),
        )
    )


def _fill(shown: list[str]) -> alt.Fill:
    """The colours of the activities shown; the legend joins them with the symbols."""
    scale = alt.Scale(domain=[_WORDS[a] for a in shown], range=[ACTIVITIES[a][1] for a in shown])
    return alt.Fill("kind:N", title=None, scale=scale)


def _decimals(longest: float) -> int:
    """Decimals of a bar's figure: three digits of the longest bar, two decimals at most."""
    return int(np.clip(2 - np.floor(np.log10(max(longest, 1e-9))), 0, 2))


def _spots(stretch, step: float) -> pd.DataFrame:
    """Places a step apart inside one stretch; one amid a narrow one, none in a sliver."""
    places = np.arange(stretch.start + step / 2, stretch.end - step / 3, step)
    if not len(places) and stretch.end - stretch.start > 0.4 * step:
        places = np.array([(stretch.start + stretch.end) / 2])
    return pd.DataFrame({"operation": stretch.operation, "kind": stretch.kind, "x": places})
