"""Putting right: what if pieces got some seconds more, or fewer, at one operation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from analysis.screens import answers, words
from analysis.screens.answers import Desk
from analysis.screens.source import fault_figures

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from analysis.study.frames import Row


def try_it(desk: Desk) -> None:
    """What some seconds more or fewer for a piece would do."""
    options = desk.kept("tries", (), lambda: _options(fault_figures(desk.here).more_time.options))
    if not options:
        st.info(
            "There is no curve to try yet: it takes faults, made at an operation or found at a "
            "later one, in batches worked at different paces. Next step: go on flagging them."
        )
        return
    key = st.selectbox("Piece and operation", list(options), format_func=options.get, key="try_key")
    steps = desk.kept("try steps", key, lambda: _steps(desk, key))
    more = st.select_slider(
        "Seconds more for a piece", list(steps), value=0, format_func=_signed,
        key=f"try_more_{key[0]}_{key[1]}",
    )  # fmt: skip
    answers.points(steps[more][1:], f"**{steps[more][0]}**")
    answers.picture(desk, "try", (*key, more), lambda: _try_drawn(desk, key, more))
    st.caption(
        "Line: what a good piece costs at this operation, by the seconds it gets; band: 19 times "
        "out of 20 it lies in there; broken where nobody worked at that pace yet."
    )


def _signed(more: int) -> str:
    return f"{more:+d} s" if more else "as now"


def _options(options: pd.DataFrame) -> dict[tuple[str, str], str]:
    return {
        (row.product, row.operation): f"{row.product}: {row.operation}"
        + ("" if row.told else " (cannot tell yet)")
        for row in options.itertuples()
    }


def _steps(desk: Desk, key: tuple[str, str]) -> dict[int, tuple[str, ...]]:
    """What to say for each number of seconds more, the sentence first."""
    found, figures = fault_figures(desk.here), desk.figures
    rows = found.more_time.tried(*key)
    made = found.cost.products.set_index("product")["good_units"].get(key[0], 0)
    weekly = made / max(found.cost.weeks, 1)
    now = rows.loc[rows["more_seconds"].abs().idxmin()]
    return {
        int(row.more_seconds): tuple(_what_if(row, now, weekly, figures.currency))
        for row in rows.itertuples()
    }


def _what_if(row: Row, now: pd.Series, weekly: float, money: str) -> list[str]:
    """Seconds, faults, mending, money of one position of the slider."""
    if row.more_seconds == 0:
        return [_as_now(row, now)]
    more = "more" if row.more_seconds > 0 else "fewer"
    lines = [
        f"{words.number(abs(row.more_seconds))} s {more} a piece "
        f"({words.number(row.seconds)} s in place of "
        f"{words.number(row.seconds_now)} s): {_net(row, weekly, money)}."
    ]
    week = words.rough(abs(row.more_seconds) * weekly)
    made = words.number(weekly)
    lines.append(f"At {made} good pieces a week that is {week} {more} at the bench.")
    if row.chance == row.chance:
        lines.append(
            f"Spoiled here: {words.share_range(row.chance_low, row.chance_high)}, against "
            f"{words.share_range(now['chance_low'], now['chance_high'])} now."
        )
    if row.later:
        spared = words.time_range(*sorted((abs(row.later_low), abs(row.later_high))))
        lines.append(
            f"At {words.plain(row.later)}: {spared} {'less' if row.later_seconds > 0 else 'more'} "
            "mending a piece goes with it."
        )
    if not row.seen:
        lines.append(
            "Nobody worked at that pace yet: the curve is drawn on, and may be wrong there."
        )
    if not row.told:
        lines.append("Your laps cannot tell yet whether time matters here: take it as a guess.")
    return lines


def _as_now(row: Row, now: pd.Series) -> str:
    said = f"A piece gets {words.number(row.seconds_now)} s here now"
    if row.chance == row.chance:
        said += f", and {words.share_range(now['chance_low'], now['chance_high'])} are spoiled"
    return f"{said}. Move the slider to give it more, or less."


def _net(row: Row, weekly: float, money: str) -> str:
    """What it comes to in a week, all in all."""
    low, high = row.saved_low * weekly, row.saved_high * weekly
    if low > 0:
        return f"it would save {_between(low, high, row.in_money, money)} a week"
    if high < 0:
        return (
            f"it would cost {_between(-high, -low, row.in_money, money)} a week more than it saves"
        )
    lost, saved = (_between(end, end, row.in_money, money) for end in (-low, high))
    return f"it may cost up to {lost} a week or save up to {saved}: the laps cannot tell"


def _between(low: float, high: float, in_money: bool, money: str) -> str:
    return words.money_range(low, high, money) if in_money else words.time_range(low, high)


def _try_drawn(desk: Desk, key: tuple[str, str], more: int) -> alt.Chart:
    from analysis.charts.putting_right import more_time_chart  # altair is slow to import

    found, money = fault_figures(desk.here), desk.figures.currency
    rows = found.more_time.tried(*key)
    now = rows.loc[rows["more_seconds"].abs().idxmin()]
    # With mending later in it, what a piece costs is what it costs now less what is saved.
    per = 1.0 if rows["in_money"].iloc[0] else 60.0
    base = now["cost"] / per
    drawn = rows[["seconds", "seen"]].assign(
        cost=base - rows["saved"] / per,
        low=base - rows["saved_high"] / per,
        high=base - rows["saved_low"] / per,
    )
    unit = f"{money} a good piece" if rows["in_money"].iloc[0] else "minutes of work a good piece"
    marks = {float(now["seconds"]): "now"}
    if more:
        marks[float(now["seconds"]) + more] = _signed(more)
    return more_time_chart(drawn, marks, unit)
