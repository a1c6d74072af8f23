"""Weekly output as an individuals chart: which weeks are news, which are ordinary ups and downs."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import altair as alt
import pandas as pd

from analysis.charts import look
from analysis.records.figures import figure, manner, number

MEASURES = {
    "good_units": "good pieces a week",
    "good_units_per_bench_hour": "good pieces an hour",
    "standard_hours_per_bench_hour": "standard hours finished an hour",
}
_KINDS = ("ordinary week", "unusually low", "unusually high")


@dataclass(frozen=True)
class Limits:
    """The usual level and the limits of ordinary weeks, in the unit of the measure drawn."""

    centre: float
    lower: float
    upper: float


def weekly_output_chart(
    weeks: pd.DataFrame,
    limits: Limits | Mapping[str, float] | None = None,
    measure: str = "good_units",
) -> alt.Chart:
    """One point a week, the usual level, and the limits an ordinary week stays within.

    `weeks` has week_start (date) and the column `measure` (of `MEASURES`; NaN in weeks without
    work, which leave a gap). `limits` (also as a dict with centre, lower, upper; None where
    there are too few weeks) draws the lines; weeks outside are triangles with the word beside
    them. Raises ValueError where no week is known.
    """
    usual = _limits(limits)
    frame = _judged(weeks, usual, measure)
    look.refuse_nothing(frame.dropna(subset=["value"]), "weeks")
    title = MEASURES[measure]
    x = alt.X("week_start:T", title="week beginning", axis=week_axis(frame["week_start"]))
    y = _from_zero(frame["value"].max(), usual, title)
    line = alt.Chart(frame).mark_line(color=look.BLUE, strokeWidth=1.5).encode(x=x, y=y)
    layers = [*_limit_lines(usual), line, _points(frame, x, y, title), _words(frame, x, y)]
    return look.finished(alt.layer(*layers), _described(frame, usual, title), 260)


def week_axis(starts: pd.Series) -> alt.Axis:
    """At most six Mondays named, so that one week is not named once for each of its days.

    `starts`: the Mondays of the weeks drawn, datetime64, in order.
    """
    named = starts.iloc[:: -(-len(starts) // 6)]
    mondays = [alt.DateTime(year=day.year, month=day.month, date=day.day) for day in named]
    return alt.Axis(format=manner().chart_day, values=mondays, grid=False)


def _from_zero(highest: float, limits: Limits | None, title: str) -> alt.Y:
    """The upright axis from 0 to a line that lies above every point and limit."""
    highest = max(highest, limits.upper if limits else 0.0)
    step = _round_step(highest / 4) if highest > 0 else 1.0
    lines = [step * n for n in range(math.floor(highest / step) + 2)]
    axis = alt.Axis(values=lines, format=",~r" if step >= 1 else ",.3~r")
    return alt.Y("value:Q", title=title, axis=axis, scale=alt.Scale(domain=[0, lines[-1]]))


def _round_step(least: float) -> float:
    """The next of 1, 2, 5 times a power of ten that is not below `least`."""
    tens = 10.0 ** math.floor(math.log10(least))
    return next(factor * tens for factor in (1, 2, 5, 10) if factor * tens >= least * (1 - 1e-9))


def _limits(given: Limits | Mapping[str, float] | None) -> Limits | None:
    if given is None:
        return None
    named = vars(given) if isinstance(given, Limits) else given
    limits = Limits(*(float(named[name]) for name in ("centre", "lower", "upper")))
    known = pd.notna([limits.centre, limits.lower, limits.upper]).all()
    return Limits(limits.centre, max(limits.lower, 0.0), limits.upper) if known else None


def _judged(weeks: pd.DataFrame, limits: Limits | None, measure: str) -> pd.DataFrame:
    start = pd.to_datetime(weeks["week_start"])
    value = weeks[measure].astype(float)
    kind = pd.Series(_KINDS[0], index=weeks.index)
    if limits:
        kind = kind.mask(value < limits.lower, _KINDS[1]).mask(value > limits.upper, _KINDS[2])
    return pd.DataFrame({"week_start": start, "value": value, "kind": kind})


def _points(frame: pd.DataFrame, x: alt.X, y: alt.Y, title: str) -> alt.Chart:
    def scale(channel: Callable, styles: list[str]) -> alt.Shape | alt.Color:
        given = alt.Scale(domain=list(_KINDS), range=styles)
        return channel("kind:N", scale=given, legend=None)  # the words stand beside the points

    tooltip = [
        alt.Tooltip("week_start:T", title="week beginning", format=manner().chart_date),
        alt.Tooltip("value:Q", title=title, format=",.3~r"),
        alt.Tooltip("kind:N", title="judged as"),
    ]
    points = alt.Chart(frame).mark_point(filled=True, size=70, opacity=1)
    return points.encode(
        x=x,
        y=y,
        shape=scale(alt.Shape, ["circle", "triangle-down", "triangle-up"]),
        color=scale(alt.Color, [look.BLUE, look.VERMILION, look.VERMILION]),
        tooltip=tooltip,
    )


def _words(frame: pd.DataFrame, x: alt.X, y: alt.Y) -> alt.Chart:
    """`low` or `high` beside each week that is news."""
    news = frame[frame["kind"] != _KINDS[0]]
    news = news.assign(said=news["kind"].str.removeprefix("unusually "))
    words = alt.Chart(news).mark_text(dy=-12, color=look.INK)
    return words.encode(x=x, y=y, text="said:N")


def _limit_lines(limits: Limits | None) -> list[alt.Chart]:
    """The usual level drawn through, the limits dashed; their figures stand in the legend."""
    if limits is None:
        return []
    usual = _said("usual", limits)
    ordinary = _said("ordinary", limits)
    lines = pd.DataFrame(
        {"at": [limits.centre, limits.lower, limits.upper], "line": [usual, ordinary, ordinary]}
    )
    dash = usual_and_limits(usual, ordinary)
    rule = alt.Chart(lines).mark_rule(color=look.GREY, strokeWidth=1.5)
    tooltip = alt.Tooltip("line:N", title="a week's output")
    return [rule.encode(y="at:Q", strokeDash=dash, tooltip=tooltip)]


def usual_and_limits(usual: str, limits: str) -> alt.StrokeDash:
    """The column `line` told by its dashes: `usual` drawn through, the words of `limits` dashed."""
    return alt.StrokeDash(
        "line:N",
        title=None,
        scale=alt.Scale(domain=[usual, limits], range=[[1, 0], [5, 4]]),
        legend=alt.Legend(symbolType="stroke", symbolStrokeColor=look.GREY, symbolStrokeWidth=2),
    )


def _said(line: str, limits: Limits) -> str:
    digits = 0 if limits.upper >= 20 else 1
    if line == "usual":
        return f"usual: {number(limits.centre, digits)}"
    return f"ordinary: {number(limits.lower, digits)} to {number(limits.upper, digits)}"


def _described(frame: pd.DataFrame, limits: Limits | None, title: str) -> str:
    known = frame.dropna(subset=["value"])
    least, most, last = (
        figure(value, 3)
        for value in (known["value"].min(), known["value"].max(), known["value"].iloc[-1])
    )
    said = (
        f"{look.opened(title)} over {look.counted_weeks(len(known))}, from {least} to {most}; "
        f"the last week {last}."
    )
    if limits:
        unusual = look.counted_weeks((known["kind"] != _KINDS[0]).sum())
        said += f" {look.opened(_said('ordinary', limits))}; outside of it: {unusual}."
    return said
