"""The frame of an answer: the sentence, the table with its file, what would make it surer, how
it was worked out. Each screen that answers a question has the same order."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import pandas as pd
import pyarrow as pa
import streamlit as st

from analysis.screens import parts
from analysis.screens.source import Source, current, figures, kept


def sentence(said: str) -> None:
    """The answer, larger than the rest, before any chart: the heading next to the title."""
    with st.container(key="answer"):  # its letters are sized in the frame's style
        st.markdown(f"## {said}")


def points(lines: Iterable[str]) -> None:
    """Short statements below the answer, blank ones left out."""
    st.markdown("\n".join(f"- {line}" for line in lines if line))


MOST_KEPT = 400  # answers for one version of a store
_NOT_MADE = object()
_ON_DISK = ("kept on disk", ())


@dataclass(frozen=True)
class Desk:
    """The source on screen, and the answers already worked out for this version of its store.

    What is kept is the same object each time, so nobody may change it.
    """

    here: Source
    answers: dict
    version: int = 0  # of the store, when the page began to be drawn

    @property
    def figures(self):
        """The study of everything in the store; to be asked for only by what is being made."""
        return figures(self.here)

    @property
    def settings(self) -> tuple:
        """The shop and the routing (None where there is none) as they are saved."""
        store = self.here.store
        return self.kept("settings", (), lambda: (store.shop(), store.routing()))

    def kept(self, name: str, choice: tuple, make: Callable):
        """What `make` gives, made once for each store, its version, `name` and `choice`."""
        found = self.answers.get((name, choice), _NOT_MADE)
        if found is _NOT_MADE:
            with st.spinner("Working it out …"):
                found = make()
            while len(self.answers) >= MOST_KEPT:
                self.answers.pop(next(iter(self.answers)), None)
            self.answers[name, choice] = found
        return found

    def keep(self) -> None:
        """Keep the answers there are for the next start, where there are more than were kept."""
        if len(self.answers) != self.answers.get(_ON_DISK):
            self.answers[_ON_DISK] = len(self.answers | {_ON_DISK: 0})
            kept(self.here).put("answers", dict(self.answers))


def desk(here: Source) -> Desk:
    """The desk of the source on screen, cleared when its store has changed."""
    url, version = here.key
    return Desk(here, _answers(url, version, here), version)


@st.cache_resource(show_spinner=False, max_entries=4)
def _answers(url: str, version: int, _here: Source) -> dict:
    return kept(_here).get("answers") or {}


def opened(title: str, what: str) -> Desk | None:
    """The desk to answer from; for an empty store its next step, and None. `what` is what cannot
    be shown without laps."""
    here = current()
    st.title(title)
    parts.demo_line(here)
    found = desk(here)
    if found.kept("laps", (), here.store.lap_count):
        return found
    st.info(
        f"No laps yet, so {what} cannot be shown. Next step: drop in a file of laps on "
        "**This week**, or look around in the demo (choose *Demo bindery* at the side)."
    )
    return None


def picture(place: Source | Desk, name: str, choice: tuple, make: Callable) -> None:
    """A chart as wide as the page, kept like the rest; `make` gives the Altair chart."""
    kept = (place if isinstance(place, Desk) else desk(place)).kept
    st.vega_lite_chart(kept(f"{name} chart", choice, lambda: _drawn(make())), width="stretch")


def _drawn(chart) -> dict:
    from analysis.charts.look import specification  # altair is slow to import, and may be kept

    return specification(chart)


@dataclass(frozen=True)
class Table:
    """Figures in the form in which they travel to the browser, and how each column is written.

    The file is made beforehand: one that Streamlit makes at the click was at times cancelled.
    """

    arrow: pa.Table
    csv: bytes
    formats: dict[str, str]  # printf formats by header

    @classmethod
    def of(cls, frame: pd.DataFrame, formats: dict[str, str] | None = None) -> "Table":
        """The table of a frame whose headers carry their units."""
        arrow = pa.Table.from_pandas(frame, preserve_index=False)
        return cls(arrow, _csv(arrow.to_pandas()), formats or {})


def table(kept_table: Table, name: str, what: str = "The figures behind the chart") -> None:
    """Figures, and the same as a CSV file; `what` they are is said to those who cannot see them."""
    config = {
        header: st.column_config.NumberColumn(format=form)
        for header, form in kept_table.formats.items()
    }
    st.dataframe(
        kept_table.arrow,
        hide_index=True,
        column_config=config,
        placeholder="–",
        alt=what,
    )
    st.download_button(
        "This table as a file (CSV)",
        kept_table.csv,
        file_name=f"{name}.csv",
        mime="text/csv",
        on_click="ignore",
        key=f"{name}_csv",
    )


def _csv(frame: pd.DataFrame) -> bytes:
    """CSV that a spreadsheet opens as it stands and does not run: see records/text.py."""
    from analysis.records.text import guarded_column

    texts = frame.select_dtypes(exclude="number").columns
    guarded = {
        name: guarded_column(pa.chunked_array([pa.array(frame[name].astype(str), pa.string())]))
        for name in texts
    }
    safe = frame.assign(**{name: column.to_pandas() for name, column in guarded.items()})
    return safe.to_csv(index=False).encode("utf-8-sig")


def surer(lines: Iterable[str]) -> None:
    """What the maker could do to narrow the ranges."""
    st.markdown("**What would make this surer**")
    points(lines)


def worked_out(text: str) -> None:
    """Assumptions and formulas, folded away."""
    with st.expander("How this was worked out"):
        st.markdown(text)
