"""How every chart looks: colours and marks told apart without colour, sizes a phone can show.

Colours are the eight of Okabe & Ito, "Color Universal Design" (2008), less black and yellow, which
vanish on a dark and on a light ground. What one colour says is always said a second time, by a
shape, a dash or a word. Text takes the page's own ink, so that light and dark themes both work.
"""

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from analysis.records.figures import number

BLUE, ORANGE, GREEN = "#0072B2", "#E69F00", "#009E73"
VERMILION, PURPLE, SKY, GREY = "#D55E00", "#CC79A7", "#56B4E9", "#707070"
# Three of the eight are too light for a line or point on paper (WCAG 2.2, 1.4.11: 3 to 1). Bars of
# them are outlined in ink; lines and points take these instead, the same hues in darker shades.
DARK_ORANGE, DARK_PURPLE, DARK_SKY = "#985B1B", "#C972A2", "#4897D9"

INK = "currentColor"
LETTER_PIXELS = 12.5  # the smallest text on a chart, readable at arm's length on a phone
ROW_PIXELS = 30

# Workers in order of appearance: colour, shape and dash change together.
SERIES_COLOURS = (BLUE, VERMILION, GREEN, DARK_PURPLE, DARK_ORANGE, DARK_SKY)
SERIES_SHAPES = ("circle", "square", "triangle-up", "diamond", "cross", "triangle-down")
SERIES_DASHES = ((1, 0), (7, 3), (2, 3), (9, 3, 2, 3), (4, 2), (12, 4))


def series_scales(names: list[str]) -> tuple[alt.Scale, alt.Scale, alt.Scale]:
    """Colour, shape and dash scales for `names`, which repeat after six."""

    def scale(styles: Sequence) -> alt.Scale:
        return alt.Scale(domain=names, range=[styles[i % len(styles)] for i in range(len(names))])

    return scale(SERIES_COLOURS), scale(SERIES_SHAPES), scale(SERIES_DASHES)


def finished(chart: alt.TopLevelMixin, description: str, height: int | alt.Step) -> alt.Chart:
    """The chart as wide as its place, with letters of a readable size and words for a reader.

    `description` is what a screen reader says in place of the picture.
    """
    placed = chart.properties(
        width="container",
        height=height,
        description=description,
        padding={"left": 6, "right": 6, "top": 6, "bottom": 8},
    )
    return _readable(placed).configure_mark(aria=False)  # the description is read, not 150 marks


def _readable(chart: alt.TopLevelMixin) -> alt.Chart:
    """Words of a size a phone can show, in the page's own ink; the legend above, to leave width."""
    return (
        chart.configure_axis(
            labelFontSize=LETTER_PIXELS,
            titleFontSize=LETTER_PIXELS,
            labelLimit=130,
            labelPadding=6,
            titlePadding=8,
            labelColor=INK,
            titleColor=INK,
            titleFontWeight="normal",
        )
        .configure_legend(
            labelFontSize=LETTER_PIXELS,
            titleFontSize=LETTER_PIXELS,
            orient="top",
            direction="horizontal",
            columns=3,
            symbolSize=110,
            symbolStrokeWidth=1.2,
            symbolOpacity=1,
            labelColor=INK,
            labelPadding=4,
            labelLimit=150,
            columnPadding=12,
            padding=0,
        )
        .configure_text(fontSize=LETTER_PIXELS, color=INK)
    )


def specification(chart: alt.TopLevelMixin) -> dict:
    """The chart as a Vega-Lite dictionary, its data inline: what a screen keeps between reruns.

    Building and checking a chart takes Altair 40 to 100 ms; sending the dictionary takes one.
    """
    spec = chart.to_dict()
    return _inlined(spec, spec.pop("datasets", {}))


def _inlined(part: Any, datasets: dict) -> Any:
    """The specification with each named dataset put where it is named, numbers to six digits."""
    if isinstance(part, list):
        return [_inlined(item, datasets) for item in part]
    if isinstance(part, float):
        return float(f"{part:.6g}")
    if not isinstance(part, dict):
        return part
    if part.get("name") in datasets:
        return {"values": _inlined(datasets[part["name"]], {})}
    return {key: _inlined(item, datasets) for key, item in part.items()}


def refuse_nothing(frame: pd.DataFrame, what: str) -> None:
    """ValueError where the frame has no rows: a screen says in words what is missing instead."""
    if frame.empty:
        raise ValueError(f"nothing to draw: {what} is empty")


def opened(text: str) -> str:
    """A text as a sentence begins: names and currencies in it keep their own letters."""
    return text[:1].upper() + text[1:]


def counted_weeks(count: int) -> str:
    """`1 week`, `12 weeks`."""
    return f"{number(count)} week" if count == 1 else f"{number(count)} weeks"


def duration_unit(seconds: float) -> tuple[str, float]:
    """The unit an axis is best read in and its seconds: seconds up to 3 minutes, then minutes."""
    return ("seconds", 1.0) if seconds <= 180 else ("minutes", 60.0)
