"""A tidy frame written as a table of a page, and as the file behind it.

A small table is plain HTML: a screen reader knows its rows and headers, a phone shows the columns
that matter without scrolling sideways, and what is sent is a text that was made once. Its ranges
stand below their figures; the file has every column by itself.
"""

import html
import math
import re
from collections.abc import Iterator, Mapping
from datetime import date

import pandas as pd
import pyarrow as pa

from analysis.records.figures import day, marked, told
from analysis.records.text import guarded_column

MISSING = "–"
SHORT_UNIT = r"\([^()]{1,11}\)$| %"
OF_A_CLOCK = r"(?<=\d) (?=[AP]M\b)|(?<=\b\w{3}) (?=\d\d?:\d\d)"  # `Mon 10:10 AM` is one thing
NOTE = "note"  # the column of sentences, made where the figures were


def as_html(
    frame: pd.DataFrame, formats: dict[str, str], spans: Mapping[str, tuple[str, str]]
) -> str:
    """The rows and headers of a table, without the frame around it, as short as HTML may be.

    `formats` are printf formats (`%.1f`) by header; `spans` names the columns of the low and the
    high end that belong below a figure. A column of words that says nothing is left out.
    """
    ends = {name for pair in spans.values() for name in pair}
    shown = [name for name in frame.columns if name not in ends and not _is_blank(frame[name])]
    kinds = {name: "" if _is_number(frame[name]) else " class=t" for name in shown}
    head = "".join(f"<th scope=col{kinds[name]}>{_header(name)}" for name in shown)
    columns = [_cells(frame, name, formats, spans.get(name), kinds[name]) for name in shown]
    rows = "".join(f"<tr>{''.join(row)}" for row in zip(*columns, strict=True))
    return f"<thead><tr>{head}<tbody>{rows}"


def _header(name: str) -> str:
    """A header whose unit stays in one line where it is short: `(s a piece)`, `±5 %`."""
    whole = re.sub(SHORT_UNIT, lambda unit: unit.group().replace(" ", "\u00a0"), name)
    return html.escape(whole)


def _is_blank(column: pd.Series) -> bool:
    return len(column) > 0 and not _is_number(column) and not column.fillna("").astype(str).any()


def _is_number(column: pd.Series) -> bool:
    return pd.api.types.is_numeric_dtype(column) and not pd.api.types.is_bool_dtype(column)


def _cells(
    frame: pd.DataFrame, name: str, formats: dict, ends: tuple[str, str] | None, kind: str
) -> Iterator[str]:
    """The cells of one column; the first one names its row."""
    tag = "th scope=row" if name == frame.columns[0] else "td"
    pairs = zip(frame[ends[0]], frame[ends[1]], strict=True) if ends else [None] * len(frame)
    form = formats.get(name, "%.10g")
    values = frame[name].map(told, na_action="ignore") if name == NOTE else frame[name]
    for value, pair in zip(values, pairs, strict=True):
        yield f"<{tag}{kind}>{_said(value, form)}{_span(pair, form)}"


def _said(value: object, form: str) -> str:
    """A figure or a word as it stands in its cell."""
    if isinstance(value, str):
        return html.escape(re.sub(OF_A_CLOCK, "\u00a0", value)) or MISSING
    if pd.isna(value):
        return MISSING
    if isinstance(value, date):
        return html.escape(day(value))  # as its reader writes it; the file keeps ISO 8601
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _grouped(form % value)
    return html.escape(str(value))


def _span(pair: tuple | None, form: str) -> str:
    """The range below a figure, where both ends are known; one without width (two batches that are
    alike) tells no doubt, which is not to say that there is none."""
    if pair is None or any(pd.isna(end) for end in pair):
        return ""
    low, high = pair
    if low == high or isinstance(low, float) and math.isclose(low, high):
        return ""
    return f"<small>{_said(pair[0], form)} to {_said(pair[1], form)}</small>"


def _grouped(digits: str) -> str:
    """`-1234.5` as `-1,234.5` or as the reader writes it; infinity as it is."""
    sign = "-" if digits.startswith("-") else ""
    whole, point, rest = digits.removeprefix("-").partition(".")
    return marked(f"{sign}{int(whole):,}{point}{rest}" if whole.isdecimal() else digits)


def as_csv(frame: pd.DataFrame) -> bytes:
    """CSV that a spreadsheet opens as it stands and does not run: see records/text.py."""
    plain = pa.Table.from_pandas(frame, preserve_index=False).to_pandas()
    texts = plain.select_dtypes(exclude="number").columns
    guarded = {
        name: guarded_column(pa.chunked_array([pa.array(plain[name].astype(str), pa.string())]))
        for name in texts
    }
    safe = plain.assign(**{name: column.to_pandas() for name, column in guarded.items()})
    return safe.to_csv(index=False).encode("utf-8-sig")
