"""Delimited text to columns of text and back: delimiter, header, quoting, ragged, blank rows."""

import csv
import difflib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from io import TextIOWrapper
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from analysis.problems import Problem
from analysis.records.faults import Faults
from analysis.records.source import Input

LONGEST_HEADER = 1 << 20
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
        return lambda places: self.columns[column].take(pa.array(places)).to_pylist()


def read_table(
    text: Input, needed: Iterable[str], known: Iterable[str], words: Iterable[str], faults: Faults
) -> Table:
    """The columns of a delimited file; raises at once where the header is not usable.

    Ragged rows are noted in `faults` and left out; rows that are blank altogether are left out.
    """
    known = tuple(known)
    delimiter, header = _header(text, known)
    _check_header(header, tuple(needed), known, faults)
    table, ragged = _tokenise(text, delimiter, header, set(words))
    rows = np.arange(2, table.num_rows + len(ragged) + 2)
    if ragged:
        _note_ragged(ragged, header, faults)
        rows = np.delete(rows, [number - 2 for number, _ in ragged])
    _check_quotes_end(text, delimiter, table, rows, faults)
    blank = _blank_rows(table)
    if blank.any():
        table, rows = table.filter(pa.array(~blank)), rows[~blank]
    columns = dict(zip(_unique_names(header), table.columns, strict=True))
    return Table(text.name, columns, rows, delimiter != ",")


def _header(text: Input, known: tuple[str, ...]) -> tuple[str, list[str]]:
    """The delimiter under which most of the header's names are known, and those names."""
    end = _first_record_end(text.data)
    line = text.data[:end].decode("utf-8")
    def names(delimiter: str) -> list[str]:
        rows = csv.reader(line.splitlines(keepends=True), delimiter=delimiter)
        try:
            return [name.strip() for name in next(rows, [])]
        except csv.Error:
            return [name.strip() for name in line.split(delimiter)]

    found = {delimiter: names(delimiter) for delimiter in DELIMITERS}
    best = max(found, key=lambda d: (len(set(found[d]) & set(known)), len(found[d])))
    return best, found[best]


def _first_record_end(data: bytes) -> int:
    """Where the first line ends that does not end inside quotes, or the longest header allowed."""
    open_quotes, position = 0, 0
    for end in re.finditer(rb"[\r\n]", data[:LONGEST_HEADER]):
        open_quotes += data.count(b'"', position, end.start())
        position = end.start()
        if open_quotes % 2 == 0:
            return position
    return min(len(data), LONGEST_HEADER)


def _unique_names(header: list[str]) -> list[str]:
    """The header with a name for each blank one, and a number behind each that comes again."""
    names: list[str] = []
    seen: dict[str, int] = {}
    for place, name in enumerate(header, 1):
        name = name or f"column {place}"
        seen[name] = seen.get(name, 0) + 1
        names.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return names


def _check_header(
    header: list[str], needed: tuple[str, ...], known: tuple[str, ...], faults: Faults
) -> None:
    if not any(header):
        faults.add(0 if not header else 1, "", "has no header row",
                   remedy="begin with a row of column names: " + ", ".join(needed))
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
    text: Input, delimiter: str, header: list[str], words: set[str]
) -> tuple[pa.Table, list[tuple[int, pacsv.InvalidRow]]]:
    """The file as Arrow text columns c0, c1, …, and its ragged rows with their row numbers.

    Arrow numbers ragged rows only when it reads on one thread, so a file that has some is read
    twice. Newlines in quotes are looked for only where there are quotes at all.
    """
    names = [f"c{place}" for place in range(len(header))]
    types = {name: WORDS if column in words else pa.string()
             for name, column in zip(names, header, strict=True)}

    def read(threads: bool, block: int) -> tuple[pa.Table, list]:
        ragged = []

        def skip(row: pacsv.InvalidRow) -> str:
            ragged.append((row.number, row))
            return "skip"

        table = pacsv.read_csv(
            pa.BufferReader(pa.py_buffer(text.data)),
            pacsv.ReadOptions(use_threads=threads, block_size=block, column_names=names,
                              skip_rows_after_names=1),
            pacsv.ParseOptions(delimiter=delimiter, newlines_in_values=b'"' in text.data,
                               ignore_empty_lines=False, invalid_row_handler=skip),
            pacsv.ConvertOptions(column_types=types, strings_can_be_null=False,
                                 check_utf8=False),
        )
        return table, ragged

    whole = max(len(text.data) + 1, 1 << 20)
    try:
        table, ragged = read(True, 1 << 20)
    except pa.ArrowInvalid:  # a row longer than a block: take the file as one block
        table, ragged = read(False, min(whole, (1 << 31) - 1))
    if ragged and ragged[0][0] is None:
        table, ragged = read(False, 1 << 20)
    return table, ragged


def _note_ragged(ragged: list, header: list[str], faults: Faults) -> None:
    for number, row in ragged:
        faults.add(number, "", f"has {row.actual_columns} fields where the header has "
                   f"{len(header)}", row.text, "put text that holds the delimiter in quotes")


def _check_quotes_end(
    text: Input, delimiter: str, table: pa.Table, rows: np.ndarray, faults: Faults
) -> None:
    """Note a quote that is opened and never closed: it swallows the rest of the file."""
    if not table.num_rows or b'"' not in text.data:
        return
    last = [column[-1].as_py() for column in table.columns]
    if not any("\n" in value or "\r" in value for value in last):
        return
    lines = text.text.splitlines(keepends=True)
    try:
        for _ in csv.reader(lines, delimiter=delimiter, strict=True):
            pass
    except csv.Error as error:
        if "unexpected end" in str(error):
            faults.add(rows[-1], "", "opens a quote that never closes", max(last, key=len),
                       'close it with a second "')


def _blank_rows(table: pa.Table) -> np.ndarray:
    """Which rows hold nothing at all; columns that are seldom blank are asked first."""
    blank = np.ones(table.num_rows, bool)
    for column in sorted(table.columns, key=lambda column: pa.types.is_dictionary(column.type)):
        if not blank.any():
            break
        blank &= is_blank(column)
    return blank


def is_blank(column: pa.ChunkedArray) -> np.ndarray:
    """Which entries hold nothing but white space."""
    if pa.types.is_dictionary(column.type):
        column = column.cast(pa.string())
    return pc.equal(pc.binary_length(pc.utf8_trim_whitespace(column)), 0).to_numpy()


def write_table(columns: dict[str, pa.Array], target: str | Path | BinaryIO) -> None:
    """Write columns of text as comma-separated UTF-8, quotes only where they are needed."""
    if hasattr(target, "write"):
        _write_rows(columns, target)
        return
    try:
        with open(target, "wb") as file:
            _write_rows(columns, file)
    except OSError as error:
        raise Problem(f"{target} cannot be written ({error.strerror}); choose another place."
                      ) from None  # fmt: skip


def _write_rows(columns: dict[str, pa.Array], file: BinaryIO) -> None:
    text = TextIOWrapper(file, encoding="utf-8", newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*(column.to_pylist() for column in columns.values()), strict=True))
    text.flush()
    text.detach()
