"""Putting right: what faults cost by cause, how pace and care go with them, week by week."""

import altair as alt
import numpy as np
import pandas as pd

from analysis.charts import look
from analysis.charts.weekly import usual_and_limits, week_axis
from analysis.records.figures import figure, manner, number

MOST_BARS = 10
REST = "all others"
MEASURES = {
    "just before": ("by the pieces just before", look.BLUE, "circle"),
    "own": ("by the piece's own time", look.DARK_ORANGE, "square"),
}


def pareto_chart(causes: pd.DataFrame, unit: str) -> alt.Chart:
    """One bar a cause, dearest first, and the line that adds them up (a Pareto chart).

    `causes` has name, amount, low, high (95 % range, may be NaN) and cumulative (share of all so
    far, 0 to 1); `unit` is what amounts are in, as "USD a week". Past MOST_BARS the rest is one
    bar. Raises ValueError on an empty frame.
    """
    look.refuse_nothing(causes, "causes")
    frame = _few(causes)
    order = list(frame["name"])
    y = alt.Y("name:N", sort=order, title=None)
    widest = 1.05 * float(np.nanmax(frame[["amount", "high"]].to_numpy()))
    x = alt.X("amount:Q", title=unit, scale=alt.Scale(domain=[0, widest or 1], nice=False),
              axis=alt.Axis(tickCount=5, grid=False))  # fmt: skip
    bars = alt.Chart(frame).mark_bar(color=look.SKY, stroke=look.INK, strokeWidth=0.6)
    whiskers = alt.Chart(frame.dropna(subset=["low", "high"])).mark_rule(
        color=look.INK, strokeWidth=2
    )
    tooltip = [
        alt.Tooltip("name:N", title="cause"),
        alt.Tooltip("amount:Q", title=unit, format=",.3~r"),
        alt.Tooltip("low:Q", title="range from", format=",.3~r"),
        alt.Tooltip("high:Q", title="range to", format=",.3~r"),
        alt.Tooltip("cumulative:Q", title="added up, of all", format=".0%"),
    ]
    amounts = alt.layer(
        bars.encode(x=x, y=y, tooltip=tooltip), whiskers.encode(x="low:Q", x2="high:Q", y=y)
    )
    return look.finished(
        alt.layer(amounts, _added_up(frame, y)).resolve_scale(x="independent"),
        _pareto_said(frame, unit),
        alt.Step(look.ROW_PIXELS),
    )


def _few(causes: pd.DataFrame) -> pd.DataFrame:
    frame = causes.astype({"name": str}).reset_index(drop=True)
    if len(frame) <= MOST_BARS:
        return frame
    head, rest = frame.head(MOST_BARS - 1), frame.iloc[MOST_BARS - 1 :]
    row = {"name": REST, "amount": rest["amount"].sum(), "cumulative": 1.0}
    return pd.concat([head, pd.DataFrame([row])], ignore_index=True)


def _added_up(frame: pd.DataFrame, y: alt.Y) -> alt.LayerChart:
    """The line of shares added up, on an axis of its own at the top, with its figures."""
    axis = alt.Axis(orient="top", format="%", values=[0, 0.25, 0.5, 0.75, 1], grid=False)
    x = alt.X("cumulative:Q", title="line: added up, share of all", axis=axis,
              scale=alt.Scale(domain=[0, 1.05], nice=False))  # fmt: skip
    chart = alt.Chart(frame)
    line = chart.mark_line(color=look.VERMILION, strokeDash=[5, 3], strokeWidth=2)
    points = chart.mark_point(
        color=look.VERMILION, filled=True, size=60, shape="diamond", opacity=1
    )
    marks = (mark.encode(x=x, y=y, order="cumulative:Q") for mark in (line, points))
    return alt.LayerChart(layer=list(marks))


def _pareto_said(frame: pd.DataFrame, unit: str) -> str:
    parts = [f"{row.name} {figure(row.amount, 3)} ({number(100 * row.cumulative)} % added up)"
             for row in frame.itertuples(index=False)]  # fmt: skip
    return f"Pareto chart of what faults cost, {unit}: " + "; ".join(parts) + "."


def spoilage_chart(points: pd.DataFrame, line: pd.DataFrame) -> alt.Chart:
    """The share of pieces at fault against pace, in percent of the time expected.

    `points`: measure ("just before", "own"), percent, pieces, share, low, high (95 %); `line`:
    percent, share, low, high of the fitted curve, empty where none is. Raises ValueError where
    there are no points.
    """
    look.refuse_nothing(points, "points")
    frame = points.assign(
        reading=points["measure"].map({name: said for name, (said, *_) in MEASURES.items()})
    )
    x, y = _percent_axis(frame, "percent of the time expected"), _share_axis("pieces at fault")
    shown = [MEASURES[name] for name in MEASURES if name in set(points["measure"])]
    legend = alt.Legend(title=None, symbolType="circle")
    names, colours, shapes = zip(*shown, strict=True)
    colour = alt.Color("reading:N", scale=alt.Scale(domain=names, range=colours), legend=legend)
    shape = alt.Shape("reading:N", scale=alt.Scale(domain=names, range=shapes), legend=legend)
    chart = alt.Chart(frame)
    tooltip = [
        alt.Tooltip("reading:N", title="pace"),
        alt.Tooltip("percent:Q", title="percent of the time expected", format=".0f"),
        alt.Tooltip("share:Q", title="pieces at fault", format=".1%"),
        alt.Tooltip("pieces:Q", title="pieces", format=",.0f"),
    ]
    layers = [
        chart.mark_rule(strokeWidth=1.5, opacity=0.7).encode(
            x=x, y="low:Q", y2="high:Q", color=colour
        ),
        chart.mark_point(filled=True, size=80, opacity=1).encode(
            x=x, y=y, color=colour, shape=shape, tooltip=tooltip
        ),
    ]
    said = _points_said("pieces at fault", frame[frame["measure"] == points["measure"].iloc[0]])
    return look.finished(alt.layer(*_curve(line, x, y), *layers), said, 300)


def care_chart(points: pd.DataFrame, operation: str, later: str) -> alt.Chart:
    """The share at fault in a later operation against the time batches got in an earlier one.

    `points`: percent (of the time expected at `operation`), batches, pieces, share, low, high.
    Raises ValueError where there are none.
    """
    look.refuse_nothing(points, "points")
    x = _percent_axis(points, f"percent of the time expected at {operation}")
    y = _share_axis(f"pieces at fault at {later}")
    tooltip = [
        alt.Tooltip("percent:Q", title="percent of the time expected", format=".0f"),
        alt.Tooltip("share:Q", title="pieces at fault", format=".1%"),
        alt.Tooltip("batches:Q", title="batches", format=",.0f"),
        alt.Tooltip("pieces:Q", title="pieces", format=",.0f"),
    ]
    chart = alt.Chart(points)
    layers = (
        chart.mark_rule(color=look.BLUE, strokeWidth=1.5).encode(x=x, y="low:Q", y2="high:Q"),
        chart.mark_point(color=look.BLUE, filled=True, size=90, opacity=1).encode(
            x=x, y=y, tooltip=tooltip
        ),
    )
    return look.finished(
        alt.layer(*layers), _points_said(f"pieces at fault at {later}", points), 280
    )


def _percent_axis(frame: pd.DataFrame, title: str) -> alt.X:
    low, high = float(frame["percent"].min()), float(frame["percent"].max())
    spare = 0.06 * (high - low) or 5.0
    scale = alt.Scale(domain=[low - spare, high + spare], nice=False)
    return alt.X("percent:Q", title=title, scale=scale, axis=alt.Axis(tickCount=6))


def _share_axis(title: str) -> alt.Y:
    return alt.Y("share:Q", title=title, axis=alt.Axis(format="%", tickCount=5))


def _curve(line: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    if line.empty:
        return []
    chart = alt.Chart(line)
    band = chart.mark_area(color=look.BLUE, opacity=0.18, clip=True)
    middle = chart.mark_line(color=look.BLUE, strokeWidth=2, clip=True)
    return [band.encode(x=x, y="low:Q", y2="high:Q"), middle.encode(x=x, y=y)]


def _points_said(title: str, frame: pd.DataFrame) -> str:
    parts = [f"at {number(row.percent)} percent of the time expected {number(100 * row.share, 1)} %"
             for row in frame.itertuples(index=False)]  # fmt: skip
    return f"{look.opened(title)}: " + "; ".join(parts) + "."


def more_time_chart(costs: pd.DataFrame, marks: dict[float, str], unit: str) -> alt.Chart:
    """What a good piece costs here by the seconds spent on it, with some of them marked.

    `costs`: seconds, cost, low, high (95 %), seen (within the paces there are laps of). `marks`:
    words by seconds, the first of them what is spent now. Raises ValueError where there are none.
    """
    look.refuse_nothing(costs, "costs")
    low, high = float(costs["seconds"].min()), float(costs["seconds"].max())
    x = alt.X("seconds:Q", title="seconds a piece", axis=alt.Axis(tickCount=6),
              scale=alt.Scale(domain=[low, high], nice=False))  # fmt: skip
    y = alt.Y("cost:Q", title=unit, scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=5))
    chart = alt.Chart(costs)
    seen = costs[costs["seen"]]
    tooltip = [
        alt.Tooltip("seconds:Q", title="seconds a piece", format=".0f"),
        alt.Tooltip("cost:Q", title=unit, format=",.3~r"),
        alt.Tooltip("low:Q", title="range from", format=",.3~r"),
        alt.Tooltip("high:Q", title="range to", format=",.3~r"),
    ]
    layers = [
        chart.mark_area(color=look.BLUE, opacity=0.18).encode(x=x, y="low:Q", y2="high:Q"),
        chart.mark_line(color=look.BLUE, strokeDash=[3, 3], strokeWidth=1.5).encode(x=x, y=y),
        alt.Chart(seen)
        .mark_line(color=look.BLUE, strokeWidth=2.5)
        .encode(x=x, y=y, tooltip=tooltip),
    ]
    layers += _marked(marks, x)
    cheapest = costs.loc[costs["cost"].idxmin()]
    said = (
        f"{look.opened(unit)} against seconds a piece: least at "
        f"{figure(cheapest['seconds'], 3)} seconds, {figure(cheapest['cost'], 3)}; "
        f"now {figure(next(iter(marks)), 3)} seconds."
    )
    return look.finished(alt.layer(*layers), said, 260)


def _marked(marks: dict[float, str], x: alt.X) -> list[alt.Chart]:
    """A dashed upright and its words at each of some seconds, the words a line lower each time."""
    layers = []
    for row, (seconds, said) in enumerate(marks.items()):
        mark = alt.Chart(pd.DataFrame({"seconds": [seconds], "said": [said]}))
        text = mark.mark_text(align="left", baseline="top", dx=5, color=look.INK)
        rule = mark.mark_rule(color=look.INK, strokeDash=[6, 4], strokeWidth=1 + row)
        layers += [rule.encode(x=x), text.encode(x=x, y=alt.value(2 + 16 * row), text="said:N")]
    return layers


def share_chart(weeks: pd.DataFrame) -> alt.Chart:
    """The share of faulty pieces week by week with the limits of each week (a p chart).

    `weeks`: week_start, share (NaN in weeks without work), centre, lower, upper (NaN where there
    are no limits) and news ("", "above", "below"). Raises ValueError where no share is known.
    """
    frame = weeks.assign(week_start=pd.to_datetime(weeks["week_start"]))
    look.refuse_nothing(frame.dropna(subset=["share"]), "weeks")
    x = alt.X("week_start:T", title="week beginning", axis=week_axis(frame["week_start"]))
    y = alt.Y("share:Q", title="pieces at fault", axis=alt.Axis(format="%", tickCount=5))
    line = alt.Chart(frame).mark_line(color=look.BLUE, strokeWidth=1.5).encode(x=x, y=y)
    words = alt.Chart(frame[frame["news"] != ""]).mark_text(dy=-13, color=look.INK)
    layers = [
        *_limits(frame, x),
        line,
        _weeks_judged(frame, x, y),
        words.encode(x=x, y=y, text="news:N"),
    ]
    return look.finished(alt.layer(*layers), _weeks_said(frame), 260)


def _weeks_judged(frame: pd.DataFrame, x: alt.X, y: alt.Y) -> alt.Chart:
    """A point a week: a circle where it is ordinary, a triangle where it is news."""
    kinds = ["", "above", "below"]
    shapes = alt.Scale(domain=kinds, range=["circle", "triangle-up", "triangle-down"])
    colours = alt.Scale(domain=kinds, range=[look.BLUE, look.VERMILION, look.VERMILION])
    tooltip = [
        alt.Tooltip("week_start:T", title="week beginning", format=manner().chart_date),
        alt.Tooltip("share:Q", title="pieces at fault", format=".1%"),
        alt.Tooltip("upper:Q", title="ordinary up to", format=".1%"),
    ]
    points = alt.Chart(frame).mark_point(filled=True, size=70, opacity=1)
    return points.encode(
        x=x,
        y=y,
        shape=alt.Shape("news:N", legend=None, scale=shapes),
        color=alt.Color("news:N", legend=None, scale=colours),
        tooltip=tooltip,
    )


def _limits(frame: pd.DataFrame, x: alt.X) -> list[alt.Chart]:
    """The usual share drawn through, the limits dashed: each week has its own by its pieces."""
    told = frame.dropna(subset=["upper"])
    if told.empty:
        return []
    long = told.melt("week_start", ["centre", "lower", "upper"], "limit", "at")
    names = ["usual", "ordinary between"]
    long["line"] = np.where(long["limit"] == "centre", *names)
    lines = alt.Chart(long).mark_line(color=look.GREY, strokeWidth=1.5)
    dash = usual_and_limits(*names)
    return [lines.encode(x=x, y="at:Q", strokeDash=dash, detail="limit:N")]


def _weeks_said(frame: pd.DataFrame) -> str:
    known = frame.dropna(subset=["share"])
    share = known["share"]
    least, most, last = (_percent(value) for value in (share.min(), share.max(), share.iloc[-1]))
    said = (
        f"Share of pieces at fault over {look.counted_weeks(len(known))}, from {least} to {most}; "
        f"the last week {last}."
    )
    if known["upper"].notna().any():
        outside = look.counted_weeks((known["news"] != "").sum())
        usual = _percent(known["centre"].iloc[-1])
        said += f" Usual is {usual}; outside the limits: {outside}."
    return said


def _percent(share: float) -> str:
    """`4.2 %`."""
    return f"{number(100 * share, 1)} %"
