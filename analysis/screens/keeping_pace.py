"""Keeping pace: whether demand fits the week, for whom it is too much, and which step decides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd
import streamlit as st

from analysis.screens import answers, glossary, parts, words
from analysis.screens.answers import Table

if TYPE_CHECKING:
    import altair as alt

    from analysis.records.shop import Shop
    from analysis.study.summary import Study

TRADE = ("takt time", "work content", "load", "station", "bottleneck", "standard time", "allowance")
READ_OUT = 4
KINDS = {"person": "person", "station": "place"}  # in a maker's words
DEMAND_OFF = 0.1  # a demand off by so much, to show what hangs on it; no claim that it is
TAKT_HANGS_ON = (
    "How often one has to be finished (takt) hangs on the demand and the hours given on "
    "*Shop*; no lap makes it surer."
)
NEARLY_FULL = 0.85  # common practice, no source: fuller weeks do not survive a bad day


@dataclass(frozen=True)
class Page:
    """All that is read out of the study, ready to be shown."""

    missing: str  # what an answer waits for, and the next step; then nothing else but `takt`
    sentence: str
    points: tuple[str, ...]
    takt: Table
    load: Table | None
    people: str
    products: tuple[str, ...]
    surer: tuple[str, ...]


def show() -> None:
    """The answer for the week, the load of people and stations, the table, and what is behind."""
    desk = answers.opened("Keeping pace", "whether demand fits the week")
    if desk is None:
        return
    page = desk.kept("pace", (), lambda: _page(desk.figures))
    if page.missing:
        st.info(page.missing)
        parts.screen_link("shop", "Fill it in on Shop")
        answers.table(page.takt, "keeping_pace")
        return
    answers.answer(page.sentence, page.points)
    glossary.beside(*TRADE)
    answers.picture(desk, "load", (), lambda: _drawn(desk.figures))
    st.caption(
        "Bars: hours a week's demand asks for, as a share of the hours there are. Line across the "
        "end of a bar: 19 times out of 20 it lies in there. The bar of a tool or place holds hands "
        "at work, setting up and warming up. Pieces left lying in it, as under a press, are not in "
        "its bar, since they may lie there through lunch and night; the table has their hours (on "
        "a phone under *All columns*)."
    )
    if page.load:
        answers.table(page.load, "hours_asked", "Hours asked of each person and each place")
    st.markdown(f"**By product**\n\n{page.people}")
    answers.table(page.takt, "keeping_pace", "Work and pace of each product")
    _one_piece(desk, page.products)
    st.warning(CAUTION, icon=":material/back_hand:")
    answers.surer(page.surer)
    answers.worked_out(WORKED_OUT, PLAINLY)


def _page(figures: Study) -> Page:
    wanted = figures.takt[figures.takt["demand_per_week"] > 0]
    missing = _missing(wanted, figures.hours_needed)
    known = not missing
    paces = [_pace(row) for row in _largest(wanted).itertuples(index=False)] if known else []
    return Page(
        missing=missing,
        sentence=_fits(figures.hours_needed, figures.shop) if known else "",
        points=(_not_in_it(wanted, figures.content), *_room_and_limits(figures), *paces,
                TAKT_HANGS_ON) if known else (),
        takt=Table.of(_takt_table(figures.takt), TAKT_FORMATS, TAKT_SPANS),
        load=Table.of(_load_table(figures), LOAD_FORMATS, LOAD_SPANS) if known else None,
        people=_people(wanted, figures) if known else "",
        products=_with_content(wanted, figures.content),
        surer=tuple(_surer(figures)),
    )  # fmt: skip


def _missing(wanted: pd.DataFrame, hours: dict) -> str:
    """What an answer waits for, with the next step; blank where it is all there."""
    if wanted.empty:
        return (
            "How many pieces are wanted a week is not known yet. Next step: write the demand "
            "beside each product on **Shop**."
        )
    if pd.isna(hours["value"]):
        return (
            "What is wanted has neither laps nor a route yet, so its work is not known. Next step: "
            "time a piece of it, or write its route on **Shop**."
        )
    if not hours["available"] > 0:
        return "There are no hours to work in. Next step: write those of a week on **Shop**."
    return ""


def _not_in_it(wanted: pd.DataFrame, content: pd.DataFrame) -> str:
    """Which products wanted are in no hours here, since nothing tells what they take."""
    without = wanted.loc[~wanted["product"].isin(content["product"]), "product"]
    if without.empty:
        return ""
    names = ", ".join(words.plain(name) for name in without)
    return f"Not in these hours, since neither laps nor a route tell its work: {names}."


def _room_and_limits(figures: Study) -> list[str]:
    """Who and what is fullest, and how far demand could grow; blank ones among them."""
    return [
        _limit(figures),
        *_tight(figures),
        _held(figures.station_load),
        _room(figures.hours_needed),
        _next_step(figures.hours_needed),
    ]


def _with_content(wanted: pd.DataFrame, content: pd.DataFrame) -> tuple[str, ...]:
    """The products wanted whose work is known; one with neither laps nor a route has none."""
    known = wanted.loc[wanted["product"].isin(content["product"]), "product"]
    return tuple(known.astype(str))


def _largest(wanted: pd.DataFrame) -> pd.DataFrame:
    """The products that take most people, READ_OUT of them; the table has the others."""
    return wanted.nlargest(READ_OUT, "workers_needed")


def _on_average(shop: Shop) -> str:
    """Why there are fewer hours than in an ordinary week, where weeks are closed."""
    closed = shop.weeks_closed_per_year
    if not closed:
        return ""
    return f", {words.count(closed, 'week', 'weeks')} closed a year spread over the others"


def _fits(hours: dict, shop: Shop) -> str:
    """Does demand fit the week, with the hours to spare or lacking."""
    low, high, available = hours["low"], hours["high"], hours["available"]
    asked = (
        f"A week's demand asks for about {words.number_range(low, high)} hours of work; "
        f"you have {words.hours(available)}{_on_average(shop)}."
    )
    if high <= available:
        spare = words.number_range(available - high, available - low)
        full = (
            " That is full: one bad day does not fit in." if low / available > NEARLY_FULL else ""
        )
        return f"{asked} It fits, with {spare} hours to spare.{full}"
    if low > available:
        return (
            f"{asked} It does not fit: {words.number_range(low - available, high - available)} "
            "hours a week are lacking."
        )
    return f"{asked} It may or may not fit: the laps cannot tell yet."


def _limit(figures: Study) -> str:
    """Who or what is fullest and so limits the week, and how sure that is."""
    both = pd.concat(_loads(figures).values(), ignore_index=True)
    full = both.dropna(subset=["probability_fullest"])
    if full.empty:
        return ""
    first, *others = full.sort_values("probability_fullest", ascending=False).itertuples()
    asked = words.number_range(first.hours_needed_low, first.hours_needed_high)
    rival = ""
    if others and others[0].probability_fullest > 0.05:
        sure = _chance(others[0].probability_fullest)
        rival = f"; {words.plain(others[0].name)} {sure}"
    return (
        f"What limits the week: **{words.plain(first.name)}** "
        f"({_chance(first.probability_fullest)}{rival}), asked for {asked} of "
        f"{words.hours(first.hours_available)}."
    )


def _loads(figures: Study) -> dict[str, pd.DataFrame]:
    """The loads of people, then of tools and places, each with whose it is as `name`."""
    return {
        "person": figures.worker_load.rename(columns={"worker": "name"}),
        "station": figures.station_load.rename(columns={"station": "name"}),
    }


def _chance(probability: float) -> str:
    if probability > 0.95:
        return "almost surely"
    return f"{words.number(100 * probability)} times out of 100"


def _tight(figures: Study) -> list[str]:
    """Who is asked for more than they have, as the work is shared out now, and who has room."""
    load = figures.worker_load
    room = load[load["load"] < 1]
    return [
        f"As the work is shared now, **{words.plain(row.worker)}** is asked for "
        f"{words.number_range(row.hours_needed_low, row.hours_needed_high)} hours and has "
        f"{words.hours(row.hours_available)}.{_who_has_room(room)}"
        for row in load[load["load"] > 1].itertuples(index=False)
    ]


def _who_has_room(room: pd.DataFrame) -> str:
    if room.empty:
        return ""
    row = room.loc[(room["hours_available"] - room["hours_needed"]).idxmax()]
    hours = words.hours(row["hours_available"] - row["hours_needed"])
    return f" {words.plain(row['worker'])} has about {hours} left: share it out anew."


def _held(places: pd.DataFrame) -> str:
    """The place that pieces lie in longest, beside the hands at it."""
    if not (places["held_hours"] > 0).any():
        return ""
    row = places.loc[places["held_hours"].idxmax()]
    hands = words.number_range(row["hours_needed_low"], row["hours_needed_high"])
    return (
        f"Pieces also lie in **{words.plain(row['station'])}** for about "
        f"{words.hours(row['held_hours'])} a week, through lunch and night too, beside {hands} "
        "hours of hands at it."
    )


def _room(hours: dict) -> str:
    """How far demand could grow, or must shrink, for the hours to carry it."""
    low, high = hours["available"] / hours["high"] - 1, hours["available"] / hours["low"] - 1
    if low > 0:
        more = words.share_range(low, high)
        return f"All hours together would carry {more} more pieces a week of the same mix."
    if high < 0:
        fewer = words.share_range(-high, -low)
        return f"All hours together carry {fewer} fewer pieces a week than are wanted."
    return ""


def _next_step(hours: dict) -> str:
    """Where a full week finds room, other than in haste."""
    if hours["low"] / hours["available"] <= NEARLY_FULL:
        return ""
    return (
        "To make room, not haste: *What if* tells what a helper, a machine or another demand would "
        "bring, and *Putting right* which faults take most work."
    )


def _pace(row: Any) -> str:
    """The pace one product's demand asks for, the work in a piece, and its longest step."""
    if pd.isna(row.takt_seconds) or pd.isna(row.work_content_seconds):
        return ""
    least, most = row.takt_seconds / (1 + DEMAND_OFF), row.takt_seconds / (1 - DEMAND_OFF)
    return (
        f"**{words.plain(row.product)}**: one has to be finished every "
        f"{words.rough(row.takt_seconds)} that the shop is open (every "
        f"{words.time_range(least, most)}, were {words.share(DEMAND_OFF, 0)} more or fewer "
        f"wanted), and takes {words.time_range(row.work_content_low, row.work_content_high)} of "
        f"work, rests allowed for. Its longest step is **{words.plain(row.bottleneck)}** "
        f"({_chance(row.bottleneck_probability)})."
    )


def _drawn(figures: Study) -> alt.Chart:
    from analysis.charts.pace import load_chart  # altair is slow to import, and may be kept

    return load_chart(_load(figures))


def _load(figures: Study) -> pd.DataFrame:
    """People, then stations, in one frame for the chart; shares of their own hours."""
    tables = []
    for kind, frame in _loads(figures).items():
        frame = frame[frame["hours_available"] > 0]
        tables.append(
            pd.DataFrame(
                {
                    "kind": kind,
                    "name": frame["name"].astype(str),
                    "share": frame["load"],
                    "low": frame["hours_needed_low"] / frame["hours_available"],
                    "high": frame["hours_needed_high"] / frame["hours_available"],
                }
            ).sort_values("share", ascending=False)
        )
    return pd.concat(tables, ignore_index=True)


TAKT_FORMATS = {
    "wanted (pieces a week)": "%.0f",
    "one needed every (min)": "%.1f",
    "work in a good piece (min)": "%.1f",
    "work from (min)": "%.1f",
    "work to (min)": "%.1f",
    "people needed": "%.2f",
    "people from": "%.2f",
    "people to": "%.2f",
    "sure of the step (%)": "%.0f",
}
TAKT_SPANS = {
    "work in a good piece (min)": ("work from (min)", "work to (min)"),
    "people needed": ("people from", "people to"),
}


def _takt_table(takt: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "product": takt["product"],
            "one needed every (min)": takt["takt_seconds"] / 60,
            "work in a good piece (min)": takt["work_content_seconds"] / 60,
            "work from (min)": takt["work_content_low"] / 60,
            "work to (min)": takt["work_content_high"] / 60,
            "wanted (pieces a week)": takt["demand_per_week"],
            "people needed": takt["workers_needed"],
            "people from": takt["workers_needed_low"],
            "people to": takt["workers_needed_high"],
            "longest step": takt["bottleneck"],
            "sure of the step (%)": 100 * takt["bottleneck_probability"],
            "note": takt["note"],
        }
    )


LOAD_FORMATS = {
    "hours asked for a week": "%.1f",
    "hours from": "%.1f",
    "hours to": "%.1f",
    "hours there are": "%.1f",
    "taken (%)": "%.0f",
    "pieces lie in it (hours)": "%.1f",
    "limits the week (times of 100)": "%.0f",
}
LOAD_SPANS = {"hours asked for a week": ("hours from", "hours to")}


def _load_table(figures: Study) -> pd.DataFrame:
    """People, then places, fullest first; only in places do pieces lie."""
    tables = []
    for kind, frame in _loads(figures).items():
        frame = frame.sort_values("load", ascending=False)
        columns = {
            "who or what": frame["name"].astype(str),
            "hours asked for a week": frame["hours_needed"],
            "hours from": frame["hours_needed_low"],
            "hours to": frame["hours_needed_high"],
            "hours there are": frame["hours_available"],
            "taken (%)": 100 * frame["load"],
            "kind": KINDS[kind],
            "pieces lie in it (hours)": frame.get("held_hours", float("nan")),
            "limits the week (times of 100)": 100 * frame["probability_fullest"],
        }
        tables.append(pd.DataFrame(columns))
    return pd.concat(tables, ignore_index=True)


def _people(wanted: pd.DataFrame, figures: Study) -> str:
    """What a figure such as 1.3 people means."""
    people = wanted["workers_needed"].sum()
    week = figures.shop.mean_week_seconds / 3600
    whole, part = divmod(round(people, 2), 1)  # as the figure is shown
    more = f"one {'more' if whole else 'person'} for {words.hours(part * week)} a week"
    all_week = f"{words.count(whole, 'person', 'people')} all week" if whole else ""
    said = " and ".join(filter(None, (all_week, more if part or not whole else "")))
    return (
        f"**People needed** in all: {words.number(people, 2)}, which means {said} "
        f"(a week is {words.hours(week)}). It is not rounded: a part of a person is hours, not a "
        f"person to employ.{_not_whose(figures)}"
    )


def _not_whose(figures: Study) -> str:
    """Why the hours of the part are not those that anybody is asked for."""
    load = figures.worker_load
    if len(load) < 2:
        return ""
    asked = ", ".join(
        f"{words.plain(row.worker)} for "
        f"{words.number_range(row.hours_needed_low, row.hours_needed_high)} hours"
        for row in load.nlargest(READ_OUT, "hours_needed").itertuples(index=False)
    )
    return (
        " It says how much work there is, not whose it is: shared as now, each doing what they "
        f"have been doing, the week asks {asked}."
    )


def _one_piece(desk: answers.Desk, products: tuple[str, ...]) -> None:
    """Where one piece's work goes, by operation."""
    with st.expander("Work in one good piece, by operation"):
        product = st.selectbox("Product", products, key="pace_product")
        tables = desk.kept("content", (product,), lambda: _content(desk.figures, product))
        variant = next(iter(tables))
        if len(tables) > 1:
            variant = st.selectbox("Variant", list(tables), key=f"pace_variant_{product}")
        answers.table(tables[variant], "work_content")


def _content(figures: Study, product: str) -> dict[str, Table]:
    """The table of each variant of a product."""
    own = figures.content[figures.content["product"] == product]
    return {
        str(variant): Table.of(_content_table(rows), MINUTES)
        for variant, rows in own.groupby("variant", observed=True, sort=False)
    }


MINUTES = dict.fromkeys(
    ("making (min)", "setting up (min)", "walking (min)", "putting right (min)", "in all (min)"),
    "%.2f",
)


def _content_table(own: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "operation": own["operation"],
            "in all (min)": own["total_seconds"] / 60,
            "making (min)": own["good_seconds"] / 60,
            "setting up (min)": own["setup_seconds"] / 60,
            "walking (min)": own["transport_seconds"] / 60,
            "putting right (min)": own["rework_seconds"] / 60,
            "station": own["station"],
            "known from": own["source"],
        }
    )


def _surer(figures: Study) -> list[str]:
    lines = []
    planned = figures.content[figures.content["source"] != "laps"]["operation"]
    if len(planned):
        names = ", ".join(words.plain(name) for name in dict.fromkeys(planned.astype(str)))
        lines.append(f"Time what is only planned so far: {names}.")
    missing = figures.takt[~(figures.takt["demand_per_week"] > 0)]["product"]
    if len(missing):
        names = ", ".join(words.plain(name) for name in missing)
        lines.append(f"Write the demand for {names} on *Shop*.")
    lines.append("More timed batches of the longest steps: most of the doubt comes from them.")
    lines.append(
        "The hours each person really has at the bench, on *Shop*: the answer hangs on them as "
        "much as on the times."
    )
    return lines


CAUTION = (
    "**Pace is not for squeezing.** It plans work and is no target for a person. Hands need pauses "
    "and a change of task; haste at a blade, a needle or a press hurts. Pain or numb fingers: stop "
    "and see a doctor. If you employ somebody, the rules of your place come first; ask those "
    "licensed to advise."
)

PLAINLY = """
The hours that a week's demand asks for are the pieces wanted times the work in one good piece, as
your laps say it takes today, with rest, setting up, walking and mending in it. They stand beside
the hours given on *Shop*: for all together, for each person by the work they have been doing,
and for each tool or place that holds one person at a time. How often one has to be finished is the
shop's open time divided by the pieces wanted.
"""

WORKED_OUT = f"""
- **Takt time** = working time of the shop's week, breaks off / pieces wanted in the week. Where
  weeks are closed in a year (on *Shop*), the hours are those of an average week of the year: buyers
  go on asking while the shop is shut.
- **Work in a good piece** (work content) = standard time of every operation × pieces that pass it
  per good one + setups / batch size + walking + putting right. Standard time = observed × rating +
  allowance, at the present level of practice; logged interruptions replace the contingency part of
  the allowance, never both.
- **People needed** = work in a good piece / takt time, not rounded.
- **Load** = hours that a week's demand takes of a person or place / hours they have. Work goes to
  whoever did it in the last four weeks; whoever has no lap in them and is not on *Shop* has left.
  A place (station) also counts its setups and its warming up. The hours that pieces lie in it
  stand apart, since they may run through lunch and night: where they and the hands at it do not
  both fit, the place is fuller than its bar.
- **What limits the week**: the person or place with the highest load; how sure, is the share of
  draws from what the laps leave open in which it comes out fullest.
- **Longest step** (bottleneck): the operation with most work in a good piece; how sure, is the
  share of draws from what the laps leave open in which it comes out longest.
- **Takt** has no range from the laps: it is your demand and your hours. Ten percent is there to
  show what hangs on them, not a guess of how far off they are.
- **Ranges** hold 19 times out of 20. They hold what the laps leave open, not a change in demand,
  a new product or an illness.
- Above about {100 * NEARLY_FULL:.0f} % load a week is called full: common practice, no source.
- That the hours fit does not say that the order of work does: waits for glue may still cost days.
"""
