"""Getting faster: seconds a piece against pieces made, with the fitted curve and its band."""

from typing import Literal

import altair as alt
import numpy as np
import pandas as pd

from analysis.charts import look
from analysis.records.figures import figure, number

_WORDS_WIDE = 0.33  # of the chart's width on a phone, words such as "helper 3 weeks"
_LINE_PIXELS = 16
MOST_POINTS = 60  # of one worker on one chart; more would hide the curve


def practice_chart(
    points: pd.DataFrame,
    curve: pd.DataFrame,
    plateaus: pd.DataFrame | None = None,
    breaks: pd.DataFrame | None = None,
    operation: str = "",
) -> alt.Chart:
    """Measured times, the fitted line, its band, where it levels out, and the breaks.

    `points` (worker, pieces_made, seconds, laps): means of neighbouring laps, seconds a piece.
    `curve` (worker, pieces_made, seconds, low, high): the fit and its 95 % band.
    `plateaus` (worker, seconds) and `breaks` (worker, pieces_made, days_away) may be absent.
    Raises ValueError where there are no points.
    """
    look.refuse_nothing(points, "points")
    workers = sorted({*points["worker"].astype(str), *curve["worker"].astype(str)})
    unit, seconds = look.duration_unit(float(points["seconds"].median()))
    colour, shape, dash = look.series_scales(workers)
    many = len(workers) > 1
    encodings = _Encodings(unit, colour, shape, dash, many)
    layers = [
        alt.layer(_band(encodings), _line(encodings), data=_scaled(curve, seconds)),
        _points(_scaled(points, seconds), encodings),
    ]
    if plateaus is not None and not plateaus.empty:
        layers += _plateau_rules(_scaled(plateaus, seconds), encodings)
    if breaks is not None and not breaks.empty:
        layers += _break_rules(breaks, float(points["pieces_made"].max()), many)
    return look.finished(alt.layer(*layers), _described(points, operation, unit, seconds), 320)


class _Encodings:
    """What the layers share: the axes' titles and the three scales that tell workers apart."""

    def __init__(self, unit: str, colour: alt.Scale, shape: alt.Scale, dash: alt.Scale, many: bool):
        legend = alt.Legend(title=None) if many else None
        self.unit = unit
        self.x = alt.X("pieces_made:Q", title="pieces made so far", axis=alt.Axis(tickCount=5))
        self.title = f"{unit} per piece"
        self.y = alt.Y("seconds:Q", title=self.title, scale=alt.Scale(zero=True, nice=True))
        self.colour = alt.Color("worker:N", scale=colour, legend=legend, title=None)
        self.shape = alt.Shape("worker:N", scale=shape, legend=legend, title=None)
        self.dash = alt.StrokeDash("worker:N", scale=dash, legend=legend, title=None)


def _band(shared: _Encodings) -> alt.Chart:
    return (
        alt.Chart()
        .mark_area(opacity=0.18)
        .encode(x=shared.x, y=alt.Y("low:Q", title=shared.title), y2="high:Q", color=shared.colour)
    )


def _line(shared: _Encodings) -> alt.Chart:
    return (
        alt.Chart()
        .mark_line(strokeWidth=2.5)
        .encode(x=shared.x, y=shared.y, color=shared.colour, strokeDash=shared.dash)
    )


def _points(points: pd.DataFrame, shared: _Encodings) -> alt.Chart:
    return (
        alt.Chart(thinned(points))
        .mark_point(size=36, filled=True, opacity=0.85)
        .encode(
            x=shared.x,
            y=shared.y,
            color=shared.colour,
            shape=shared.shape,
            tooltip=[
                alt.Tooltip("worker:N", title="worker"),
                alt.Tooltip("pieces_made:Q", title="pieces made", format=",.0f"),
                alt.Tooltip("seconds:Q", title=f"{shared.unit} per piece", format=".3~r"),
                alt.Tooltip("laps:Q", title="laps in this mean", format=",.0f"),
            ],
        )
    )


def _plateau_rules(plateaus: pd.DataFrame, shared: _Encodings) -> list[alt.Chart]:
    named = plateaus.assign(
        said=[
            f"{worker}: levels out at {figure(seconds, 3)} {shared.unit}"
            for worker, seconds in zip(plateaus["worker"], plateaus["seconds"], strict=True)
        ]
    )
    rule = alt.Chart(named).mark_rule(strokeDash=[2, 4], strokeWidth=1.5)
    rule = rule.encode(y="seconds:Q", color=shared.colour, tooltip=["said:N"])
    words = alt.Chart(named).mark_text(align="left", baseline="top", dx=4, dy=4, color=look.INK)
    return [rule, words.encode(x=alt.value(0), y="seconds:Q", text="said:N")]


def _break_rules(breaks: pd.DataFrame, most_pieces: float, many: bool) -> list[alt.Chart]:
    """A dashed upright where somebody was away; how long, and who of many, is written at the top,
    a line lower where it would run into the words before."""
    breaks = breaks.sort_values("pieces_made", ignore_index=True)
    who = breaks["worker"].astype(str)
    length = breaks["days_away"].map(away)
    at = breaks["pieces_made"].to_numpy(float)
    wide = _WORDS_WIDE * most_pieces
    early = at < wide
    named = breaks.assign(
        who=who,
        length=length,
        said=who + " " + length if many else length + " away",  # many words cross the lines
        top=12 + _LINE_PIXELS * _rows_of_words(at, early, wide),
    )
    tooltip = [
        alt.Tooltip("who:N", title="worker"),
        alt.Tooltip("length:N", title="away for"),
        alt.Tooltip("pieces_made:Q", title="after pieces", format=",.0f"),
    ]
    rule = alt.Chart(named).mark_rule(strokeDash=[4, 3], color=look.GREY, strokeWidth=1.5)
    height = alt.Y("top:Q", scale=None, axis=None)
    sides: tuple[tuple[pd.DataFrame, Literal["left", "right"], int], ...] = (
        (named[early], "left", 3), (named[~early], "right", -3),
    )  # fmt: skip
    words = [
        alt.Chart(part)
        .mark_text(align=align, baseline="middle", dx=dx, color=look.INK)
        .encode(x="pieces_made:Q", y=height, text="said:N", tooltip=tooltip)
        for part, align, dx in sides
        if len(part)
    ]
    return [rule.encode(x="pieces_made:Q", tooltip=tooltip), *words]


def _rows_of_words(at: np.ndarray, early: np.ndarray, wide: float) -> np.ndarray:
    """The line each words stand on: the first on which they run into none placed before.

    Words `wide` (in pieces) stand to the right of their upright where it is early, else left.
    """
    begin = np.where(early, at, at - wide)
    rows: list[int] = []
    for here, start in enumerate(begin):
        near = np.abs(begin[:here] - start) < wide
        taken = {row for row, is_near in zip(rows, near, strict=True) if is_near}
        rows.append(next(row for row in range(here + 1) if row not in taken))
    return np.array(rows)


def away(days: float) -> str:
    """The length of a break in weeks, or in days below two weeks: `3 weeks`, `11 days`."""
    return f"{number(days / 7)} weeks" if days >= 13 else f"{number(days)} days"


def thinned(points: pd.DataFrame, most: int = MOST_POINTS) -> pd.DataFrame:
    """At most `most` points a worker: neighbours joined by their mean, weighted by laps.

    points: worker, pieces_made, seconds (per piece), laps; so are those that come back.
    """
    if points.empty or points.groupby("worker", observed=True).size().max() <= most:
        return points
    joined = []
    for worker, own in points.groupby("worker", observed=True):
        own = own.sort_values("pieces_made")
        part = np.arange(len(own)) * min(most, len(own)) // len(own)
        weights = own["laps"].to_numpy(dtype=float)
        laps = np.bincount(part, weights)
        means = {
            name: np.bincount(part, weights * own[name].to_numpy()) / laps
            for name in ("pieces_made", "seconds")
        }
        joined.append(pd.DataFrame({"worker": worker, **means, "laps": laps}))
    return pd.concat(joined, ignore_index=True)


def _scaled(frame: pd.DataFrame, unit_seconds: float) -> pd.DataFrame:
    """The frame with its times in the axis's unit and the worker as plain text."""
    times = frame.columns.intersection(["seconds", "low", "high"])
    return frame.assign(
        worker=frame["worker"].astype(str), **{t: frame[t] / unit_seconds for t in times}
    )


def _described(points: pd.DataFrame, operation: str, unit: str, unit_seconds: float) -> str:
    parts = []
    for worker, own in points.groupby("worker", observed=True):
        own = own.sort_values("pieces_made")
        first, last = own["seconds"].iloc[[0, -1]] / unit_seconds
        fell = f"from {figure(first, 3)} to {figure(last, 3)} {unit} a piece"
        parts.append(f"{worker} {fell} after {number(own['pieces_made'].iloc[-1])} pieces")
    return f"Practice curve of {operation or 'the operation'}: " + "; ".join(parts) + "."
