"""Line balance: how much of a piece each person does, against the pace of the line."""

import altair as alt
import pandas as pd

from analysis.charts import look
from analysis.records.figures import number

SHADES = (look.SKY, "#FFFFFF")  # neighbours alternate; the words say which operation it is


def work_load_chart(assignment: pd.DataFrame, cycle_seconds: float) -> alt.Chart:
    """Bars by person, split by operation in the order of the line; a dashed line at the cycle.

    assignment: worker, operation, seconds (per piece), in order. Raises ValueError where empty.
    """
    look.refuse_nothing(assignment, "the assignment")
    unit, seconds = look.duration_unit(cycle_seconds)
    title, cycle = f"{unit} per piece", cycle_seconds / seconds
    shares = _shares(assignment, seconds)
    y = alt.Y("worker:N", sort=list(dict.fromkeys(shares["worker"])), title=None)
    wide = shares[shares["amount"] > 0.06 * cycle]  # what is narrower has no room for a number
    numbers = alt.Chart(wide).mark_text(color="#111111").encode(y=y, x="middle:Q", text="number:Q")
    line = alt.Chart(pd.DataFrame({"cycle": [cycle]})).mark_rule(
        strokeDash=[6, 4], strokeWidth=2, color=look.INK
    )
    layers = alt.layer(_bars(shares, y, title, cycle), numbers, line.encode(x="cycle:Q"))
    return look.finished(layers, _described(shares, unit, cycle), alt.Step(44))


def _shares(assignment: pd.DataFrame, unit_seconds: float) -> pd.DataFrame:
    """Where each operation's stretch of its person's bar begins, ends and has its middle, in the
    axis's unit; its number there, and the shade it takes."""
    own = assignment.assign(amount=assignment["seconds"] / unit_seconds)
    groups = own.groupby("worker", sort=False)
    place, end = groups.cumcount(), groups["amount"].cumsum()
    start = end - own["amount"]
    return own.assign(
        start=start, end=end, middle=(start + end) / 2, number=place + 1, shade=place % 2
    )


def _bars(shares: pd.DataFrame, y: alt.Y, title: str, cycle: float) -> alt.Chart:
    domain = alt.Scale(domain=[0, cycle * 1.06])
    shades = alt.Scale(domain=[0, 1], range=list(SHADES))
    tooltip = [
        alt.Tooltip("operation:N", title="operation"),
        alt.Tooltip("worker:N", title="who"),
        alt.Tooltip("amount:Q", title=title, format=",.1f"),
    ]
    return (
        alt.Chart(shares)
        .mark_bar(stroke=look.INK, strokeWidth=0.8)
        .encode(
            y=y,
            x=alt.X("start:Q", title=title, scale=domain, axis=alt.Axis(tickCount=5)),
            x2="end:Q",
            color=alt.Color("shade:O", scale=shades, legend=None),
            tooltip=tooltip,
        )
    )


def _described(shares: pd.DataFrame, unit: str, cycle: float) -> str:
    said = "; ".join(
        f"{worker} {number(rows['amount'].sum(), 1)} {unit}: {', '.join(rows['operation'])}"
        for worker, rows in shares.groupby("worker", sort=False)
    )
    return (
        f"Work load of each person in {unit} per piece, a piece every {number(cycle, 1)}. {said}."
    )
