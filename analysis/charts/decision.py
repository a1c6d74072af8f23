"""A decision: when it has earned itself back, and what moves the answer."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import numpy as np
import pandas as pd

from analysis.charts import look
from analysis.decisions.answer import Mover, Path
from analysis.records.figures import figure, number, told

MOST_POINTS = 130  # of a line: more than the eye tells apart on a page
MOST_BARS = 6
BAR_PIXELS, BELOW_WORDS = 56, 13  # a row: two lines of words, and the bar so far below its middle
LETTERS_WIDE = 360  # pixels: a phone's width, beyond which words are cut
MIDDLE, EDGES = "middle run", "nine of ten runs between"


def payback_chart(path: Path, currency: str, payback_weeks: float | None = None) -> alt.Chart:
    """Money so far against going on as before, by week: its middle and nine of ten runs.

    payback_weeks: where the middle of the runs has earned itself back; marked, None: nowhere.
    """
    frame = _thinned(path)
    title = f"{currency} gained so far".strip()
    x = alt.X(
        "week:Q",
        title="weeks from the start",
        scale=alt.Scale(domain=[0, float(frame["week"].max())], nice=False),
        axis=alt.Axis(tickCount=6, grid=False),
    )
    ends = frame[["low", "high"]].to_numpy()
    form = _money_format(float(np.ptp(np.append(ends, 0.0))))
    money = alt.Axis(tickCount=5, format=form, labelOverlap=False)  # else the 0 may be left out
    band = (
        alt.Chart(frame)
        .mark_area(color=look.SKY, opacity=0.25)
        .encode(x=x, y=alt.Y("low:Q", title=title, axis=money), y2="high:Q")
    )
    nothing = alt.Chart(pd.DataFrame({"zero": [0]})).mark_rule(color=look.INK, strokeWidth=1.2)
    layers = [band, nothing.encode(y="zero:Q"), _lines(frame, x, title, money)]
    if payback_weeks:
        layers.append(_earned_back(payback_weeks, float(frame["week"].max())))
    return look.finished(alt.layer(*layers), _path_said(frame, title, payback_weeks), 270)


def _thinned(path: Path) -> pd.DataFrame:
    """Week, low, middle, high: every so many weeks, first and last among them."""
    last = len(path.week) - 1
    kept = np.unique(np.linspace(0, last, min(last + 1, MOST_POINTS)).round().astype(int))
    return pd.DataFrame(
        {
            "week": path.week[kept],
            "low": path.cumulative_p5[kept],
            "middle": path.cumulative_p50[kept],
            "high": path.cumulative_p95[kept],
        }
    )


def _lines(frame: pd.DataFrame, x: alt.X, title: str, money: alt.Axis) -> alt.Chart:
    """The middle as a full line, the two edges dashed: told apart without colour."""
    long = frame.melt("week", ["middle", "low", "high"], "line", "money")
    long = long.assign(said=np.where(long["line"] == "middle", MIDDLE, EDGES))
    domain = [MIDDLE, EDGES]
    legend = alt.Legend(title=None, columns=2, symbolType="stroke", labelLimit=0)
    return (
        alt.Chart(long)
        .mark_line()
        .encode(
            x=x,
            y=alt.Y("money:Q", title=title, axis=money),
            detail="line:N",
            color=alt.Color("said:N", scale=alt.Scale(domain=domain, range=[look.BLUE] * 2),
                            legend=legend),
            strokeDash=alt.StrokeDash("said:N", legend=legend,
                                      scale=alt.Scale(domain=domain, range=[[1, 0], [5, 3]])),
            strokeWidth=alt.StrokeWidth("said:N", legend=legend,
                                        scale=alt.Scale(domain=domain, range=[2.5, 1.2])),
            tooltip=[
                alt.Tooltip("said:N", title="line"),
                alt.Tooltip("week:Q", title="weeks from the start"),
                alt.Tooltip("money:Q", title=title, format=",.0f"),
            ],
        )
    )  # fmt: skip


def _earned_back(weeks: float, last: float) -> alt.LayerChart | alt.FacetChart:
    """A dotted upright where the middle of the runs has earned itself back, and when in words."""
    frame = pd.DataFrame({"week": [weeks], "said": [f"earned back: week {number(weeks)}"]})
    left = weeks <= last / 2
    rule = alt.Chart(frame).mark_rule(color=look.INK, strokeDash=[1, 3], strokeWidth=1.5)
    words = alt.Chart(frame).mark_text(
        align="left" if left else "right", dx=5 if left else -5, dy=-9, color=look.INK
    )
    return alt.layer(
        rule.encode(x="week:Q"), words.encode(x="week:Q", y=alt.value("height"), text="said:N")
    )


def _path_said(frame: pd.DataFrame, title: str, payback_weeks: float | None) -> str:
    end = frame.iloc[-1]
    back = "not earned back"
    if payback_weeks is not None:
        week = f"earned back in week {number(payback_weeks)}"
        back = week if payback_weeks else "a gain from the start"
    return (
        f"Line of {title} against going on as before, by week. After "
        f"{look.counted_weeks(end['week'])} {number(end['middle'])} in the middle of the runs, "
        f"{number(end['low'])} to {number(end['high'])} "
        f"in nine of ten; the middle is {back}."
    )


def _money_format(wide: float) -> str:
    """How an axis so wide names about five steps apart: in whole units, tenths or hundredths."""
    places = next((n for n in (0, 1) if wide * 10**n >= 5), 2)
    return f",.{places}f"


def movers_chart(movers: Sequence[Mover], mean: float, currency: str) -> alt.Chart:
    """What moves the answer: a bar from one likely end to the other, the widest first.

    mean: net present value with all as it comes; it stands in the middle, so that the words of an
    end have the same room on either side. At most MOST_BARS. ValueError where there is no mover.
    """
    frame = _bars_of(movers)
    look.refuse_nothing(frame, "what moves the answer")
    reach = _reach(frame, mean)
    scale = alt.Scale(domain=[mean - reach, mean + reach], nice=False, zero=False)
    title = f"{currency} gained in all (thin line: as reckoned)".strip()
    axis = alt.Axis(tickCount=5, format=_money_format(2 * reach), grid=False)
    y = alt.Y("row:O", axis=None)
    chart = alt.Chart(frame)
    bars = chart.mark_bar(
        height=13, yOffset=BELOW_WORDS, color=look.SKY, stroke=look.INK, strokeWidth=0.8
    ).encode(
        x=alt.X("left:Q", title=title, scale=scale, axis=axis),
        x2="right:Q",
        y=y,
        tooltip=[
            alt.Tooltip("name:N", title="what"),
            alt.Tooltip("left_words:N", title="left end"),
            alt.Tooltip("left:Q", title=f"{currency} gained there", format=",.0f"),
            alt.Tooltip("right_words:N", title="right end"),
            alt.Tooltip("right:Q", title=f"{currency} gained there", format=",.0f"),
        ],
    )
    layers = [bars, _upright(chart, y, mean, 1.2)]
    if holds_nought(movers, mean):
        layers.append(_upright(chart, y, 0.0, 3.0))
    layers += _row_words(chart, y, mean)
    return look.finished(
        alt.layer(*layers), _movers_said(frame, mean, currency), alt.Step(BAR_PIXELS)
    )


def _reach(frame: pd.DataFrame, mean: float) -> float:
    """How far the axis goes to either side of the mean, which stands in its middle."""
    return 1.04 * float(np.abs(frame[["left", "right"]].to_numpy() - mean).max()) or 1.0


def holds_nought(movers: Sequence[Mover], mean: float) -> bool:
    """Whether the axis of `movers_chart` holds 0, which then is a thick line."""
    return abs(mean) < _reach(_bars_of(movers), mean)


def _bars_of(movers: Sequence[Mover]) -> pd.DataFrame:
    """One row a bar: its left and right end in money, and which value gives it."""
    rows = []
    for row, mover in enumerate(movers[:MOST_BARS]):
        ends = [(float(mover.value_at_low), mover.low), (float(mover.value_at_high), mover.high)]
        (left, left_words), (right, right_words) = sorted(ends, key=lambda end: end[0])
        rows.append((row, mover.name, left, right, told(left_words), told(right_words)))
    return pd.DataFrame(rows, columns=["row", "name", "left", "right", "left_words", "right_words"])


def _upright(chart: alt.Chart, y: alt.Y, value: float, thickness: float) -> alt.Chart:
    """A short upright in each row, which leaves the words above it free."""
    tick = chart.mark_tick(
        color=look.INK, thickness=thickness, size=17, yOffset=BELOW_WORDS, opacity=1
    )
    return tick.encode(x=alt.X(datum=value, type="quantitative"), y=y)


def _row_words(chart: alt.Chart, y: alt.Y, mean: float) -> list[alt.Chart]:
    """The name over the bar; between them, on either side of the middle, what each end is."""
    name = chart.mark_text(
        align="left", dy=-18, color=look.INK, fontWeight="bold", limit=LETTERS_WIDE
    ).encode(x=alt.value(0), y=y, text="name:N")
    half = LETTERS_WIDE / 2
    left = chart.mark_text(align="right", dx=-7, dy=-2, color=look.INK, limit=half)
    right = chart.mark_text(align="left", dx=7, dy=-2, color=look.INK, limit=half)
    middle = alt.X(datum=mean, type="quantitative")
    return [
        name,
        left.encode(x=middle, y=y, text="left_words:N"),
        right.encode(x=middle, y=y, text="right_words:N"),
    ]


def _movers_said(frame: pd.DataFrame, mean: float, currency: str) -> str:
    parts = [
        f"{row.name}: {figure(row.left)} at {row.left_words}, {figure(row.right)} at "
        f"{row.right_words}"
        for row in frame.itertuples(index=False)
    ]
    return (
        f"Bars of what moves the answer, {currency} gained in all; {figure(mean)} as reckoned. "
        + "; ".join(parts)
        + "."
    )
