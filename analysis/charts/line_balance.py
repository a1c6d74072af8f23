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
    title = f"{unit} per piece"
    own = assignment.assign(amount=assignment["seconds"] / seconds)
    ends = own.groupby("worker", sort=False)["amount"].cumsum()
    own = own.assign(start=ends - own["amount"], end=ends)
    own = own.assign(shade=own.groupby("worker", sort=False).cumcount() % 2)
    own = own.assign(number=own.groupby("worker", sort=False).cumcount() + 1)
    own = own.assign(middle=(own["start"] + own["end"]) / 2)
    workers = list(dict.fromkeys(own["worker"]))
    cycle = cycle_seconds / seconds
    y = alt.Y("worker:N", sort=workers, title=None)
    bars = (
        alt.Chart(own)
        .mark_bar(stroke=look.INK, strokeWidth=0.8)
        .encode(
            y=y,
            x=alt.X("start:Q", title=title, scale=alt.Scale(domain=[0, cycle * 1.06]),
                    axis=alt.Axis(tickCount=5)),
            x2="end:Q",
            color=alt.Color("shade:O", scale=alt.Scale(domain=[0, 1], range=list(SHADES)),
                            legend=None),
            tooltip=[
                alt.Tooltip("operation:N", title="operation"),
                alt.Tooltip("worker:N", title="who"),
                alt.Tooltip("amount:Q", title=title, format=",.1f"),
            ],
        )
    )  # fmt: skip
    wide = own[own["amount"] > 0.06 * cycle]
    numbers = alt.Chart(wide).mark_text(color="#111111").encode(y=y, x="middle:Q", text="number:Q")
    line = (
        alt.Chart(pd.DataFrame({"cycle": [cycle]}))
        .mark_rule(strokeDash=[6, 4], strokeWidth=2, color=look.INK)
        .encode(x="cycle:Q")
    )
    said = "; ".join(
        f"{worker} {number(rows['amount'].sum(), 1)} {unit}: {', '.join(rows['operation'])}"
        for worker, rows in own.groupby("worker", sort=False)
    )
    description = f"Work load of each person in {title}, a piece every {number(cycle, 1)}. {said}."
    return look.finished(alt.layer(bars, numbers, line), description, alt.Step(44))
