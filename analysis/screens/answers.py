"""The frame of an answer: the sentence, the table with its file, what would make it surer, how
it was worked out. Each screen that answers a question has the same order.

What a cached rerun costs is above all the number of elements it sends, so what is static goes out
in as few as it takes, and charts and tables as messages that were made once.
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import streamlit as st

from analysis.records import figures as writing
from analysis.screens import beside, parts, shown_files, up_to_date
from analysis.screens.source import Source, current, figures, kept

if TYPE_CHECKING:
    import altair as alt  # slow to import, and a page of kept answers needs none of it
    import pandas as pd

    from analysis.records.shop import Shop
    from analysis.study.summary import Study

MOST_KEPT = 400  # answers for one version of a store
MOST_ROWS = 40  # a longer table scrolls within the page
SHORT_UNIT = r"(?<=\d) (?=(?:%|(?:s|h|min)\b))|(?<=\d h) (?=\d\d min\b)"
_NOT_MADE = object()
_ON_DISK = ("kept on disk", ())


def answer(said: str, lines: Iterable[str] = ()) -> None:
    """The answer, larger than the rest, before any chart: the heading next to the title; below it
    short statements, blank ones left out."""
    st.markdown(_unparted(f"## {said}\n\n{_listed(lines)}"))


def sentence(said: str) -> None:
    """The answer alone, where its statements stand elsewhere."""
    answer(said)


def points(lines: Iterable[str], above: str = "") -> None:
    """Short statements, blank ones left out, below what is said of them all."""
    st.markdown(_unparted(f"{above}\n\n{_listed(lines)}"))


@lru_cache(200)
def _unparted(said: str) -> str:
    """No line begins with a short unit, parted from its number (10 / % more; 13 h / 37 min)."""
    return re.sub(SHORT_UNIT, "\N{NO-BREAK SPACE}", said)


def _listed(lines: Iterable[str]) -> str:
    return "\n".join(f"- {line}" for line in lines if line)


@dataclass(frozen=True)
class Desk:
    """The source on screen, and the answers already worked out for this version of its store.

    What is kept is the same object each time, so nobody may change it.
    """

    here: Source
    answers: dict
    version: int = 0  # of the store, when the page began to be drawn
    asked: set = field(default_factory=set)  # the names and choices of this page
    manner: writing.Manner = writing.PLAIN  # of the numbers and dates on it

    @property
    def turn(self) -> str:
        """For the keys of widgets that are one store's at one version: in the other workshop, or
        after a change, what was typed or ticked would be of other rows."""
        return f"{self.here.whose} {self.version}"

    @property
    def figures(self) -> Study:
        """The study of everything in the store; to be asked for only by what is being made."""
        return figures(self.here)

    @property
    def settings(self) -> tuple[Shop, pd.DataFrame | None]:
        """The shop and the routing (None where there is none) as they are saved."""
        store = self.here.store
        return self.kept("settings", (), lambda: (store.shop(), store.routing()))

    def kept(self, name: str, choice: tuple, make: Callable) -> Any:
        """What `make` gives, made once for each store, its version, `name`, `choice` and the
        manner in which its reader writes numbers."""
        writing.write_as(self.manner)  # a part that draws itself again has its own thread
        key = (name, choice, self.manner.name)
        self.asked.add(key)
        found = self.answers.get(key, _NOT_MADE)
        if found is _NOT_MADE:
            with beside.page_first(), st.spinner("Working it out …"):
                found = make()
            while len(self.answers) >= MOST_KEPT:
                self.answers.pop(next(iter(self.answers)), None)
            self.answers[key] = found
        return found

    def keep(self) -> None:
        """Keep what this page asked for until the next start, beside what is kept already.

        Only plain answers may be among them (words, numbers, tables and charts as they are sent):
        then a start that finds them loads nothing that works figures out.
        """
        on_disk = self.answers.get(_ON_DISK, frozenset())
        if self.version != self.here.store.version():
            return  # of a store that has changed since nothing is kept
        if not self.asked <= on_disk:
            both = {key: self.answers[key] for key in self.asked | on_disk if key in self.answers}
            both[_ON_DISK] = self.answers[_ON_DISK] = frozenset(both)
            kept(self.here).put("answers", both)


def desk(here: Source) -> Desk:
    """The desk of the source on screen, cleared when its store has changed."""
    url, version = here.key
    heed_reader()
    return Desk(here, _answers(url, version, here), version, manner=writing.manner())


def last_figures(found: Desk) -> Study:
    """The newest figures there are: of a large store those before its last change, while the ones
    after it are on their way. For what hardly hangs on the last laps, such as names."""
    here = found.here
    return desk(up_to_date.following(here.store.url).shown(here)).figures


def heed_reader() -> None:
    """Write numbers and dates as this browser's reader does; without a browser, as before."""
    if locale := st.context.locale:
        writing.write_as(writing.manner_of(locale))


@st.cache_resource(show_spinner=False, max_entries=4)
def _answers(url: str, version: int, _here: Source) -> dict:
    return kept(_here).get("answers") or {}


def opened(title: str, what: str) -> Desk | None:
    """The desk to answer from; for an empty store its next steps, and None. `what` is what cannot
    be shown without laps."""
    here = current()
    st.title(title)
    parts.demo_line(here)
    found = desk(up_to_date.shown(here))
    if found.kept("laps", (), here.store.lap_count):
        return found
    st.info(
        f"No laps yet, so {what} cannot be shown. Next step: drop in a file of laps on "
        "**This week**, or look around in the demo (choose *Demo bindery* at the side)."
    )
    parts.screen_link("this-week", "Drop in a file on This week")
    st.markdown("Or time a piece now:")
    parts.start_timing()
    return None


@dataclass(frozen=True)
class Chart:
    """A Vega-Lite specification, and a mark by which it is known again."""

    specification: dict
    mark: str

    @classmethod
    def of(cls, altair_chart: alt.TopLevelMixin) -> Chart:
        """What is sent of a chart, in the manner in which its reader writes numbers."""
        from analysis.charts.look import specification  # altair is slow to import; charts are kept

        found = specification(altair_chart)
        if vega := writing.manner().vega:
            found["config"] = found.get("config", {}) | {"locale": vega}
        return cls(found, shown_files.mark(repr(found)))


def picture(place: Source | Desk, name: str, choice: tuple, make: Callable) -> None:
    """A chart as wide as the page, kept like the rest; `make` gives the Altair chart."""
    found = (place if isinstance(place, Desk) else desk(place)).kept
    chart = found(f"{name} chart", choice, lambda: Chart.of(make()))
    shown_files.SHOWN.put(chart.mark, name, chart.specification)
    _draw(chart, name)


@st.cache_resource(
    show_spinner=False, max_entries=MOST_KEPT, hash_funcs={Chart: attrgetter("mark")}
)
def _draw(chart: Chart, name: str) -> None:
    """Streamlit sends again the messages that the first drawing made, and makes none anew."""
    st.vega_lite_chart(chart.specification, width="stretch")
    st.html(shown_files.chart_links(chart.mark, name))


@dataclass(frozen=True)
class Table:
    """Figures as they are written on the page, and the same as a file."""

    html: str
    csv: bytes
    rows: int
    lead: int  # columns that a phone shows; 0: all

    @classmethod
    def of(
        cls,
        frame: pd.DataFrame,
        formats: dict[str, str] | None = None,
        spans: Mapping[str, tuple[str, str]] | None = None,
        lead: int = 3,
    ) -> Table:
        """The table of a frame whose headers carry their units.

        `formats` are printf formats by header. `spans` names, for a figure, the columns of the
        low and high end of its range, which stand below it. The first `lead` columns are those a
        phone shows; the others wait behind a tap.
        """
        from analysis.screens import written  # pandas is slow to import, and tables are kept

        spans = spans or {}
        fits = len(frame.columns) - 2 * len(spans) <= lead
        body = written.as_html(frame, formats or {}, spans)
        return cls(body, written.as_csv(frame), len(frame), 0 if fits else lead)


def table(kept_table: Table, name: str, what: str = "The figures behind the chart") -> None:
    """Figures, and the same as a CSV file; `what` they are is said to those who cannot see them."""
    st.html(figures_page(kept_table, what) + shown_files.table_link(kept_table.csv, name))


def figures_page(kept_table: Table, what: str) -> str:
    """A table as a part of a page's HTML."""
    switch = "<label><input type='checkbox'> All columns</label>" if kept_table.lead else ""
    size = " long" if kept_table.rows > MOST_ROWS else ""
    return (
        f"<div class='figures lead-{kept_table.lead}{size}'>{switch}"
        f"<div class='rows' tabindex='0' role='region' aria-label='{html.escape(what)}'>"
        f"<table>{kept_table.html}</table></div></div>"
    )


def surer(lines: Iterable[str]) -> None:
    """What the maker could do to narrow the ranges."""
    points(lines, "**What would make this surer**")


def worked_out(formulas: str, plainly: str = "") -> None:
    """How it was worked out, folded away: in plain words first, then assumptions and formulas."""
    with st.expander("How this was worked out", key="worked_out"):  # stays open: see glossary
        told = formulas
        if plainly:
            told = f"{plainly}\n\n**For those who check the figures**\n{formulas}"
        st.markdown(writing.told(told))
