"""Batch size: what a good piece costs, or takes, in batches of so many; the flat region shaded."""

import altair as alt
import pandas as pd

from analysis.charts import look
from analysis.records.figures import number

FITS, DOES_NOT = "fits in one go", "over rack or press"
COLOURS = {FITS: look.BLUE, DOES_NOT: look.DARK_ORANGE}


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
    flat = drawn[drawn["in_flat_region"]]
    region = pd.DataFrame({"low": [flat["units"].min()], "high": [flat["units"].max()]})
    x = alt.X(
        "units:Q",
        title="pieces in a batch",
        scale=alt.Scale(type="log", nice=False),
        axis=alt.Axis(values=[1, 2, 5, 10, 25, 50, 100, 200], grid=False, labelFlush=True),
    )
    y = alt.Y("value:Q", title=unit, scale=alt.Scale(zero=False), axis=alt.Axis(tickCount=5))
    band = (
        alt.Chart(region)
        .mark_rect(opacity=0.16, fill=look.INK, stroke=look.INK, strokeDash=[4, 3])
        .encode(x=alt.X("low:Q", title="pieces in a batch"), x2="high:Q")
    )
    line = alt.Chart(drawn).mark_line(color=look.BLUE).encode(x=x, y=y)
    shown = [words for words in (FITS, DOES_NOT) if (drawn["said"] == words).any()]
    shapes = {FITS: "circle", DOES_NOT: "square"}
    points = (
        alt.Chart(drawn)
        .mark_point(filled=True, size=55, opacity=1)
        .encode(
            x=x,
            y=y,
            shape=alt.Shape("said:N", title=None, scale=_scale(shown, shapes)),
            color=alt.Color("said:N", title=None, scale=_scale(shown, COLOURS)),
            tooltip=[
                alt.Tooltip("units:Q", title="pieces in a batch"),
                alt.Tooltip("value:Q", title=unit, format=",.2f"),
                alt.Tooltip("said:N", title="rack and press"),
            ],
        )
    )
    best = drawn.loc[drawn["value"].idxmin()]
    description = (
        f"Line of {unit} by pieces in a batch: {number(drawn['value'].iloc[0], 2)} in batches of "
        f"{drawn['units'].iloc[0]}, "
        f"least {number(best['value'], 2)} in batches of {best['units']}, "
        f"hardly more from {region['low'][0]} to {region['high'][0]}, which is shaded."
    )
    return look.finished(alt.layer(band, line, points), description, 260)


def _scale(shown: list[str], values: dict[str, str]) -> alt.Scale:
    return alt.Scale(domain=shown, range=[values[words] for words in shown])
