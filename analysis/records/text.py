"""Text as it is kept: trimmed, in Unicode normal form C, and safe to hand to a spreadsheet.

A spreadsheet runs a cell that begins with = + - @ tab or carriage return as a formula. Such text
is written behind an apostrophe, and an apostrophe in front is doubled; reading takes one off in
front of exactly these, so that any text comes back as it was and a plain 'twas stays whole.
"""

import unicodedata

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.numbers import combined

RUN_BY_SPREADSHEETS = ("=", "+", "-", "@", "\t", "\r")
GUARDED = tuple("'" + start for start in (*RUN_BY_SPREADSHEETS, "'"))


def kept(text: str) -> str:
    """One text as it is kept: trimmed, an apostrophe that guards it taken off, normal form C."""
    text = unicodedata.normalize("NFC", text.strip())
    return text[1:] if text.startswith(GUARDED) else text


def kept_column(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """A column of string as it is kept."""
    column = pc.utf8_trim_whitespace(column)
    if not pc.all(pc.string_is_ascii(column)).as_py():
        column = pc.utf8_normalize(column, form="NFC")
    if pc.any(pc.starts_with(column, "'")).as_py():
        column = pc.replace_substring_regex(column, "(?s)^'([=+\\-@\t\r'])", r"\1")
    return column


def guarded_column(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """A column of string as it is written to CSV, so that `kept_column` brings it back."""
    return pc.replace_substring_regex(column, "(?s)^([=+\\-@\t\r'])", r"'\1")


def codes_and_words(column: pa.ChunkedArray, default: str = "") -> tuple[np.ndarray, list[str]]:
    """A dictionary column as codes into its sorted different texts, each as it is kept."""
    array = combined(column)
    texts = [kept(text) or default for text in array.dictionary.to_pylist()]
    words = sorted(set(texts))
    places = {word: place for place, word in enumerate(words)}
    recode = np.array([places[text] for text in texts], np.int32)
    codes = array.indices.to_numpy()
    return (recode[codes] if len(codes) else codes), words
