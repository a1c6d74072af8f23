"""Order of work, what to make: which variants next and how many, in the hours that are left."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, TypeAlias
from zoneinfo import ZoneInfo

import streamlit as st

from analysis.screens import answers, order_choice, parts, source, words

if TYPE_CHECKING:
    import pandas as pd

    from analysis.flow.batch_size import Seconds
    from analysis.flow.make_next import Line, Make, MakeNext, Scarcest
    from analysis.screens.order_of_work import Seen

COVER_WEEKS = 3.0  # common practice, no source: the week it is made in, and two on the shelf

# (product, variant) -> its row of the shelf, and the pieces asked for a week
Asked: TypeAlias = "dict[tuple[str, str], tuple[pd.Series, float | None]]"


def next_makes(seen: Seen) -> None:
    """Which variants and how many of each in the hours left this week, and what was left out."""
    desk = seen.desk
    if not desk.here.store.lap_count():
        st.info("What to make next is told from your laps, stock and demand. Next step: time some "
                "laps, or drop in a file of them on **This week**.")  # fmt: skip
        parts.screen_link("first", "This week")
        return
    hour = datetime.now(UTC).replace(minute=0, second=0, microsecond=0)
    page = desk.kept("make next", (hour,), lambda: _makes(desk, hour))
    answers.answer(page[0], page[1])
    if page[2] is not None:
        answers.table(page[2], "make_next", "What to make, in order, and what was left out")
    answers.surer([
        "Stock counted and demand by variant on *Shop*: they decide more than any lap.",
        "Price and material by variant: what earns nothing known is made last.",
    ])  # fmt: skip
    answers.worked_out(MAKES_WORKED_OUT)


def _makes(desk: answers.Desk, now: datetime) -> tuple[str, tuple[str, ...], answers.Table | None]:
    from analysis.flow.make_next import make_next, open_hours_left, scarcest

    figures, (shop, routing) = desk.figures, desk.settings
    lines = _demand(desk)
    if not any(demand for _, demand in lines.values()):
        return (
            "What to make next needs how many are asked for a week: fill them in on Shop.",
            (),
            None,
        )
    people = {w.name: float(w.hours_per_week or 0) or shop.week_seconds / 3600
              for w in shop.workers} or {"maker": shop.week_seconds / 3600}  # fmt: skip
    week_hours = shop.week_seconds / 3600
    demand = {key: float(pieces or 0) for key, (_, pieces) in lines.items()}
    limit = scarcest(figures.content, routing, demand, people, week_hours)
    left = open_hours_left(shop.week, now.astimezone(ZoneInfo(shop.timezone)))
    next_week = left < 0.5
    share = 1.0 if next_week else left / week_hours
    hours = limit.hours_per_week * share
    answer = make_next(_lines(desk, lines, limit.seconds), hours, cover_weeks=COVER_WEEKS)
    when = "next week" if next_week else "in what is left of this week"
    return _told(answer, limit, when, shop.currency)


def _demand(desk: answers.Desk) -> Asked:
    """The shelf's rows by (product, variant), with the pieces asked for a week."""
    shelf = source.week_figures(desk.here).shelf
    return {
        (str(row["product"]), str(row["variant"])): (row, _number(row["demand_per_week"]))
        for _, row in shelf.iterrows()
    }


def _number(value: float | None) -> float | None:
    return None if value is None or value != value else float(value)


def _lines(desk: answers.Desk, rows: Asked, seconds: Seconds) -> list[Line]:
    from analysis.flow.make_next import Line

    cost = desk.figures.cost.set_index(["product", "variant"])["contribution"]
    return [
        Line(
            product, variant,
            stock=_number(row["stock"]) or 0.0,
            demand_per_week=demand,
            batch_size=int(row["batch_size"]),
            earning=_number(cost.get((product, variant), cost.get((product, "")))),
            bottleneck_seconds=seconds.get((product, variant), seconds.get((product, ""), 0.0)),
            # What is packed is not known where the shelf was never counted.
            under_way=sum(_number(row[at]) or 0.0 for at in ("packed_not_put_away", "in_progress")),
        )
        for (product, variant), (row, demand) in rows.items()
    ]  # fmt: skip


def _told(
    answer: MakeNext, limit: Scarcest, when: str, currency: str
) -> tuple[str, tuple[str, ...], answers.Table]:
    """(sentence, points, table)."""
    made = [f"{row.pieces} {words.variant(row.product, row.variant)}" for row in answer.make]
    who = words.plain(limit.name)
    if made:
        sentence = (
            f"Make {', then '.join(made)} {when}: it takes {words.figure(answer.hours_used)} of "
            f"the {words.hours(answer.hours_left)} of {who}."
        )
    else:
        sentence = f"Nothing need be made {when}: what is there, packed or begun will do."
    full = limit.hours_asked / limit.hours_per_week if limit.hours_per_week else 0.0
    points = [
        f"So much that what is there, packed and begun lasts about {COVER_WEEKS:.0f} weeks; a "
        f"batch that would lie by more than half waits.{_free(answer)}",
        f"What is scarcest: the hours of **{who}**, the work shared as skills allow. A week's "
        f"demand asks for {words.hours(limit.hours_asked)} of the "
        f"{words.hours(limit.hours_per_week)} ({words.share(full, 0)}).",
        *(f"**{words.variant(row.product, row.variant)}**: {_because(row, currency)}"
          for row in answer.make),
        *(f"Left out: {words.variant(row.product, row.variant)}, {words.plain(row.why)}."
          for row in answer.left_out),
    ]  # fmt: skip
    return sentence, tuple(points), _makes_table(answer, currency)


def _free(answer: MakeNext) -> str:
    """The hours that nothing is needed for, where they are worth a word."""
    free = answer.hours_left - answer.hours_used
    return f" {words.hours(free)} are then left over." if free >= 1 else ""


def _makes_table(answer: MakeNext, currency: str) -> answers.Table:
    import pandas as pd

    frame = pd.DataFrame(
        {
            "product": [order_choice.name((r.product, r.variant)) for r in _both(answer)],
            "make (pieces)": [r.pieces for r in _both(answer)],
            "what is there lasts (days)": [r.lasts_days for r in _both(answer)],
            "hours of what is scarce": [r.hours for r in _both(answer)],
            f"earns ({currency} per scarce hour)": [
                r.earning_per_bottleneck_hour for r in _both(answer)
            ],
            "why": [
                r.why or ("runs out soon" if r.urgent else "runs short within three weeks")
                for r in _both(answer)
            ],
        }
    )
    formats = {frame.columns[2]: "%.0f", frame.columns[3]: "%.1f", frame.columns[4]: "%.1f"}
    return answers.Table.of(frame.astype({"what is there lasts (days)": float}), formats)


def _both(answer: MakeNext) -> tuple[Make, ...]:
    return (*answer.make, *answer.left_out)


def _because(row: Make, currency: str) -> str:
    """Why this one, in its turn."""
    days = row.lasts_days
    lasts = "" if days is None else f"what is there lasts {words.count(days, 'day')}"
    rate = row.earning_per_bottleneck_hour
    brings = words.money(rate, currency)
    earns = "" if rate is None else f"an hour spent on it brings in {brings}, price less material"
    said = ", ".join(part for part in (lasts, earns, words.plain(row.why)) if part)
    return ("urgent, " if row.urgent else "") + (said or "wanted") + "."


MAKES_WORKED_OUT = """
- **What is scarce** (bottleneck): of everybody's hours together, the hours of those who alone can
  do something, and the open hours of each place, what a week's demand asks most of.
- **How many**: whole batches until stock, what is packed and what is begun cover three weeks'
  demand; a batch that would lie by more than half is left for later.
- **In which order**: what lasts four days or less first; then what earns most per scarce hour
  (price less material; trade: contribution per bottleneck hour).
- Three weeks and four days: common practice, no source.
"""
