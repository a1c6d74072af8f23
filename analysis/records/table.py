"""Delimited text to columns of text and back: delimiter, header, quoting, ragged, blank rows."""

import csv
import difflib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from io import StringIO, TextIOWrapper
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from analysis.records.faults import Faults
from analysis.records.numbers import combined
from analysis.records.side_by_side import side_by_side
from analysis.records.source import Input
from analysis.records.text import kept_column
from analysis.records.whole import write_whole

LONGEST_HEADER = BLOCK = 1 << 20  # bytes
LONGEST_ROW = 1 << 16  # bytes; a longer one is read too, but not as quickly
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
WORDS = pa.dictionary(pa.int32(), pa.string())


@dataclass(frozen=True)
class Table:
    """Columns of text as they stand in a file, and the row of the file each entry came from.

    `columns` maps names to chunked arrays of string, or of dictionary-encoded string where few
    different values are expected. `rows` counts the header as row 1. `decimal_comma`: a comma may
    be one; `guarded`: an apostrophe before what a spreadsheet would run is no part of the text.
    """

    name: str
    columns: dict[str, pa.ChunkedArray]
    rows: np.ndarray
    decimal_comma: bool
    guarded: bool = True

    def texts(self, column: str) -> Callable[[np.ndarray], list[str]]:
        """The texts of a column at some positions, for the wording of faults."""
        return lambda places: [self.columns[column][place].as_py() for place in places]

    def kept(self, column: str) -> pa.ChunkedArray:
        """A column of string as it is kept; blank throughout where it is missing."""
        if column not in self.columns:
            return pa.chunked_array([pa.repeat("", len(self.rows))])
        return kept_column(self.columns[column], self.guarded)

    def kept_texts(self, column: str) -> pd.Series:
        """The same as a series of str."""
        return self.kept(column).to_pandas().astype("str")


def read_table(
    text: Input, needed: Iterable[str], known: Iterable[str], words: Iterable[str], faults: Faults
) -> Table:
    """The columns of a delimited file; raises at once where the header is not usable.

    Columns named in `words` are dictionary-encoded. Ragged rows are noted in `faults` and left
    out; rows that are blank altogether are left out.
    """
    known = tuple(known)
    end = _first_record_end(bytes(text.data[:LONGEST_HEADER]))
    delimiter, header = _header(str(text.data[:end], "utf-8", "replace"), known)
    _check_header(header, tuple(needed), known, faults)
    body = text.data[end + (2 if bytes(text.data[end : end + 2]) == b"\r\n" else 1) :]
    table, ragged = _tokenise(body, delimiter, header, set(words))
    rows = np.arange(2, 2 + table.num_rows + len(ragged))
    if ragged:
        ragged_rows = np.array([row.number - 1 for row in ragged])
        _note_ragged(ragged, rows[ragged_rows], header, faults)
        rows = np.delete(rows, ragged_rows)
    _check_last_quote(body, table, rows, faults)
    blank = _blank_rows(table)
    if blank.any():
        table, rows = table.filter(pa.array(~blank)), rows[~blank]
    columns = dict(zip(_unique_names(header), table.columns, strict=True))
    return Table(text.name, columns, rows, delimiter != ",")


def _header(line: str, known: tuple[str, ...]) -> tuple[str, list[str]]:
    """The delimiter under which most of the header's names are known, and those names."""

    def names(delimiter: str) -> list[str]:
        try:
            row = next(csv.reader(StringIO(line, newline=""), delimiter=delimiter), [])
        except csv.Error:  # a name too long, a stray quote: the names will not be known either
            row = line.split(delimiter)
        return [name.strip() for name in row]

    found = {delimiter: names(delimiter) for delimiter in DELIMITERS}
    best = max(found, key=lambda d: (len(set(found[d]) & set(known)), len(found[d])))
    return best, found[best]


def _first_record_end(head: bytes) -> int:
    """Where the first line ends that does not end inside quotes, or else the end of `head`."""
    open_quotes, position = 0, 0
    for end in re.finditer(rb"[\r\n]", head):
        open_quotes += head.count(b'"', position, end.start())
        position = end.start()
        if open_quotes % 2 == 0:
            return position
    return len(head)


def _unique_names(header: list[str]) -> list[str]:
    """The header with a name for each blank one, and a number behind each that comes again."""
    names: list[str] = []
    seen: dict[str, int] = {}
    for place, name in enumerate(header, 1):
        name = name or f"unnamed column {place}"
        seen[name] = seen.get(name, 0) + 1
        names.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return names


def _check_header(
    header: list[str], needed: tuple[str, ...], known: tuple[str, ...], faults: Faults
) -> None:
    if not any(header):
        faults.add(
            0 if not header else 1,
            "",
            "has no header row",
            remedy="begin with a row of column names: " + ", ".join(needed),
        )
        faults.stop_if_any()
    for name in needed:
        if name not in header:
            faults.add(1, name, "is missing", remedy=_hint(name, header, known))
    for name in dict.fromkeys(header):
        if name in known and header.count(name) > 1:
            faults.add(1, name, "stands twice in the header", name, "keep one of the columns")
    faults.stop_if_any()


def _hint(name: str, header: list[str], known: tuple[str, ...]) -> str:
    near = near_name(name, [given for given in header if given and given not in known])
    if near:
        return f"did you mean '{near[:60]}'? Name that column {name}"
    return f"add a column named {name} to the header row"


def near_name(name: str, others: Iterable[str]) -> str | None:
    """The other name that is spelled almost like this one, None where there is none."""
    plain = {_plain(other): other for other in others}
    near = difflib.get_close_matches(_plain(name), plain, 1, 0.8)
    return plain[near[0]] if near else None


def _plain(name: str) -> str:
    return name.casefold().replace(" ", "_").replace("-", "_")


def _tokenise(
    body: memoryview, delimiter: str, header: list[str], words: set[str]
) -> tuple[pa.Table, list[pacsv.InvalidRow]]:
    """The rows below the header as Arrow text columns c0, c1, …, and the ragged rows, numbered.

    Arrow numbers ragged rows only when it reads on one thread, so a file that has some is read
    twice; a file with a row longer than a block is read again as one block. Reading is quicker
    where Arrow need not mind newlines in quotes at the ends of its blocks.
    """
    kinds = [WORDS if column in words else pa.string() for column in header]
    types = {f"c{place}": kind for place, kind in enumerate(kinds)}
    if not len(body):
        return pa.table({name: pa.array([], kind) for name, kind in types.items()}), []
    read = partial(_read_rows, body, delimiter, types)
    block = BLOCK
    try:
        table, ragged = read(True, block, _block_ends_in_quotes(body))
    except pa.ArrowInvalid:
        block = max(BLOCK, len(body) + 1)
        table, ragged = read(True, block)
    return read(False, block) if ragged else (table, ragged)


def _read_rows(
    body: memoryview,
    delimiter: str,
    types: dict[str, pa.DataType],
    threads: bool,
    block: int,
    newlines: bool = True,
) -> tuple[pa.Table, list[pacsv.InvalidRow]]:
    """The rows under names of our own, with the ragged ones left out; `block` in bytes."""
    ragged: list[pacsv.InvalidRow] = []

    def leave_out(row: pacsv.InvalidRow) -> str:
        ragged.append(row)
        return "skip"

    table = pacsv.read_csv(
        pa.BufferReader(pa.py_buffer(body)),
        pacsv.ReadOptions(use_threads=threads, block_size=block, column_names=list(types)),
        pacsv.ParseOptions(
            delimiter=delimiter,
            newlines_in_values=newlines,
            ignore_empty_lines=False,
            invalid_row_handler=leave_out,
        ),
        pacsv.ConvertOptions(column_types=types, strings_can_be_null=False, check_utf8=False),
    )
    return table, ragged


def _block_ends_in_quotes(body: memoryview) -> bool:
    """Whether a block's last newline may stand in quotes: after an odd number of them, or too far
    from the block's end to be looked for.

    A quote inside a plain text may mislead the count; then rows come out ragged, and the file is
    read again with care.
    """

    def quotes(start: int) -> tuple[bool, int, int]:
        """Whether a block's last newline was found, the block's quotes, and those behind it."""
        block = body[start : start + BLOCK]
        end = bytes(block[-LONGEST_ROW:])
        newline = max(end.rfind(b"\n"), end.rfind(b"\r"))
        every = int(np.count_nonzero(np.frombuffer(block, np.uint8) == ord('"')))
        return newline >= 0, every, end.count(b'"', newline + 1)

    starts = range(0, len(body), BLOCK)
    found, every, behind = np.array(side_by_side(quotes, starts, len(body))).T
    return not found.all() or bool(((np.cumsum(every) - behind) % 2).any())


def _note_ragged(
    ragged: list[pacsv.InvalidRow], rows: np.ndarray, header: list[str], faults: Faults
) -> None:
    faults.add_where(
        np.ones(len(ragged), bool), rows, "",
        f"does not have {len(header)} fields as the header has",
        lambda places: [ragged[place].text for place in places],
        "put text that holds the delimiter in quotes, and leave no field out",
    )  # fmt: skip


def _check_last_quote(body: memoryview, table: pa.Table, rows: np.ndarray, faults: Faults) -> None:
    """Note a quote that is opened and never closed: it swallows the rest of the file.

    What it swallows ends up in the very last field, newlines and all; that field is closed if and
    only if the file ends on an odd number of quotes (two stand for one inside the text).
    """
    last = table.columns[-1][-1].as_py() if table.num_rows else ""
    if "\n" not in last and "\r" not in last:
        return
    end = bytes(body).rstrip(b"\r\n")
    if (len(end) - len(end.rstrip(b'"'))) % 2 == 0:
        faults.add(rows[-1], "", "opens a quote that never closes", last,
                   'close it with a second "')  # fmt: skip


def _blank_rows(table: pa.Table) -> np.ndarray:
    """Which rows hold nothing at all; columns that are quick to ask come first."""
    blank = np.ones(table.num_rows, bool)
    for column in sorted(table.columns, key=lambda column: pa.types.is_string(column.type)):
        if not blank.any():
            break
        blank &= is_blank(column)
    return blank


def is_blank(column: pa.ChunkedArray | pa.Array) -> np.ndarray:
    """Which entries hold nothing but white space."""
    if pa.types.is_dictionary(column.type):
        array = combined(column)
        return is_blank(array.dictionary)[array.indices.to_numpy()]
    blank = pc.equal(pc.binary_length(pc.utf8_trim_whitespace(column)), 0)
    return blank.to_numpy(zero_copy_only=False)


def write_table(columns: dict[str, pa.Array], target: str | Path | BinaryIO) -> None:
    """Write columns of text as CSV by RFC 4180: UTF-8, quotes only where they are needed.

    A file of that name is replaced when the new one is whole, and stays as it is if that fails.
    """
    if not isinstance(target, str | Path):
        _write_rows(columns, target)
        return
    write_whole(target, lambda file: _write_rows(columns, file))


def _write_rows(columns: dict[str, pa.Array], file: BinaryIO) -> None:
    text = TextIOWrapper(file, encoding="utf-8", newline="")
    writer = csv.writer(text)
    writer.writerow(columns)
    writer.writerows(zip(*(column.to_pylist() for column in columns.values()), strict=True))
    text.flush()
    text.detach()
