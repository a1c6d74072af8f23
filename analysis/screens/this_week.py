"""This week: what was made and earned, what to make next, and where hours leak away."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
import streamlit as st

from analysis.screens import answers, glossary, parts, source, words

TRADE = ("individuals chart", "rolled throughput yield", "rework", "scrap", "transport", "delay")

WEEKS_OFFERED = 60
QUIET_DAYS = 14  # without a lap for longer, the last week worked is no longer "the last week"
WIDE_BAND = 1.8  # upper limit over the usual level, from where on hardly a week could be news
LEAST_LEAK_HOURS = 0.1  # a week: what is below is not worth a sentence
NEARLY_DAYS = 1  # two products that last alike to a day are a tie
MEASURES = {
    "good_units_per_bench_hour": "pieces an hour",
    "standard_hours_per_bench_hour": "work finished an hour, by standard times",
}
LIMITS = {
    "good_units_per_bench_hour": ("centre", "lower", "upper"),
    "standard_hours_per_bench_hour": ("standard_centre", "standard_lower", "standard_upper"),
}
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
    "minutes_per_week": "minutes a week",
    "minutes_low": "at least",
    "minutes_high": "at most",
    "material_per_week": "material ({} a week)",
    "share_of_bench_time": "of bench time (%)",
}
WORKED_OUT = """
- **Good pieces**: pieces through the last operation of the route, lost ones off. A piece counts in
  the week it is finished, so a week's hours and its pieces need not belong together.
- **An ordinary week** lies within three sigma, taken from the mean moving range (individuals
  chart, NIST/SEMATECH e-Handbook 6.3.2.2).
- **An hour by standard times**: good pieces times the standard time of one, over the hours logged
  (*earned hours*): it stays put when long and short products change places.
- **What an hour earned**: price less material of the week's good pieces, less a week's overhead,
  over the hours logged. Material is taken through yield: that of pieces lost on the way is in it.
  Nobody's pay is taken off; what pay takes of it is told beside it, for those whose hour has a
  price on *Shop*. The cost of a piece (`python -m analysis study`) counts what an hour earns in
  the same way, but gives a piece its share of overhead at ordinary hours, where a week carries
  all of its own.
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
        st.markdown("Or time a piece now:")
        parts.start_timing()
        return
    week = _chosen_week(desk)
    for sentence in desk.kept("this week", (week,), lambda: _sentences(desk, week)):
        st.markdown(sentence)
    parts.start_timing()
    _still_missing(desk)
    _output(desk)
    _leaks(desk)
    _yield(desk)
    _stock(desk)
    glossary.beside(*TRADE)
    if newcomer:
        _way_in()
    else:
        _another_file()
    answers.surer(desk.kept("this week surer", (), lambda: _surer(desk.figures)))
    answers.worked_out(WORKED_OUT)
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


def _another_file() -> None:
    """For whoever has laps already: the same way in, folded away."""
    with st.expander("Add another file"):
        if parts.drop_laps(source.own_store(), "another"):
            source.show_own()
            st.rerun()


def _chosen_week(desk: answers.Desk) -> pd.Timestamp:
    """The Monday of the week to read out: the last one that is over and worked, unless picked."""
    today = datetime.now(ZoneInfo(desk.settings[0].timezone)).date()  # weeks begin by that clock
    offered, usual, quiet = desk.kept("weeks offered", (today,), lambda: _offered(desk, today))
    picked = st.selectbox("Week", list(offered), index=usual, key="week")
    if quiet:
        st.markdown(f"**{quiet}**")
    return offered[picked]


def _offered(desk: answers.Desk, today: date) -> tuple[dict[str, pd.Timestamp], int, str]:
    """The worked weeks by their names, newest first, the place of the one to begin with, and, where
    nothing has been logged for long, since when."""
    figures = desk.figures
    weeks, newest = figures.weeks, figures.laps.started_at.max().tz_convert(figures.timezone)
    starts = list(weeks.week_start[weeks.bench_hours > 0])[::-1][:WEEKS_OFFERED]
    over = [(start + timedelta(days=7)).date() <= today for start in starts]
    usual = over.index(True) if any(over) else 0
    names = [
        words.week(start) if done else f"{words.week(start)} (so far)"
        for start, done in zip(starts, over, strict=True)
    ]
    quiet = (today - newest.date()).days > QUIET_DAYS
    if over[usual]:
        names[usual] += " (the last one worked)" if quiet else " (last full week)"
    said = f"No laps since {words.day(newest)}." if quiet else ""
    return dict(zip(names, starts, strict=True)), usual, said


def _sentences(desk: answers.Desk, monday: pd.Timestamp) -> list[str]:
    """The three sentences the page opens with."""
    study, figures = desk.figures, source.week_figures(desk.here)
    week = figures.earnings[figures.earnings.week_start == monday].iloc[0]
    pay = figures.pay[figures.pay.week_start == monday]
    shelf, begun = figures.shelf, figures.begun
    return [
        _made_and_earned(week, study.currency) + _pay(week, pay, study.currency),
        _make_next(shelf, begun, study.route),
        _guessed(study.route),
        _biggest_leak(figures.leaks, study.currency),
    ]


def _guessed(route: pd.DataFrame) -> str:
    """That the order of operations is read off the laps, where no route is given."""
    if not (route.source == "laps").any():
        return ""
    return "The order of your work is taken from your laps; check it on *Shop*, *Route*."


def _made_and_earned(week, currency: str) -> str:
    """Good pieces, hours, what an hour gave and earned, and whether that is news."""
    made = f"{words.week(week.week_start)}: {words.count(week.good_units, 'good piece')} in"
    if week.bench_hours < 1 / 60:
        return f"**{made} under a minute of work: too little to tell.**"
    rate = words.figure(week.good_units_per_bench_hour)
    text = f"**{made} {_worked(week.bench_hours)} at the bench, {rate} an hour.** {_ordinary(week)}"
    if pd.isna(week.earned_per_hour):
        return text + " What an hour earned is not known yet."
    did = "earned" if week.earned_per_hour >= 0 else "lost"
    return (
        f"{text} Each hour at the bench {did} about **{_about(week.earned_per_hour, currency)}** "
        f"after material (that of lost pieces too) and overhead, before pay"
        f"{_usually(week, currency)}."
    )


def _worked(hours: float) -> str:
    """Hours as they are said, minutes where there is less than one."""
    return words.rough(3600 * hours) if hours < 1 else words.hours(hours)


def _about(amount: float, currency: str) -> str:
    """Money to two digits, the sign left to the words: its range is wider than the rest."""
    return f"{words.figure(abs(amount))} {currency}"


def _ordinary(week) -> str:
    """Whether the week is news, by pieces an hour, else by standard times where those can tell."""
    if pd.isna(week.lower):
        return "Too few weeks yet to tell an ordinary week from news."
    if not _blind(week.centre, week.lower, week.upper):
        usual = f"{words.number_range(week.lower, week.upper)} an hour"
        return _news(week.good_units_per_bench_hour, week.lower, week.upper, usual)
    limits = week.standard_centre, week.standard_lower, week.standard_upper
    if pd.isna(limits[0]) or _blind(*limits):
        return (
            "The weeks differ so much that this chart cannot warn you yet (products of different "
            "length are mixed)."
        )
    usual = f"{words.number_range(*limits[1:])} standard hours finished in each hour"
    return _news(week.standard_hours_per_bench_hour, *limits[1:], usual)


def _blind(centre: float, lower: float, upper: float) -> bool:
    """Whether the limits lie so wide that hardly a week could fall out of them."""
    return lower <= 0 or upper > WIDE_BAND * centre


def _news(value: float, lower: float, upper: float, usual: str) -> str:
    if lower <= value <= upper:
        return f"An ordinary week ({usual})."
    than = "More" if value > upper else "Less"
    return f"{than} than an ordinary week ({usual}): worth asking what was different."


def _usually(week, currency: str) -> str:
    if pd.isna(week.earned_lower):
        return ""
    usual = words.number_range(week.earned_lower, week.earned_upper)
    return f"; ordinary weeks earn {usual} {currency}"


def _pay(week, pay: pd.DataFrame, currency: str) -> str:
    """What is still to be paid out of an hour, by whose hour has a price."""
    if pd.isna(week.earned_per_hour) or pay.empty:
        return ""
    people = [
        f"{words.plain(row.worker)} {_worked(row.hours)} at "
        f"{words.money(row.cost_per_hour, currency)}"
        for row in pay.itertuples()
    ]
    takes = _about(pay.of_each_hour.sum(), currency)
    return f" Pay at the rates on Shop takes about {takes} of it ({', '.join(people)})."


def _make_next(shelf: pd.DataFrame, begun: pd.DataFrame, route: pd.DataFrame) -> str:
    """What to do next, in order: put away, finish, then begin; at most three steps."""
    known = shelf[shelf.make_rank.notna()].sort_values("make_rank")
    if known.empty:
        return (
            "**What to make next** needs what is on the shelf and how many are asked for a week: "
            "fill them in on Shop."
        )
    steps = [_put_away(shelf), _finish(begun, known), _begin(known, route)]
    listed = "\n".join(f"{number}. {step}" for number, step in enumerate(filter(None, steps), 1))
    return f"**What to do next**, in this order:\n\n{listed}"


def _put_away(shelf: pd.DataFrame) -> str:
    """What is packed but not on the shelf, which is quicker than making more."""
    waiting = shelf[shelf.packed_not_put_away > 0]
    listed = [
        f"{row.packed_not_put_away:.0f} {words.variant(row['product'], row.variant)}"
        for _, row in waiting.iterrows()
    ]
    return f"Put away what is packed: {'; '.join(listed)}." if listed else ""


def _finish(begun: pd.DataFrame, known: pd.DataFrame) -> str:
    """The batch begun of what the shelf is shortest of: its next operation, the pieces left."""
    keys = ["product", "variant"]
    open_batches = begun.merge(known[[*keys, "lasts_days"]], on=keys, how="left")
    if open_batches.empty:
        return ""
    batch = open_batches.sort_values("lasts_days", kind="stable").iloc[0]
    others = len(open_batches) - 1
    more = f" ({words.count(others, 'other batch', 'other batches')} begun)" if others else ""
    named = f"batch {words.plain(batch.batch)} of " if batch.batch else ""
    return (
        f"Finish {named}{words.variant(batch['product'], batch.variant)}: next is "
        f"*{words.plain(batch.operation)}*, {words.count(batch.pieces_left, 'piece')} of "
        f"{batch.pieces:,.0f} left{more}."
    )


def _begin(known: pd.DataFrame, route: pd.DataFrame) -> str:
    """What to begin a batch of, why, and whether another is nearly as short."""
    first = known.iloc[0]
    why = f"the shelf {_lasts(first)}"
    if first.on_its_way > 0:
        why += f", {_days(first.lasts_in_all_days)} with what is packed and on the bench"
    start = _first_operation(first, route)
    start = f", first *{words.plain(start)}*" if start else ""
    return (
        f"Begin **{words.variant(first['product'], first.variant)}** (a batch is "
        f"{first.batch_size:.0f}{start}): {why}.{_near_tie(known)}"
    )


def _lasts(row) -> str:
    low, high = row.lasts_days_low, row.lasts_days_high
    days = f"{words.number_range(low, high)} days" if pd.notna(low) else _days(row.lasts_days)
    return f"lasts {days} at {row.demand_per_week:,.0f} asked for a week"


def _days(days: float) -> str:
    return words.count(days, "day")


def _first_operation(row, route: pd.DataFrame) -> str:
    own = route[(route["product"] == row["product"]) & (route.variant == row.variant)]
    own = route[route["product"] == row["product"]] if own.empty else own
    return "" if own.empty else own.sort_values("position").operation.iloc[0]


def _near_tie(known: pd.DataFrame) -> str:
    """The second in line, where it lasts as long to a day."""
    if len(known) < 2:
        return ""
    first, second = known.iloc[0], known.iloc[1]
    if second.lasts_in_all_days - first.lasts_in_all_days > NEARLY_DAYS:
        return ""
    name = words.variant(second["product"], second.variant)
    return f" Nearly a tie with {name} ({_days(second.lasts_in_all_days)} in all)."


def _biggest_leak(leaks, currency: str) -> str:
    """The largest loss of bench hours, with its range and the material that goes with it."""
    if leaks.empty:
        return "**No leak logged**: no interruption, walk, mending or lost piece in the last weeks."
    leak = leaks.iloc[0]
    if leak.hours_per_week < LEAST_LEAK_HOURS and not leak.material_per_week > 0:
        return "**No leak worth naming yet.**"
    seconds = 3600 * leak.hours_per_week
    hours, span = words.rough(seconds), ""
    if pd.notna(leak.hours_low):
        low, high = 3600 * leak.hours_low, 3600 * leak.hours_high
        span = f" ({words.time_range(low, high, seconds)})"
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
    measures, usual = desk.kept("this week measures", (), lambda: _measures(desk))
    measure = measures[0]
    if len(measures) > 1:
        measure = st.segmented_control(
            "Measured in", measures, default=usual, format_func=MEASURES.get, required=True
        )
    answers.picture(desk, "this week output", (measure,), lambda: _output_chart(desk, measure))
    st.caption(
        "Points between the dashed lines are ordinary ups and downs: look for a reason only "
        "outside them. Too few weeks show no lines, weeks without work leave a gap, and the chart "
        f"shows the last {WEEKS_OFFERED} weeks at most."
    )


def _measures(desk: answers.Desk) -> tuple[list[str], str]:
    """What output can be measured in, and what it is shown in at first: pieces, unless their limits
    can warn of nothing and those by standard times can. With one product both are the same."""
    pieces, standard = MEASURES
    weeks = source.week_figures(desk.here).earnings
    made = desk.figures.week_products[["product", "variant"]].drop_duplicates()
    if len(made) < 2 or weeks[standard].isna().all():
        return [pieces], pieces
    last = weeks.iloc[-1]
    blind = [_blind(*last[list(LIMITS[measure])]) for measure in MEASURES]
    return list(MEASURES), standard if blind == [True, False] else pieces


def _output_chart(desk: answers.Desk, measure: str):
    from analysis.charts.weekly import weekly_output_chart

    weeks = source.week_figures(desk.here).earnings
    found = weeks.iloc[-1][list(LIMITS[measure])]
    limits = (
        None
        if found.isna().any()
        else dict(zip(LIMITS["good_units_per_bench_hour"], found, strict=True))
    )
    shown = weeks.tail(WEEKS_OFFERED)  # limits are those of all weeks
    return weekly_output_chart(shown, limits, measure)


def _leaks(desk: answers.Desk) -> None:
    st.subheader("Where hours leak away")
    table = desk.kept("this week leaks", (), lambda: _leak_table(desk))
    if not table.arrow.num_rows:
        st.markdown("None logged in the last weeks worked.")
        return
    answers.table(table, "leaks", "Hours that made no good piece, largest first")


def _yield(desk: answers.Desk) -> None:
    st.subheader("Right first time")
    lines = desk.kept("this week yield", (), lambda: _yields(desk.figures))
    answers.points(lines)


def _yields(study) -> list[str]:
    table, laps = study.rolled_yield, study.laps
    faults = int((laps.rework_units + laps.scrap_units).sum() + (laps.activity == "rework").sum())
    if table.empty or not faults:
        return ["You log no faults yet, so this cannot be told."]
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
    answers.picture(desk, "this week stock", (), lambda: _stock_chart(desk))
    answers.table(table, "stock")


def _stock_chart(desk: answers.Desk):
    from analysis.charts.stock import stock_chart

    return stock_chart(source.week_figures(desk.here).shelf)


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


def _leak_table(desk: answers.Desk) -> answers.Table:
    """The leaks in minutes: most of them are far below an hour a week."""
    leaks = source.week_figures(desk.here).leaks
    minutes = {
        f"minutes_{name}": 60 * leaks[f"hours_{name}"].astype(float)
        for name in ("per_week", "low", "high")
    }
    share = 100 * leaks.share_of_bench_time.astype(float)
    shown = leaks.assign(share_of_bench_time=share, **minutes)[list(LEAK_COLUMNS)]
    columns = {name: header.format(desk.figures.currency) for name, header in LEAK_COLUMNS.items()}
    formats = dict.fromkeys(list(columns.values())[2:], "%.0f")
    formats[columns["share_of_bench_time"]] = "%.1f"
    return answers.Table.of(shown.rename(columns=columns), formats)
