"""Batch size: what a good piece costs, or takes, in batches of so many; the flat region shaded."""

import altair as alt
import pandas as pd

from analysis.charts import look
from analysis.records.figures import number

FITS, DOES_NOT = "fits in one go", "too many for rack or press"
COLOURS = {FITS: look.BLUE, DOES_NOT: look.DARK_ORANGE}
SHAPES = {FITS: "circle", DOES_NOT: "square"}
PIECES = "pieces in a batch"


def batch_size_chart(table: pd.DataFrame, judged_by: str, unit: str) -> alt.Chart:
    """A line over batch sizes (log scale) from `BatchSizes.table`.

    judged_by: the column drawn; unit: its words, as "USD per good piece". Raises ValueError on an
    empty table.
    """
    look.refuse_nothing(table, "batch sizes")
    drawn = table[["units", judged_by, "fits", "in_flat_region"]].rename(
        columns={judged_by: "value"}
    )
    drawn = drawn.assign(said=drawn["fits"].map({True: FITS, False: DOES_NOT}))
    x = alt.X(
        "units:Q",
        title=PIECES,
        scale=alt.Scale(type="log", nice=False),
        axis=alt.Axis(values=[1, 2, 5, 10, 25, 50, 100, 200], grid=False, labelFlush=True),
    )
    y = alt.Y("value:Q", title=unit, scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=5))
    line = alt.Chart(drawn).mark_line(color=look.BLUE).encode(x=x, y=y)
    layers = alt.layer(_flat_region(drawn), line, _points(drawn, x, y, unit))
    return look.finished(layers, _described(drawn, unit), 260)


def _flat_ends(drawn: pd.DataFrame) -> tuple[int, int]:
    """The smallest and the largest batch that costs hardly more than the best."""
    flat = drawn.loc[drawn["in_flat_region"], "units"]
    return flat.min(), flat.max()


def _flat_region(drawn: pd.DataFrame) -> alt.Chart:
    low, high = _flat_ends(drawn)
    region = alt.Chart(pd.DataFrame({"low": [low], "high": [high]}))
    band = region.mark_rect(opacity=0.16, fill=look.INK, stroke=look.INK, strokeDash=[4, 3])
    return band.encode(x=alt.X("low:Q", title=PIECES), x2="high:Q")


def _points(drawn: pd.DataFrame, x: alt.X, y: alt.Y, unit: str) -> alt.Chart:
    """A point a size, its shape and colour by whether rack and press take it in one go."""
    shown = [words for words in SHAPES if (drawn["said"] == words).any()]
    tooltip = [
        alt.Tooltip("units:Q", title=PIECES),
        alt.Tooltip("value:Q", title=unit, format=",.2f"),
        alt.Tooltip("said:N", title="rack and press"),
    ]
    return (
        alt.Chart(drawn)
        .mark_point(filled=True, size=55, opacity=1)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("said:N", title=None, scale=_scale(shown, SHAPES)),
            color=alt.Color("said:N", title=None, scale=_scale(shown, COLOURS)),
            tooltip=tooltip,
        )
    )


def _described(drawn: pd.DataFrame, unit: str) -> str:
    first, best = drawn.iloc[0], drawn.loc[drawn["value"].idxmin()]
    low, high = _flat_ends(drawn)
    return (
        f"Line of {unit} by pieces in a batch: {number(first['value'], 2)} in batches of "
        f"{first['units']}, "
        f"least {number(best['value'], 2)} in batches of {best['units']}, "
        f"hardly more from {low} to {high}, which is shaded."
    )


def _scale(shown: list[str], values: dict[str, str]) -> alt.Scale:
    return alt.Scale(domain=shown, range=[values[words] for words in shown])
