"""What This week says: its sentences, tables and charts, told from the study's figures.

A page of kept answers never loads this file, nor what it needs to tell figures.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from analysis.screens import source, words
from analysis.screens.answers import Desk, Table
from analysis.screens.parts import products_without
from analysis.screens.putting_right_told import not_timed

if TYPE_CHECKING:
    import altair as alt

    from analysis.records.shop import Shop
    from analysis.study.summary import Study

WEEKS_DRAWN = 60
WIDE_BAND = 1.8  # upper limit over the usual level, from where on hardly a week could be news
LEAST_LEAK_HOURS = 0.1  # a week: what is below is not worth a sentence
NEARLY_DAYS = 1  # two products that last alike to a day are a tie
LIMITS = {
    "good_units_per_bench_hour": ("centre", "lower", "upper"),
    "standard_hours_per_bench_hour": ("standard_centre", "standard_lower", "standard_upper"),
}
STOCK_COLUMNS = {
    "product": "product",
    "variant": "variant",
    "lasts_in_all_days": "lasts in all (days)",
    "lasts_days": "the shelf alone (days)",
    "stock": "on the shelf (pieces)",
    "packed_not_put_away": "packed, not put away (pieces)",
    "in_progress": "on the bench (pieces)",
    "demand_per_week": "asked for (pieces a week)",
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


def weeks_worked(desk: Desk) -> tuple[tuple[str, ...], str]:
    """The Mondays of the weeks with work, newest first, and the day of the newest lap."""
    figures = desk.figures
    weeks, newest = figures.weeks, figures.laps.started_at.max().tz_convert(figures.timezone)
    starts = weeks.week_start[weeks.bench_hours > 0]
    return tuple(str(start.date()) for start in starts[::-1]), str(newest.date())


def sentences(desk: Desk, monday: str) -> list[str]:
    """The three sentences the page opens with, for the week of that Monday (ISO 8601)."""
    study, figures = desk.figures, source.week_figures(desk.here)
    week = figures.earnings[figures.earnings.week_start == pd.Timestamp(monday)].iloc[0]
    pay = figures.pay[figures.pay.week_start == pd.Timestamp(monday)]
    shelf, begun = figures.shelf, figures.begun
    return [
        "\n".join([*_made_and_earned(week, study.shop), *_pay(week, pay, study.currency)]),
        _counted_twice(study.counted_twice),
        _make_next(shelf, begun, study.route),
        _guessed(study.route),
        _biggest_leak(figures.leaks, study.currency, figures.untimed),
    ]


def _guessed(route: pd.DataFrame) -> str:
    """That the order of operations is read off the laps, where no route is given."""
    if not (route.source == "laps").any():
        return ""
    return "The order of your work is taken from your laps; check it on *Shop*, *Route*."


def _counted_twice(twice: pd.DataFrame) -> str:
    """That good pieces may be counted too high, and what to do about it."""
    if twice.empty:
        return ""
    names = ", ".join(f"*{words.plain(name)}*" for name in twice["operation"].unique())
    return (
        f"Good pieces may be counted too high: {words.count(int(twice['units'].sum()), 'piece')} "
        f"passed {names} both as work and as an inspection. Give the inspection a name of its own "
        "on *Laps*."
    )


def _made_and_earned(week: pd.Series, shop: Shop) -> list[str]:
    """Good pieces and hours; below it as points whether that is news, and what an hour earned."""
    made = f"{words.week(week.week_start)}: {words.count(week.good_units, 'good piece')} in"
    if week.bench_hours < 1 / 60:
        return [f"**{made} under a minute of work: too little to tell.**"]
    rate = words.figure(week.good_units_per_bench_hour)
    an_hour = f"{rate} {'piece' if rate == '1' else 'pieces'} an hour"
    lines = [
        f"**{made} {_worked(week.bench_hours)} at the bench, {an_hour}.**\n",
        f"- {_ordinary(week)}",
    ]
    if pd.isna(week.earned_per_hour):
        return [*lines, "- What an hour earned is not known yet."]
    did = "earned" if week.earned_per_hour >= 0 else "lost"
    less = "and overhead" if shop.overhead_per_week is not None else "(no overhead given: none off)"
    earned = (
        f"- Each hour at the bench {did} about **{_about(week.earned_per_hour, shop.currency)}** "
        f"after material {less}, before pay{_usually(week, shop.currency)}."
    )
    return [*lines, earned]


def _worked(hours: float) -> str:
    """Hours as they are said, minutes where there is less than one."""
    return words.rough(3600 * hours) if hours < 1 else words.hours(hours)


def _about(amount: float, currency: str) -> str:
    """Money to two digits, the sign left to the words: its range is wider than the rest."""
    return f"{words.figure(abs(amount))} {currency}"


def _ordinary(week: pd.Series) -> str:
    """Whether the week is news, by pieces an hour, else by standard times where those can tell."""
    if pd.isna(week.lower):
        return "Too few weeks yet to tell an ordinary week from news."
    if not _blind(week.centre, week.lower, week.upper):
        usual = f"{words.number_range(week.lower, week.upper)} pieces an hour"
        return _news(week.good_units_per_bench_hour, week.lower, week.upper, usual)
    limits = week.standard_centre, week.standard_lower, week.standard_upper
    if pd.isna(limits[0]) or _blind(*limits):
        mixed = "long and short products are mixed, or " if pd.isna(limits[0]) else ""
        return (
            f"Weeks differ too much to call any of them unusual: {mixed}batches come out "
            "whole, in one week or the next."
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


def _usually(week: pd.Series, currency: str) -> str:
    if pd.isna(week.earned_lower):
        return ""
    usual = words.number_range(week.earned_lower, week.earned_upper)
    return f"; ordinary weeks earn {usual} {currency}"


def _pay(week: pd.Series, pay: pd.DataFrame, currency: str) -> list[str]:
    """What is still to be paid out of an hour, and for whom: those whose hour has a price."""
    if pd.isna(week.earned_per_hour) or pay.empty:
        return []
    people = " and ".join(words.plain(name) for name in pay.worker)
    takes = _about(pay.of_each_hour.sum(), currency)
    return [f"- Pay at the rates on Shop takes about {takes} of it ({people})."]


def _make_next(shelf: pd.DataFrame, begun: pd.DataFrame, route: pd.DataFrame) -> str:
    """What to do next, in order: put away, finish, then begin; at most three steps."""
    known = shelf[shelf.make_rank.notna()].sort_values("make_rank")
    if known.empty:
        return "\n\n".join(
            filter(None, [f"**What to make next** needs {shelf_needs(shelf)}.", _short(begun)])
        )
    steps = [_put_away(shelf), _finish(begun[~begun.short], known), _begin(known, route)]
    listed = "\n".join(f"{number}. {step}" for number, step in enumerate(filter(None, steps), 1))
    first = f"**What to do next**, in this order:\n\n{listed}"
    return "\n\n".join(filter(None, [first, _short(begun)]))


def shelf_needs(shelf: pd.DataFrame) -> str:
    """What is still to be written on Shop before the shelf can say what to make."""
    missing = {
        "what is on the shelf": shelf["stock"].isna().all(),
        "how many are asked for a week": shelf["demand_per_week"].isna().all(),
    }
    names = [name for name, holds in missing.items() if holds] or list(missing)
    return f"{' and '.join(names)}; fill {'it' if len(names) == 1 else 'them'} in on Shop"


def _short(begun: pd.DataFrame) -> str:
    """Batches that ended some pieces short, and how to log what was lost."""
    short = begun[begun.short]
    if short.empty:
        return ""
    batch = short.iloc[0]
    named = f"Batch {words.plain(batch.batch)} of " if batch.batch else ""
    others = len(short) - 1
    more = f" The same holds for {words.count(others, 'other batch', 'other batches')}."
    one = batch.pieces_left == 1
    missing = "one is missing" if one else f"{words.number(batch.pieces_left)} are missing"
    return (
        f"**{named}{words.variant(batch['product'], batch.variant)}: {missing}**, "
        f"{words.number(batch.pieces - batch.pieces_left)} of {words.number(batch.pieces)} went "
        f"through *{words.plain(batch.operation)}*. Lost? On *Laps*, tick {'its' if one else 'a'} "
        f"last lap of *{words.plain(batch.before)}* in that batch and write "
        f"{words.number(batch.pieces_left)} under *Lost*: the batch then counts as finished."
        f"{more if others else ''}"
    )


def _put_away(shelf: pd.DataFrame) -> str:
    """What is packed but not on the shelf, which is quicker than making more."""
    waiting = shelf[shelf.packed_not_put_away > 0]
    listed = [
        f"{words.count(row.packed_not_put_away, 'piece')} of "
        f"{words.variant(row['product'], row.variant)}"
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
        f"*{words.plain(batch.operation)}*, still to do on {words.number(batch.pieces_left)} of "
        f"its {words.count(batch.pieces, 'piece')}{more}."
    )


def _begin(known: pd.DataFrame, route: pd.DataFrame) -> str:
    """What to begin a batch of, why, and whether another is nearly as short."""
    first = known.iloc[0]
    why = f"the shelf {_lasts(first)}"
    if first.on_its_way > 0:
        why += f", {_days(first.lasts_in_all_days)} with what is packed and on the bench"
    return (
        f"Begin **{words.variant(first['product'], first.variant)}** (a batch is "
        f"{words.count(first.batch_size, 'piece')}{_first_operation(first, route)}): {why}."
        f"{_near_tie(known)}"
    )


def _lasts(row: pd.Series) -> str:
    low, high = row.lasts_days_low, row.lasts_days_high
    days = f"{words.number_range(low, high)} days" if pd.notna(low) else _days(row.lasts_days)
    return f"lasts {days} at {words.count(row.demand_per_week, 'piece')} asked for a week"


def _days(days: float) -> str:
    return words.count(days, "day")


def _first_operation(row: pd.Series, route: pd.DataFrame) -> str:
    """With what it begins; where the route leaves a choice, that is told by the plan."""
    own = route[(route["product"] == row["product"]) & (route.variant == row.variant)]
    own = route[route["product"] == row["product"]] if own.empty else own
    if own.empty:
        return ""
    free = own[(own.source == "routing") & ~own.follows.astype(bool)]
    if free.operation.nunique() > 1:
        return ", *Order of work* says what comes first"
    return f", first *{words.plain(own.sort_values('position').operation.iloc[0])}*"


def _near_tie(known: pd.DataFrame) -> str:
    """The second in line, where it lasts as long to a day."""
    if len(known) < 2:
        return ""
    first, second = known.iloc[0], known.iloc[1]
    if second.lasts_in_all_days - first.lasts_in_all_days > NEARLY_DAYS:
        return ""
    name = words.variant(second["product"], second.variant)
    return f" Nearly a tie with {name} ({_days(second.lasts_in_all_days)} in all)."


def untimed(pieces: int) -> str:
    """Mending that took time nobody knows; blank where there is none."""
    if not pieces:
        return ""
    return f"{not_timed(pieces)} in these weeks, so that time is not among the leaks."


def _biggest_leak(leaks: pd.DataFrame, currency: str, put_right: int) -> str:
    """The largest loss of bench hours, with its range and the material that goes with it."""
    if leaks.empty and put_right:
        told = f"{not_timed(put_right)} in these weeks"
        return f"**No leak timed yet**: {told} (*Putting right* says how)."
    if leaks.empty:
        return "**No leak logged**: no interruption, walk, mending or lost piece in the last weeks."
    leak = leaks.iloc[0]
    if leak.hours_per_week < LEAST_LEAK_HOURS and not leak.material_per_week > 0:
        return f"**No leak worth naming yet.** {untimed(put_right)}".strip()
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
        f"{words.share(leak.share_of_bench_time)} of the time at the bench, {_over(leak.weeks)}. "
        f"{untimed(put_right)}".strip()
    )


def _over(weeks: int) -> str:
    return (
        f"over the last {words.count(weeks, 'week')} worked"
        if weeks > 1
        else "in the one week worked"
    )


def _leak_name(leak: pd.Series) -> str:
    what = words.plain(leak.what)
    names = {
        "interruptions": f"interruptions ({what})",
        "walks": "walking and carrying",
        "putting right": f"faults of *{what}* (mending and lost pieces)",
    }
    return names[leak.kind]


def missing(shop: Shop) -> list[str]:
    """What is still to be written on Shop for the sentences to be whole."""
    none = not shop.products
    missing = []
    if none or products_without(shop, "price") or products_without(shop, "material_cost"):
        missing.append("price and material of each product")
    if none or products_without(shop, "demand_per_week"):
        missing.append("how many are asked for a week")
    if not any(worker.cost_per_hour is not None for worker in shop.workers):
        missing.append("what an hour of each person costs")
    if shop.overhead_per_week is None:
        missing.append("rent, power and insurance in a week")
    return missing


def measures(desk: Desk) -> tuple[list[str], str]:
    """What output can be measured in, and what it is shown in at first: pieces, unless their limits
    can warn of nothing and those by standard times can. With one product both are the same."""
    pieces, standard = LIMITS
    weeks = source.week_figures(desk.here).earnings
    made = desk.figures.week_products[["product", "variant"]].drop_duplicates()
    if len(made) < 2 or weeks[standard].isna().all():
        return [pieces], pieces
    last = weeks.iloc[-1]
    blind = [_blind(*last[list(LIMITS[measure])]) for measure in LIMITS]
    return list(LIMITS), standard if blind == [True, False] else pieces


def output_chart(desk: Desk, measure: str) -> alt.Chart:
    """Output week by week in one of `LIMITS`, with the limits of an ordinary week."""
    from analysis.charts.weekly import weekly_output_chart

    shown = source.week_figures(desk.here).earnings.tail(WEEKS_DRAWN)
    return weekly_output_chart(shown, _limits(desk, measure), measure)


def _limits(desk: Desk, measure: str) -> dict[str, float] | None:
    """Middle and limits of an ordinary week, from all weeks; None where those are too few."""
    found = source.week_figures(desk.here).earnings.iloc[-1][list(LIMITS[measure])]
    if found.isna().any():
        return None
    return dict(zip(LIMITS["good_units_per_bench_hour"], found, strict=True))


def output_legend(desk: Desk, measure: str) -> str:
    """What the lines of the chart mean, where there are any yet."""
    if _limits(desk, measure) is None:
        return "With more weeks, lines show how far an ordinary week goes up and down."
    return "Between the dashed lines: ordinary ups and downs. Look for a reason outside them."


def leaking(desk: Desk) -> str:
    """Over which weeks the leaks are, and why Putting right has other figures."""
    leaks = source.week_figures(desk.here).leaks
    weeks, worked = int(leaks.weeks.iloc[0]), int((desk.figures.weeks.bench_hours > 0).sum())
    told = [f"In a week, {_over(weeks)}." if weeks > 1 else "In the one week worked so far."]
    if worked > weeks:
        told.append(f"*Putting right* looks at all {worked}, so its figures differ.")
    if leaks.hours_low.notna().any():
        told.append("The small figures below are the range, 19 times out of 20.")
    return " ".join(told)


def leak_table(desk: Desk) -> Table:
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
    spans = {columns["minutes_per_week"]: (columns["minutes_low"], columns["minutes_high"])}
    return Table.of(shown.rename(columns=columns), formats, spans)


def no_leaks(desk: Desk) -> str:
    """What stands where the table of leaks would be empty."""
    put_right = source.week_figures(desk.here).untimed
    return untimed(put_right) or "None logged in the last weeks worked."


def yields(study: Study) -> list[str]:
    """A sentence a product: how many pieces need no mending, and how many end as good ones."""
    table, laps = study.rolled_yield, study.laps
    faults = int((laps.rework_units + laps.scrap_units).sum() + (laps.activity == "rework").sum())
    if table.empty or not faults:
        return ["You log no faults yet, so this cannot be told."]
    return [
        f"{words.plain(row['product'])}: of 100 pieces begun, about "
        f"{words.number_range(100 * row.rolled_low, 100 * row.rolled_high)} come through every "
        f"operation without mending (*rolled throughput yield*), and "
        f"about {words.number(100 * row.good_share)} end as good pieces."
        for _, row in table.iterrows()
    ]


def stock_chart(desk: Desk) -> alt.Chart:
    """How many days the shelf lasts, by product and variant."""
    from analysis.charts.stock import stock_chart

    return stock_chart(source.week_figures(desk.here).shelf)


def stock_table(desk: Desk) -> Table | None:
    """The shelf by product and variant, what to make first on top; None where nothing is known."""
    if desk.figures.stock.lasts_days.isna().all():
        return None
    shown = (
        source.week_figures(desk.here)
        .shelf.sort_values("make_rank")[list(STOCK_COLUMNS)]
        .rename(columns=STOCK_COLUMNS)
    )
    return Table.of(shown, dict.fromkeys(list(STOCK_COLUMNS.values())[2:], "%.0f"), lead=4)


def surer(study: Study) -> list[str]:
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
