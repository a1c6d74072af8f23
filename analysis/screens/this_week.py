"""This week: what was made and earned, what to make next, and where hours leak away."""

from datetime import UTC, datetime, timedelta

import pandas as pd
import streamlit as st

from analysis.screens import answers, glossary, parts, source, words

TRADE = ("individuals chart", "rolled throughput yield", "rework", "scrap", "transport", "delay")

WEEKS_OFFERED = 60
STOCK_COLUMNS = {
    "product": "product",
    "variant": "variant",
    "stock": "on the shelf (pieces)",
    "packed_not_put_away": "packed, not put away (pieces)",
    "in_progress": "on the bench (pieces)",
    "demand_per_week": "asked for (pieces a week)",
    "lasts_days": "lasts (days)",
    "batch_size": "batch (pieces)",
}
LEAK_COLUMNS = {
    "kind": "leak",
    "what": "what",
    "hours_per_week": "hours a week",
    "hours_low": "at least",
    "hours_high": "at most",
    "material_per_week": "material ({} a week)",
    "share_of_bench_time": "of bench time (%)",
}
WORKED_OUT = """
- **Good pieces**: pieces through the last operation of the route, lost ones off. A piece counts in
  the week it is finished, so a week's hours and its pieces need not belong together.
- **An ordinary week** lies within three sigma, taken from the mean moving range (individuals
  chart, NIST/SEMATECH e-Handbook 6.3.2.2).
- **What an hour left**: price less material of the week's good pieces, less a week's overhead,
  over the hours logged. Nobody's pay is taken off; what pay takes of it is told beside it, for
  those whose hour has a price on *Shop*. The cost of a piece (`python -m analysis study`) counts
  what an hour earns in the same way, but gives a piece its share of overhead at ordinary hours,
  where a week carries all of its own.
- **What to make next**: what runs out first, counting what is packed or on the bench.
- **Leaks**: bench hours that made no good piece; a lost piece counts with the work already in it,
  a fault with the operation that made it. Ranges are 95 %, from week to week.
"""


def show() -> None:
    """Three sentences, then output, yield and stock; for a newcomer also the way in."""
    here = source.current()
    st.title("This week")
    newcomer = here.is_demo and not source.own_store().lap_count()
    parts.demo_line(here, where="below" if newcomer else "under *My workshop*")
    parts.import_line()
    desk = answers.desk(here)
    if not desk.kept("laps", (), here.store.lap_count):
        st.markdown("**No laps yet.** Put in a file of laps, and this page says what they say.")
        _way_in()
        return
    week = _chosen_week(desk)
    for sentence in desk.kept("this week", (week,), lambda: _sentences(desk, week)):
        st.markdown(sentence)
    _still_missing(desk)
    glossary.beside(*TRADE)
    if newcomer:
        _way_in()
    _output(desk)
    _yield(desk)
    _stock(desk)
    answers.surer(desk.kept("this week surer", (), lambda: _surer(desk.figures)))
    _worked_out(desk)
    desk.keep()


def _way_in() -> None:
    """How one's own laps go in: drop a file, or start from a template."""
    with st.container(border=True):
        if parts.drop_laps(source.own_store(), "first"):
            source.show_own()
            st.rerun()
        st.markdown(
            "A lap is one timed stretch of work: when it began, how many seconds, which product "
            "and operation. Any spreadsheet saves such a table as CSV."
        )
        parts.template_button()


def _chosen_week(desk: answers.Desk) -> pd.Timestamp:
    """The Monday of the week to read out: the last one that is over and worked, unless picked."""
    today = pd.Timestamp(datetime.now(UTC).date())
    offered, usual = desk.kept("weeks offered", (today,), lambda: _offered(desk, today))
    picked = st.selectbox("Week", list(offered), index=usual, key="week")
    return offered[picked]


def _offered(desk: answers.Desk, today: pd.Timestamp) -> tuple[dict[str, pd.Timestamp], int]:
    """The worked weeks by their names, newest first, and the place of the one to begin with."""
    weeks = desk.figures.weeks
    starts = list(weeks.week_start[weeks.bench_hours > 0])[::-1][:WEEKS_OFFERED]
    over = [start + timedelta(days=7) <= today for start in starts]
    usual = over.index(True) if any(over) else 0
    names = [
        words.week(start) if done else f"{words.week(start)} (so far)"
        for start, done in zip(starts, over, strict=True)
    ]
    if over[usual]:
        names[usual] += " (last full week)"
    return dict(zip(names, starts, strict=True)), usual


def _sentences(desk: answers.Desk, monday: pd.Timestamp) -> list[str]:
    """The three sentences the page opens with."""
    study, figures = desk.figures, source.week_figures(desk.here)
    week = figures.earnings[figures.earnings.week_start == monday].iloc[0]
    pay = figures.pay[figures.pay.week_start == monday]
    return [
        _made_and_earned(week, study.currency) + _pay(week, pay, study.currency),
        _make_next(study, figures.begun),
        _biggest_leak(figures.leaks, study.currency),
    ]


def _made_and_earned(week, currency: str) -> str:
    """Good pieces, hours, what an hour gave and earned, and whether that is news."""
    made = words.count(week.good_units, "good piece")
    rate = words.figure(week.good_units_per_bench_hour)
    text = (
        f"**{words.week(week.week_start)}: {made} in {words.hours(week.bench_hours)} at the "
        f"bench, {rate} an hour.** {_ordinary(week)}"
    )
    if pd.isna(week.earned_per_hour):
        return text + " What an hour earned is not known yet."
    return (
        f"{text} An hour left **{words.money(week.earned_per_hour, currency)}** after material and "
        f"overhead, before anybody's pay{_usually(week, currency)}."
    )


def _ordinary(week) -> str:
    if pd.isna(week.lower):
        return "Too few weeks yet to tell an ordinary week from news."
    usual = f"{max(week.lower, 0):.1f} to {week.upper:.1f} an hour"
    if week.news == "above":
        return f"More than an ordinary week ({usual}): worth asking what was different."
    if week.news == "below":
        return f"Less than an ordinary week ({usual}): worth asking what was different."
    return f"An ordinary week ({usual})."


def _usually(week, currency: str) -> str:
    if pd.isna(week.earned_lower):
        return ""
    usual = words.money_range(week.earned_lower, week.earned_upper, currency)
    return f"; ordinary weeks leave {usual}"


def _pay(week, pay: pd.DataFrame, currency: str) -> str:
    """What is still to be paid out of an hour, by whose hour has a price."""
    if pd.isna(week.earned_per_hour) or pay.empty:
        return ""
    people = [
        f"{words.plain(row.worker)} {words.hours(row.hours)} at "
        f"{words.money(row.cost_per_hour, currency)}"
        for row in pay.itertuples()
    ]
    takes = words.money(pay.of_each_hour.sum(), currency)
    return f" Pay at the rates on Shop takes {takes} of it ({', '.join(people)})."


def _make_next(study, begun: pd.DataFrame) -> str:
    """What to make next, why, and what to do first in it."""
    known = study.stock[study.stock.make_rank.notna()].sort_values("make_rank")
    if known.empty:
        return (
            "**What to make next** needs what is on the shelf and how many are asked for a week: "
            "fill them in on Shop."
        )
    next_up = known.iloc[0]
    name = words.variant(next_up["product"], next_up.variant)
    return (
        f"**Make {name} next**: {words.count(next_up.stock, 'piece')} on the shelf "
        f"{_lasts(next_up)}. {_first_in_it(study, next_up, begun)}{_put_away(study.stock)}"
    )


def _lasts(row) -> str:
    if pd.isna(row.lasts_days):
        return "and sales not known"
    low, high = row.lasts_days_low, row.lasts_days_high
    days = words.number_range(low, high) if pd.notna(low) else f"{row.lasts_days:.0f}"
    return f"last {days} days at {row.demand_per_week:,.0f} asked for a week"


def _first_in_it(study, row, begun: pd.DataFrame) -> str:
    """What is begun of it and the operation that needs next, else how a new batch begins."""
    route = study.route
    own = route[(route["product"] == row["product"]) & (route.variant == row.variant)]
    if own.empty:
        own = route[(route["product"] == row["product"])]
    batch = f"{_finish_first(row, begun)}A batch is {row.batch_size:.0f}"
    if own.empty:
        return f"{batch}. "
    first = own.sort_values("position").operation.iloc[0]
    return f"{batch}; begin it with *{words.plain(first)}*. "


def _finish_first(row, begun: pd.DataFrame) -> str:
    """The pieces already on the bench, and what the batch begun first needs next."""
    if not row.in_progress > 0:
        return ""
    own = begun[(begun["product"] == row["product"]) & (begun.variant == row.variant)]
    if own.empty:
        return f"Finish the {row.in_progress:.0f} already on the bench first. "
    batch = own.iloc[0]
    return (
        f"Finish what is on the bench first: batch {words.plain(batch.batch)} "
        f"({words.count(batch.pieces, 'piece')}) needs *{words.plain(batch.operation)}* next, "
        f"{batch.pieces_left:,.0f} still to do. "
    )


def _put_away(stock) -> str:
    """What is packed but not on the shelf, which is quicker than making more."""
    waiting = stock[stock.packed_not_put_away > 0]
    if waiting.empty:
        return ""
    listed = [
        f"{row.packed_not_put_away:.0f} of {words.variant(row['product'], row.variant)}"
        for _, row in waiting.iterrows()
    ]
    return f"Packed but not on the shelf yet, so put away first: {'; '.join(listed)}."


def _biggest_leak(leaks, currency: str) -> str:
    """The largest loss of bench hours, with its range and the material that goes with it."""
    if leaks.empty:
        return "**No leak logged**: no interruption, walk, mending or lost piece in the last weeks."
    leak = leaks.iloc[0]
    hours = words.hours(leak.hours_per_week)
    span = ""
    if pd.notna(leak.hours_low):
        span = f" ({words.number_range(leak.hours_low, leak.hours_high)})"
    material = ""
    if pd.notna(leak.material_per_week) and leak.material_per_week > 0:
        material = f" and {words.money(leak.material_per_week, currency, 0)} of material"
    return (
        f"**The biggest leak is {_leak_name(leak)}**: about {hours} a week{span}{material}, "
        f"{words.share(leak.share_of_bench_time)} of the time at the bench."
    )


def _leak_name(leak) -> str:
    what = words.plain(leak.what)
    names = {
        "interruptions": f"interruptions ({what})",
        "walks": "walking and carrying",
        "spoiled work": f"work spoiled in *{what}*",
    }
    return names[leak.kind]


def _still_missing(desk: answers.Desk) -> None:
    """What to fill in on Shop for the sentences to be whole."""
    missing = desk.kept("this week missing", (), lambda: _missing(desk.figures.shop))
    if missing:
        st.info(f"Fill in on Shop, and this page says more: {'; '.join(missing)}.")
        parts.screen_link("shop", "Open Shop")


def _missing(shop) -> list[str]:
    rows = [row for row in shop.products if not row.variant]
    missing = []
    if not rows or any(row.price is None or row.material_cost is None for row in rows):
        missing.append("price and material of each product")
    if not rows or any(row.demand_per_week is None for row in rows):
        missing.append("how many are asked for a week")
    if not any(worker.cost_per_hour is not None for worker in shop.workers):
        missing.append("what an hour of each person costs")
    if shop.overhead_per_week is None:
        missing.append("rent, power and insurance in a week")
    return missing


def _output(desk: answers.Desk) -> None:
    st.subheader("Output, week by week")
    answers.picture(desk, "this week output", (), lambda: _output_chart(desk.figures.weeks))
    st.caption(
        "Points between the dashed lines are ordinary ups and downs: look for a reason only "
        "outside them. Too few weeks show no lines, weeks without work leave a gap, and the chart "
        f"shows the last {WEEKS_OFFERED} weeks at most."
    )


def _output_chart(weeks: pd.DataFrame):
    from analysis.charts.weekly import weekly_output_chart

    last = weeks.iloc[-1]
    limits = None if pd.isna(last.lower) else last[["centre", "lower", "upper"]].to_dict()
    shown = weeks.tail(WEEKS_OFFERED)  # limits are those of all weeks
    return weekly_output_chart(shown, limits, "good_units_per_bench_hour")


def _yield(desk: answers.Desk) -> None:
    st.subheader("Right first time")
    lines = desk.kept("this week yield", (), lambda: _yields(desk.figures.rolled_yield))
    answers.points(lines)


def _yields(table: pd.DataFrame) -> list[str]:
    if table.empty:
        return ["Known once laps say how many pieces needed mending or were lost."]
    return [
        f"{words.plain(row['product'])}: of 100 pieces begun, about "
        f"{words.number_range(100 * row.rolled_low, 100 * row.rolled_high)} come through every "
        f"operation without mending (*rolled throughput yield*), and "
        f"{100 * row.good_share:.0f} end as good pieces."
        for _, row in table.iterrows()
    ]


def _stock(desk: answers.Desk) -> None:
    st.subheader("On the shelf")
    table = desk.kept("this week stock", (), lambda: _stock_table(desk.figures.stock))
    if table is None:
        st.markdown("Fill in on Shop what is on the shelf and how many are asked for a week.")
        parts.screen_link("shop", "Open Shop")
        return
    answers.picture(desk, "this week stock", (), lambda: _stock_chart(desk.figures.stock))
    answers.table(table, "stock")


def _stock_chart(stock: pd.DataFrame):
    from analysis.charts.stock import stock_chart

    return stock_chart(stock)


def _stock_table(stock: pd.DataFrame) -> answers.Table | None:
    """The shelf by product and variant, what runs out first on top; None where nothing is known."""
    if stock.empty or stock.lasts_days.isna().all():
        return None
    shown = stock.sort_values("make_rank")[list(STOCK_COLUMNS)].rename(columns=STOCK_COLUMNS)
    return answers.Table.of(shown, dict.fromkeys(list(STOCK_COLUMNS.values())[2:], "%.0f"))


def _surer(study) -> list[str]:
    """What would narrow the ranges of this page."""
    worked = int((study.weeks.bench_hours > 0).sum())
    lines = []
    if worked < 20:
        lines.append(
            f"More weeks: {words.count(worked, 'week')} so far; the limits of an ordinary week "
            "settle after about 20 (common practice, no source)."
        )
    if study.stock.counted.isna().any():
        lines.append("A count of the shelf, then each sale and each put-away, noted under Shop.")
    if (study.laps.activity == "delay").sum() == 0:
        lines.append("Laps of the interruptions too: without them no leak of that kind shows.")
    return lines


def _worked_out(desk: answers.Desk) -> None:
    with st.expander("How this was worked out"):
        st.markdown(WORKED_OUT)
        st.markdown("Where hours leaked away in the last weeks worked, largest first:")
        answers.table(desk.kept("this week leaks", (), lambda: _leak_table(desk)), "leaks")


def _leak_table(desk: answers.Desk) -> answers.Table:
    leaks = source.week_figures(desk.here).leaks
    share = 100 * leaks.share_of_bench_time.astype(float)
    shown = leaks.assign(share_of_bench_time=share)[list(LEAK_COLUMNS)]
    columns = {name: header.format(desk.figures.currency) for name, header in LEAK_COLUMNS.items()}
    formats = dict.fromkeys(list(columns.values())[2:], "%.1f")
    return answers.Table.of(shown.rename(columns=columns), formats)
