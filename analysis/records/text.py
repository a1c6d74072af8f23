"""Text as it is kept: trimmed, in Unicode normal form C, and safe to hand to a spreadsheet.

A spreadsheet runs a cell that begins with = + - @ (their full-width forms too), tab or a line end
as a formula. Such text is written behind an apostrophe, and an apostrophe in front is doubled;
reading takes one off in front of exactly these, so that any text comes back as it was and a plain
'twas stays whole.

A spreadsheet set up to part fields by semicolons splits our comma-separated lines at any semicolon
inside a text and runs what follows: `glue;=1+1`. Quotes do not keep it from that, only another text
would, so it is left: open an export there as comma-separated.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.numbers import combined

FORMULA = "=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20"


def kept_column(
    column: pa.ChunkedArray | pa.Array, guarded: bool = True
) -> pa.ChunkedArray | pa.Array:
    """A column of string as it is kept: trimmed, in normal form C, a guarding apostrophe off."""
    if _least_letter(column) > ord("'"):  # no white space, no apostrophe, nothing beyond ASCII
        return column
    column = pc.utf8_trim_whitespace(column)
    if not pc.all(pc.string_is_ascii(column)).as_py():
        column = pc.utf8_normalize(column, form="NFC")
    if guarded and pc.any(pc.starts_with(column, "'")).as_py():
        column = pc.replace_substring_regex(column, f"(?s)^'([{FORMULA}'])", r"\1")
    return column


def _least_letter(column: pa.ChunkedArray | pa.Array) -> int:
    """The least byte of a column of string; those beyond ASCII are negative."""
    chunks = column.chunks if isinstance(column, pa.ChunkedArray) else [column]
    letters = (np.frombuffer(chunk.buffers()[2] or b"", np.int8) for chunk in chunks)
    return min((some.min(initial=127) for some in letters), default=127)


def guarded_column(column: pa.ChunkedArray | pa.Array) -> pa.ChunkedArray | pa.Array:
    """A column of string as it is written to CSV, so that `kept_column` brings it back."""
    return pc.replace_substring_regex(column, f"(?s)^([{FORMULA}'])", r"'\1")


def kept_codes(
    column: pa.ChunkedArray, default: str = "", guarded: bool = True
) -> tuple[np.ndarray, list[str]]:
    """A dictionary column as codes into its different texts, sorted, each as it is kept."""
    array = combined(column)
    texts = kept_column(array.dictionary, guarded).to_pylist()
    return _sorted_codes(array.indices.to_numpy(), [text or default for text in texts])


def codes_of(column: pa.ChunkedArray) -> tuple[np.ndarray, list[str]]:
    """A dictionary column as codes into its different texts, sorted."""
    array = combined(column)
    return _sorted_codes(array.indices.to_numpy(), array.dictionary.to_pylist())


def _sorted_codes(codes: np.ndarray, texts: list[str]) -> tuple[np.ndarray, list[str]]:
    words = sorted(set(texts))
    places = {word: place for place, word in enumerate(words)}
    smallest = np.min_scalar_type(-len(words) - 1)  # as narrow as a categorical holds them
    recode = np.array([places[text] for text in texts], smallest)
    return (recode[codes] if len(codes) else codes), words
