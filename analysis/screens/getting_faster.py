"""Getting faster: how practice shortens each operation, where it ends, and what is next."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from analysis.charts.practice import practice_chart
from analysis.screens import answers, glossary, words
from analysis.screens.answers import Table
from analysis.study.forecast import next_batch
from analysis.study.learning_points import learning_points
from analysis.study.practice_path import PracticePath, practice_path

if TYPE_CHECKING:
    from analysis.study.summary import Study

TRADE = ("learning curve", "learning rate", "plateau", "experience depreciation")
CURVES = {
    "constant": "no practice effect",
    "unit": "unit curve",
    "cumulative_average": "cumulative average",
    "plateau": "with a plateau",
    "prior": "with prior experience",
}
WIDEST_RATE = 0.5  # a range of learning rates as wide as this says nothing worth reading out


@dataclass(frozen=True)
class Page:
    """All that is read out for one choice, ready to be shown."""

    sentence: str
    points: dict[str, tuple[str, ...]]  # by worker
    terms: tuple[str, ...]
    path: PracticePath
    surer: tuple[str, ...]


def show() -> None:
    """The answer for one operation, its curve, the table of all, and what is behind."""
    desk = answers.opened("Getting faster", "how practice shortens the work")
    if desk is None:
        return
    options = desk.kept("practised", (), lambda: _options(desk.figures))
    if not options:
        st.info(
            "No lap of an operation with a product yet. Next step: time some making, not only "
            "setups and interruptions."
        )
        return
    product, operation, worker = choice = _choice(options)
    page = desk.kept("practice", choice, lambda: _page(desk, *choice))
    several = len(page.points) > 1
    answers.answer(page.sentence, () if several else next(iter(page.points.values()), ()))
    glossary.beside(*page.terms)
    _picture(desk, page.path, choice)
    if several:
        _details(page)
    table = desk.kept("practice table", (product,), lambda: _table(desk.figures, product))
    answers.table(table, "getting_faster")
    answers.surer(page.surer)
    answers.worked_out(WORKED_OUT, PLAINLY)
    st.caption(CAUTION)


def _details(page: Page) -> None:
    """What can be said of each of several workers, below the chart."""
    for worker, lines in page.points.items():
        answers.points(lines, f"**{words.plain(worker)}**")


def _options(figures: Study) -> dict[str, dict[str, list[str]]]:
    """Workers by product and operation; first those with most bench time that get faster."""
    cells = figures.learning.cells
    share = figures.operations.set_index(["product", "operation"])["share_of_bench_time"]
    place = pd.MultiIndex.from_frame(cells[["product", "operation"]])
    ranked = cells.assign(share=share.reindex(place).to_numpy())
    ranked = ranked.assign(learns=ranked["curve"] != "constant")
    ranked = ranked.sort_values(["learns", "share"], ascending=False, kind="stable")
    options: dict[str, dict[str, list[str]]] = {}
    for row in ranked.itertuples(index=False):
        options.setdefault(row.product, {}).setdefault(row.operation, []).append(row.worker)
    return options


def _choice(options: dict[str, dict[str, list[str]]]) -> tuple[str, str, str]:
    """(product, operation, worker); blank for everybody."""
    with st.container(horizontal=True):
        product = st.selectbox("Product", list(options), key="faster_product")
        names = list(options[product])
        operation = st.selectbox("Operation", names, key=f"faster_operation_{product}")
        people = sorted(options[product][operation])
        people = ["everybody", *people] if len(people) > 1 else people
        worker = st.selectbox("Worker", people, key=f"faster_worker_{product}_{operation}")
    return product, operation, "" if worker == "everybody" else worker


def _page(desk: answers.Desk, product: str, operation: str, worker: str) -> Page:
    figures = desk.figures
    cells = figures.learning.cells
    chosen = cells[(cells["product"] == product) & (cells["operation"] == operation)]
    chosen = chosen[chosen["worker"] == worker] if worker else chosen
    batch = figures.shop.batch_size(product)
    fits = figures.learning.fits
    assert fits is not None  # there was a cell to choose
    _, low, high = next_batch(fits, batch)
    seen = desk.kept("points", (), lambda: learning_points(figures.learning, figures.laps))
    path = practice_path(seen, figures.laps, figures.learning, product, operation)
    return Page(
        _now(operation, chosen),
        {
            row["worker"]: tuple(_statements(row, low[cell], high[cell], batch))
            for cell, row in chosen.iterrows()
        },
        (*TRADE, *_curve_terms(chosen), "prediction interval"),
        path.of(worker),
        tuple(_surer(chosen)),
    )


def _curve_terms(chosen: pd.DataFrame) -> list[str]:
    """The trade's names of the curves drawn, where the glossary has more to say of them."""
    names = {
        "unit": "unit curve",
        "cumulative_average": "cumulative average",
        "prior": "prior experience",
    }
    return [names[curve] for curve in dict.fromkeys(chosen["curve"]) if curve in names]


def _now(operation: str, chosen: pd.DataFrame) -> str:
    """Where everybody chosen stands, in a sentence."""
    longest = chosen["present_high"].max()
    parts = [_stands(row, longest) for _, row in chosen.iterrows()]
    return f"For *{words.plain(operation)}*, {'; '.join(parts)}."


def _stands(row: pd.Series, longest: float) -> str:
    present = words.time_range(row["present_low"], row["present_high"], longest)
    who = words.plain(row["worker"])
    if row["pooled"]:
        return f"{who} needs perhaps {present} a piece (too few laps to say how fast that falls)"
    if row["curve"] == "constant":
        return f"{who} needs about {present} a piece, without an effect of practice so far"
    first = _as_long(row["first_unit_seconds"], longest)
    return f"{who} now needs about {present} a piece (the first one took about {first})"


def _as_long(seconds: float, longest: float) -> str:
    """The time of a first piece, in seconds where those of now are told in seconds."""
    in_seconds = longest <= 180 and seconds < 600
    return f"{words.number(seconds)} s" if in_seconds else words.rough(seconds)


def _statements(row: pd.Series, low: float, high: float, batch: int) -> list[str]:
    what = f"*{words.plain(row['operation'])}*"
    return [
        _how_fast(row),
        _where_it_ends(row),
        f"For {what} the next batch of {batch} takes {words.time_range(low, high)}.",
        _after_a_break(row),
        _after_a_start(row),
    ]


def _how_fast(row: pd.Series) -> str:
    low, high = row["learning_rate_low"], row["learning_rate_high"]
    if row["pooled"]:
        return (
            f"{words.count(row['laps'], 'lap')}: too few to tell. The guess, from your other "
            f"operations and published studies: each doubling of the pieces takes "
            f"{_taken_off(low, high)} off."
        )
    if row["curve"] == "constant":
        if low < 1:
            return (
                f"No practice shows in {words.count(row['pieces_made'], 'piece')}; if there is "
                f"some, each doubling of the pieces takes at most {words.share(1 - low, 0)} off."
            )
        return f"No practice shows in {words.count(row['pieces_made'], 'piece')}."
    if not high - low < WIDEST_RATE:
        return (
            "It gets faster, but how much each doubling of the pieces takes off cannot be told yet."
        )
    what = "the part that practice can change" if row["curve"] == "plateau" else "the time"
    return f"Each doubling of the pieces made takes {_taken_off(low, high)} off {what}."


def _taken_off(low: float, high: float) -> str:
    """Learning rates low to high as what a doubling takes off: `12 to 18 %`."""
    least, most = max(1 - high, 0.0), 1 - low
    if least < 0.005:
        return f"at most {words.share(most, 0)}"
    return words.share_range(least, most)


def _where_it_ends(row: pd.Series) -> str:
    if row["curve"] == "constant":
        return ""
    if not row["plateau_identifiable"]:
        return "Where it levels out cannot be told yet from these laps."
    ends = words.time_range(row["plateau_low"], row["plateau_high"])
    left = row["pieces_to_plateau"]
    if pd.isna(left):
        return f"It levels out at {ends} a piece."
    if left <= 0:
        return f"It levels out at {ends} a piece, and is within 5 % of that already."
    return (
        f"It levels out at {ends} a piece; after about {words.count(left, 'more piece')} "
        "it is within 5 % of that."
    )


def _after_a_break(row: pd.Series) -> str:
    if row["curve"] == "constant":
        return ""
    if pd.isna(row["retention_per_week"]):
        return "What a break takes away cannot be told: nobody has been away from it for long."
    lost = words.share_range(1 - row["retention_high"], 1 - row["retention_low"])
    low, high = row["two_week_break_batch_low"], row["two_week_break_batch_high"]
    practice = f"(a week takes {lost} of the practice)"
    if high < 10:
        return f"Two weeks away cost hardly anything {practice}."
    cost = words.time_range(low, high) if low >= 1 else f"at most {words.rough(high)}"
    return f"Two weeks away cost {cost} on the next 25 pieces together {practice}."


def _after_a_start(row: pd.Series) -> str:
    slower = math.exp(row["restart_effect"]) - 1
    if not slower > 0.02:
        return ""
    second, third = (math.exp(row["restart_effect"] / 2**k) - 1 for k in (1, 2))
    return (
        f"The first piece after a start or a change of task takes about {words.share(slower, 0)} "
        f"longer, the second {words.share(second, 0)}, the third {words.share(third, 0)}, and so "
        "on: larger stacks at a go save that."
    )


def _picture(desk: answers.Desk, path: PracticePath, choice: tuple[str, str, str]) -> None:
    if path.points.empty:
        st.info("Every lap of this was set aside as suspicious. Next step: look at them on *Laps*.")
        return
    tables = (path.points, path.curve, path.plateaus, path.breaks)
    answers.picture(desk, "practice", choice, lambda: practice_chart(*tables, choice[1]))
    level = "" if path.plateaus.empty else " Dotted level: where it ends."
    away = "" if path.breaks.empty else " Dashed upright: time away, and how long."
    st.caption(
        "Marks: averages of neighbouring laps. Line: the fitted average, shaded where it lies 19 "
        f"times out of 20.{level}{away}"
    )


FORMATS = dict.fromkeys(
    (
        "now (s a piece)",
        "now from (s)",
        "now to (s)",
        "first piece (s)",
        "learning rate (%)",
        "rate from (%)",
        "rate to (%)",
        "levels out at (s)",
        "next piece (s)",
        "next piece from (s)",
        "next piece to (s)",
    ),
    "%.0f",
)
SPANS = {
    "now (s a piece)": ("now from (s)", "now to (s)"),
    "learning rate (%)": ("rate from (%)", "rate to (%)"),
    "next piece (s)": ("next piece from (s)", "next piece to (s)"),
}


def _table(figures: Study, product: str) -> Table:
    cells = figures.learning.cells
    cells = cells[cells["product"] == product]
    few = cells["pooled"].astype(bool)
    frame = pd.DataFrame(
        {
            "operation": cells["operation"],
            "worker": cells["worker"],
            "now (s a piece)": cells["present_seconds"],
            "now from (s)": cells["present_low"],
            "now to (s)": cells["present_high"],
            "first piece (s)": cells["first_unit_seconds"],
            "learning rate (%)": 100 * cells["learning_rate"],
            "rate from (%)": 100 * cells["learning_rate_low"],
            "rate to (%)": 100 * cells["learning_rate_high"],
            "levels out at (s)": cells["plateau_seconds"],
            "next piece (s)": cells["next_unit_seconds"],
            "next piece from (s)": cells["next_unit_low"],
            "next piece to (s)": cells["next_unit_high"],
            "pieces made": cells["pieces_made"],
            "laps": cells["laps"],
            "curve": cells["curve"].map(CURVES).mask(few, "too few laps: pooled guess"),
            "note": cells["note"],
        }
    )
    return Table.of(frame, FORMATS, SPANS)


def _surer(chosen: pd.DataFrame) -> list[str]:
    lines = []
    if chosen["pooled"].any():
        lines.append("More laps: five or more of one person at this, better ten, tell a curve.")
    if (~chosen["plateau_identifiable"].astype(bool) & (chosen["curve"] != "constant")).any():
        lines.append(
            "Where it levels out shows only once the curve bends: some hundred pieces more, or "
            "never within what one shop makes."
        )
    lines.append("Short laps of few pieces: they show the first, slow pieces that long laps hide.")
    lines.append("One lap per go, closed at every pause, so that a break is not timed as work.")
    return lines


CAUTION = (
    "For planning, not for pushing anybody: haste at blades, needles and presses hurts, and hands "
    "need pauses. Tell whoever is timed what it is for."
)

PLAINLY = """
The more pieces somebody has made, the less time one takes, and each doubling of the number takes
off about the same share. The program draws the curve that fits the laps best among several such
forms, or a level line where practice does not show. Time away is counted as some practice lost,
and the first piece after a pause as slower than the next. The range widens where there are few
laps, where they scatter, and where they all come from few sessions.
"""

WORKED_OUT = """
**The curves**, each with a the time of the first piece, n the pieces made, and 2^b the learning
rate:

| name | mean time of piece n | in words |
|---|---|---|
| no practice effect | a | practice does not show (p above 5 %) |
| unit curve | a n^b | each doubling takes the same share off a piece (Crawford 1944) |
| cumulative average | n A(n) - (n-1) A(n-1); A(n) = a n^b | the mean so far falls (Wright 1936) |
| with a plateau | c + (a - c) n^b | a part c that practice cannot take (de Jong 1957) |
| with prior experience | a ((n+B) / (1+B))^b | B pieces brought along (Stanford-B; Asher 1956) |

- A lap of several pieces is fitted through the exact sum over its pieces. Practice counts per
  person and operation, across variants.
- **Time away** (more than a week) takes practice back: pieces of experience × retention^weeks
  (Argote, Beckman & Epple 1990).
- **After a start**, a pause of half an hour or another task, the k-th piece takes
  exp(r / 2^(k-1)) times as long.
- **Choice of curve** by AICc; a bent curve must win clearly. **Ranges** hold 19 times out of 20;
  laps of one session resemble each other and count for less than as many separate ones.
- **Now** is a piece as they come on the average day, with its share of slow first pieces after a
  start or a pause in it, at the practice that is left at your last lap. **Next piece** goes
  straight on from the last one, so it is mostly a little quicker; its range is that of one piece.
- **Next batch** is a prediction: it holds the scatter of a session and of laps as well as what is
  not known of the curve.
- **Too few laps** (under five): the guess leans on your other operations and on published learning
  rates (Dutton & Thomas 1984).
- Practice shows that times fell while pieces were made, not that making more caused it: a new tool
  or a simpler design in the same weeks would look alike.
"""
