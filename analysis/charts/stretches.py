"""Bars split into stretches, each kind told by a symbol strewn over it as well as by its colour."""

from dataclasses import dataclass

import altair as alt
import numpy as np
import pandas as pd

# Vega's own shapes, and two narrow boxes drawn in its square from -1 to 1.
_PATHS = {"upright": "M-.3,-1H.3V1H-.3Z", "level": "M-1,-.3H1V.3H-1Z"}
_SYMBOLS_ACROSS = 32  # symbols over the full width of the chart


@dataclass(frozen=True)
class Kind:
    """What a stretch stands for: plain words, a colour, a symbol (None: left plain)."""

    words: str
    colour: str
    symbol: str | None


def stretches(frame: pd.DataFrame, bar: str, kind: str, amount: str, kinds: dict) -> pd.DataFrame:
    """Each kind's stretch of its bar, bars in the order given, kinds in that of `kinds`.

    Adds start and end (in the unit of `amount`), share (of all) and said (the kind in words).
    """
    order = {name: place for place, name in enumerate(dict.fromkeys(frame[bar]))}
    rank = {name: place for place, name in enumerate(kinds)}
    frame = frame.groupby([bar, kind], observed=True, sort=False, as_index=False)[amount].sum()
    frame = frame[frame[amount] > 0].astype({bar: str, kind: str})
    place = np.lexsort([frame[kind].map(rank), frame[bar].map(order)])
    frame = frame.iloc[place].reset_index(drop=True)
    end = frame.groupby(bar, sort=False)[amount].cumsum()
    return frame.assign(
        start=end - frame[amount],
        end=end,
        share=frame[amount] / frame[amount].sum(),
        said=frame[kind].map({name: one.words for name, one in kinds.items()}),
    )


def fill(shown: list[Kind], columns: int = 3) -> alt.Fill:
    """The colours of the kinds shown; the legend, so many columns wide, joins them with symbols."""
    scale = alt.Scale(domain=[one.words for one in shown], range=[one.colour for one in shown])
    return alt.Fill("said:N", title=None, scale=scale, legend=alt.Legend(columns=columns))


def strewn(
    drawn: pd.DataFrame, bar: str, y: alt.Y, shown: list[Kind], columns: int = 3
) -> alt.Chart:
    """Symbols laid over the stretches, so that a kind is told without its colour.

    The layer carries the legend: symbol and colour of one kind stand in one entry.
    """
    step = drawn["end"].max() / _SYMBOLS_ACROSS
    marked = drawn[drawn["said"].isin([one.words for one in shown if one.symbol])]
    spots = pd.concat(
        [_spots(row[bar], row["said"], row["start"], row["end"], step, bar)
         for row in marked.to_dict("records")]
        or [pd.DataFrame({bar: [], "said": [], "x": []})],
        ignore_index=True,
    )  # fmt: skip
    symbols = [one.symbol or "square" for one in shown]
    scale = alt.Scale(
        domain=[one.words for one in shown], range=[_PATHS.get(one, one) for one in symbols]
    )
    legend = alt.Legend(columns=columns)
    shape = alt.Shape("said:N", title=None, scale=scale, legend=legend)
    return (
        alt.Chart(spots)
        .mark_point(size=30, strokeWidth=1.2, stroke="#111111", opacity=1)
        .encode(y=y, x="x:Q", shape=shape, fill=fill(shown, columns))
    )


def _spots(name: str, said: str, start: float, end: float, step: float, bar: str) -> pd.DataFrame:
    """Places a step apart inside one stretch; one amid a narrow one, none in a sliver."""
    places = np.arange(start + step / 2, end - step / 3, step)
    if not len(places) and end - start > 0.4 * step:
        places = np.array([(start + end) / 2])
    return pd.DataFrame({bar: name, "said": said, "x": places})


def decimals(longest: float) -> int:
    """Decimals of a bar's figure: three digits of the longest bar, two decimals at most."""
    return int(np.clip(2 - np.floor(np.log10(max(longest, 1e-9))), 0, 2))
