"""Keeping pace: how much of the week each person and each station is needed for."""

import math

import altair as alt
import pandas as pd

from analysis.charts import look
from analysis.records.figures import number

FULL_PERCENT = 100
LETTER, NARROWEST = 6.0, 200  # pixels: of a letter, and of the bars' room on a phone


def load_chart(load: pd.DataFrame) -> alt.Chart:
    """One bar a person or station: hours needed as percent of its hours in the week.

    `load` has the columns kind ("person" or "station"), name, share and, where known, low and high
    (95 % range of share); 1 is the whole week. Raises ValueError on an empty frame.
    """
    look.refuse_nothing(load, "load")
    frame, widest = _placed(_percent(load))
    scale = alt.Scale(domain=[0, widest], nice=False)
    step = 20 if widest < 200 else 50 * math.ceil(widest / 500)  # ten figures at most
    axis = alt.Axis(values=list(range(0, int(widest), step)))
    x = alt.X("percent:Q", title="percent of the week's hours", scale=scale, axis=axis)
    y = alt.Y("name:N", sort=list(frame["name"]), title=None)
    kinds = alt.Color(
        "fit:N",
        legend=None,  # the words stand beside each bar
        scale=alt.Scale(domain=list(_FITS), range=[look.SKY, look.ORANGE, look.VERMILION]),
    )
    bars = (
        alt.Chart(frame)
        .mark_bar(stroke=look.INK, strokeWidth=0.6)
        .encode(x=x, y=y, color=kinds, tooltip=_tooltip())
    )
    whiskers = (
        alt.Chart(frame.dropna(subset=["low", "high"]))
        .mark_rule(color=look.INK, strokeWidth=2)
        .encode(x="low:Q", x2="high:Q", y=y)
    )
    words = alt.Chart(frame).mark_text(align="left", dx=6, color=look.INK)
    words = words.encode(x="label_at:Q", y=y, text="said:N")
    return look.finished(
        alt.layer(bars, whiskers, words, *_full_week()),
        _described(frame),
        alt.Step(look.ROW_PIXELS),
    )


_FITS = ("fits", "may not fit", "does not fit")


def _percent(load: pd.DataFrame) -> pd.DataFrame:
    frame = load.reindex(columns=["kind", "name", "share", "low", "high"])
    frame = frame.astype({"kind": str, "name": str})
    for column in ("share", "low", "high"):
        frame[column] = FULL_PERCENT * frame[column].astype(float)
    frame = frame.rename(columns={"share": "percent"})
    low, high = (frame[c].fillna(frame["percent"]) for c in ("low", "high"))
    fit = pd.Series(_FITS[1], index=frame.index)
    fit = fit.mask(high <= FULL_PERCENT, _FITS[0]).mask(low > FULL_PERCENT, _FITS[2])
    said = [f"{number(p)} %, {words}" for p, words in zip(frame["percent"], fit, strict=True)]
    return frame.assign(fit=fit, label_at=high.clip(lower=frame["percent"]), said=said)


def _placed(frame: pd.DataFrame) -> tuple[pd.DataFrame, float]:
    """The bars with their words moved behind the line of the full week, which would strike them
    through, and where the axis ends, so that none is cut: `does not fit` would read as `does`."""
    taken = ((6 + LETTER * frame["said"].str.len()) / NARROWEST).clip(upper=0.7)
    at, widest = frame["label_at"], 110.0
    for _ in range(len(frame) + 1):  # a wider axis may bring more words across the line
        widest = max(widest, float((at / (1 - taken)).max()))
        struck = (at <= FULL_PERCENT) & (at + taken * widest > FULL_PERCENT)
        at = at.mask(struck, FULL_PERCENT + 0.5)
    return frame.assign(label_at=at), widest


def _tooltip() -> list[alt.Tooltip]:
    return [
        alt.Tooltip("name:N", title="who or what"),
        alt.Tooltip("kind:N", title="kind"),
        alt.Tooltip("percent:Q", title="percent of the week", format=".0f"),
        alt.Tooltip("low:Q", title="range from, %", format=".0f"),
        alt.Tooltip("high:Q", title="range to, %", format=".0f"),
        alt.Tooltip("fit:N", title="the week"),
    ]


def _full_week() -> list[alt.Chart]:
    """The line no bar should pass, and its name."""
    full = pd.DataFrame({"at": [FULL_PERCENT], "said": ["full week"]})
    rule = alt.Chart(full).mark_rule(strokeDash=[6, 4], strokeWidth=2, color=look.INK)
    words = alt.Chart(full).mark_text(
        align="right", baseline="bottom", dx=-4, dy=-4, color=look.INK
    )
    return [rule.encode(x="at:Q"), words.encode(x="at:Q", y=alt.value(0), text="said:N")]


def _described(frame: pd.DataFrame) -> str:
    parts = [
        f"{row.name} {number(row.percent)} percent, {row.fit}"
        for row in frame.itertuples(index=False)
    ]
    return "Bar chart of the share of the week that is needed: " + "; ".join(parts) + "."
