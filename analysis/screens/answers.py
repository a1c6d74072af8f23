"""The frame of an answer: the sentence, the table with its file, what would make it surer, how
it was worked out. Each screen that answers a question has the same order."""

from collections.abc import Iterable

import pandas as pd
import streamlit as st

from analysis.screens import words


def sentence(*parts: str) -> None:
    """The answer, larger than the rest, before any chart."""
    st.markdown("##### " + " ".join(part for part in parts if part))


def points(lines: Iterable[str]) -> None:
    """Short statements below the answer, blank ones left out."""
    st.markdown("\n".join(f"- {line}" for line in lines if line))


def picture(chart) -> None:
    """A chart as wide as the page."""
    st.altair_chart(chart, width="stretch")


def table(frame: pd.DataFrame, name: str, formats: dict[str, str] | None = None) -> None:
    """The figures behind the chart, units in the headers, and the same as a CSV file.

    `formats`: printf formats by header, such as {"now (s)": "%.0f"}.
    """
    config = {
        header: st.column_config.NumberColumn(format=form)
        for header, form in (formats or {}).items()
    }
    st.dataframe(frame, hide_index=True, column_config=config, placeholder="–")
    st.download_button(
        "This table as a file (CSV)",
        _csv(frame),
        file_name=f"{name}.csv",
        mime="text/csv",
        on_click="ignore",
        key=f"{name}_csv",
    )


def _csv(frame: pd.DataFrame) -> bytes:
    """CSV that a spreadsheet opens as it stands and does not run: see records/text.py."""
    import pyarrow as pa

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


def nothing_yet(what: str) -> None:
    """An empty screen's next step."""
    st.info(
        f"No laps yet, so {what} cannot be shown. Next step: drop in a file of laps on "
        "**This week**, or look around in the demo (choose *Demo bindery* at the side)."
    )


def named(product: str, variant: str = "") -> str:
    """A product and its variant, safe to show."""
    return words.plain(f"{product}, {variant}" if variant else product)
