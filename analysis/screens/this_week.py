"""This week: what was made and earned, what to make next, and where hours leak away."""

import importlib
from datetime import date, datetime, timedelta
from types import ModuleType
from zoneinfo import ZoneInfo

import streamlit as st

from analysis.screens import (
    answers,
    glossary,
    name_slips,
    parts,
    saves,
    source,
    tour,
    up_to_date,
    words,
)

TRADE = ("individuals chart", "rolled throughput yield", "rework", "scrap", "transport", "delay")

WEEKS_OFFERED = 60
QUIET_DAYS = 14  # without a lap for longer, the last week worked is no longer "the last week"
MEASURES = {
    "good_units_per_bench_hour": "pieces an hour",
    "standard_hours_per_bench_hour": "work finished an hour, by standard times",
}
PLAINLY = """
A piece counts as good in the week it leaves the last operation and is not lost; its hours count in
the week they were worked. A week is called ordinary while it stays within the ups and downs that
your own weeks have had so far. An hour earned is what the week's good pieces bring in, less their
material and a week's rent and the like, shared over the hours at the bench; pay is still in it.
What runs out first on the shelf is made first. A leak is time at the bench that made no good piece:
interruptions, walks, and the work in pieces that were mended or lost.
"""
WORKED_OUT = """
- **Good pieces**: pieces through the last operation of the route, lost ones off. A piece counts in
  the week it is finished, so a week's hours and its pieces need not belong together.
- **An ordinary week** lies within three sigma, taken from the mean moving range (individuals
  chart, NIST/SEMATECH e-Handbook 6.3.2.2). Too few weeks show no lines, weeks without work leave
  a gap; the chart shows the last 60 weeks at most.
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
    tour.show()
    parts.import_line()
    saves.saved_line(here.store)
    desk = answers.desk(up_to_date.shown(here))
    if not desk.kept("laps", (), here.store.lap_count):
        st.markdown("**No laps yet.** Put in a file of laps, and this page says what they say.")
        _way_in()
        st.markdown("Or time a piece now:")
        parts.start_timing()
        return
    first = st.container()
    parts.start_timing()  # there at once, while the sentences above it are still worked out
    with first:
        _sentences(desk)
    name_slips.ask(desk)
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
    answers.surer(desk.kept("this week surer", (), lambda: _told().surer(desk.figures)))
    answers.worked_out(WORKED_OUT, PLAINLY)
    desk.keep()


def _told() -> ModuleType:
    """What tells the figures in words, loaded only where that is still to be done."""
    return importlib.import_module("analysis.screens.this_week_told")


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


def _sentences(desk: answers.Desk) -> None:
    week, quiet = _chosen_week(desk)
    said = desk.kept("this week", (week,), lambda: _told().sentences(desk, week))
    st.markdown("\n\n".join(filter(None, [quiet, *said])))


def _chosen_week(desk: answers.Desk) -> tuple[str, str]:
    """The Monday (ISO 8601) of the week to read out, the last one that is over and worked unless
    picked; and, where nothing has been logged for long, since when."""
    zone = desk.kept("time zone", (), lambda: desk.here.store.shop().timezone)
    today = datetime.now(ZoneInfo(zone)).date()  # weeks begin by the shop's clock
    worked, newest = desk.kept("weeks worked", (), lambda: _told().weeks_worked(desk))
    offered, usual, quiet = _offered(worked[:WEEKS_OFFERED], date.fromisoformat(newest), today)
    picked = st.selectbox("Week", list(offered), index=usual, key="week")
    return offered[picked], quiet


def _offered(worked: tuple, newest: date, today: date) -> tuple[dict[str, str], int, str]:
    """The worked weeks by their names, newest first, the place of the one to begin with, and, where
    nothing has been logged for long, since when."""
    starts = [date.fromisoformat(monday) for monday in worked]
    over = [start + timedelta(days=7) <= today for start in starts]
    usual = over.index(True) if any(over) else 0
    names = [
        words.week(start) if done else f"{words.week(start)} (so far)"
        for start, done in zip(starts, over, strict=True)
    ]
    quiet = (today - newest).days > QUIET_DAYS
    if over[usual]:
        names[usual] += " (the last one worked)" if quiet else " (last full week)"
    said = f"**No laps since {words.day(newest)}.**" if quiet else ""
    return dict(zip(names, worked, strict=True)), usual, said


def _still_missing(desk: answers.Desk) -> None:
    """What to fill in on Shop for the sentences to be whole."""
    missing = desk.kept("this week missing", (), lambda: _told().missing(desk.figures.shop))
    if missing:
        st.info(f"Fill in on Shop, and this page says more: {'; '.join(missing)}.")
        parts.screen_link("shop", "Open Shop")


def _output(desk: answers.Desk) -> None:
    st.subheader("Output, week by week")
    measures, usual = desk.kept("this week measures", (), lambda: _told().measures(desk))
    measure = measures[0]
    if len(measures) > 1:
        measure = parts.one_of("Measured in", {name: MEASURES[name] for name in measures}, usual)
    drawn = ("this week output", (measure,), lambda: _told().output_chart(desk, measure))
    answers.picture(desk, *drawn)
    legend = ("this week legend", (measure,), lambda: _told().output_legend(desk, measure))
    st.caption(desk.kept(*legend))


def _leaks(desk: answers.Desk) -> None:
    table = desk.kept("this week leaks", (), lambda: _told().leak_table(desk))
    if not table.rows:
        none = desk.kept("this week no leaks", (), lambda: _told().no_leaks(desk))
        st.markdown(f"### Where hours leak away\n\n{none}")
        return
    since = desk.kept("this week leaking", (), lambda: _told().leaking(desk))
    st.markdown(f"### Where hours leak away\n\n{since}")
    answers.table(table, "leaks", "Hours that made no good piece, largest first")


def _yield(desk: answers.Desk) -> None:
    lines = desk.kept("this week yield", (), lambda: _told().yields(desk.figures))
    answers.points(lines, "### Right first time")


def _stock(desk: answers.Desk) -> None:
    st.markdown("### On the shelf")
    table = desk.kept("this week stock", (), lambda: _told().stock_table(desk))
    if table is None:
        needs = desk.kept("this week needs", (), lambda: _told().shelf_needs(desk.figures.stock))
        st.markdown(f"Still needed: {needs}.")
        parts.screen_link("shop", "Open Shop")
        return
    answers.picture(desk, "this week stock", (), lambda: _told().stock_chart(desk))
    st.caption(
        "On top stands what to make first: what lasts shortest *in all*, with what is packed and "
        "on the bench."
    )
    answers.table(table, "stock", "What is on the shelf, what to make first on top")
