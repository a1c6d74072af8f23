"""Columns of text to columns of numbers, and which entries are none."""

from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

SMALL = 64  # texts that are looked at one by one together
NUMBER = r"^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,4})?$"


def has_decimal_comma(columns: list[pa.ChunkedArray]) -> bool:
    """Whether any entry of these columns is written with a comma."""
    return any(pc.any(pc.match_substring(_texts(column), ",")).as_py() for column in columns)


def parse_numbers(
    column: pa.ChunkedArray, decimal_comma: bool = False, blank: float = np.nan
) -> np.ndarray:
    """float64 of each entry, NaN where it is not a finite number, `blank` where it is blank.

    Dictionary columns are parsed once per different text. Chunks that are clean are cast at once;
    only those with a fault are looked at entry by entry.
    """
    if not len(column):
        return np.zeros(0)
    if pa.types.is_dictionary(column.type):
        array = combined(column)
        values = _parse(array.dictionary, decimal_comma, blank)
        return values[array.indices.to_numpy()]
    return np.concatenate([_parse(chunk, decimal_comma, blank) for chunk in column.chunks])


def combined(column: pa.ChunkedArray) -> pa.DictionaryArray:
    """The chunks of a dictionary column as one array with one dictionary."""
    array = column.unify_dictionaries().combine_chunks()
    if isinstance(array, pa.ChunkedArray):  # as it stays where there is no chunk
        return pa.array([], pa.string()).dictionary_encode()
    return array


def _parse(texts: pa.Array, decimal_comma: bool, blank: float) -> np.ndarray:
    if decimal_comma:
        texts = pc.if_else(pc.match_substring(texts, "."), "?", texts)
        texts = pc.replace_substring(texts, ",", ".")

    def clean(some: pa.Array) -> np.ndarray:
        return pc.cast(some, pa.float64()).to_numpy(zero_copy_only=False)

    values = by_halves(texts, clean, lambda some: _parse_one_by_one(some, blank))
    return np.where(np.isfinite(values), values, np.nan)


def by_halves(
    texts: pa.Array,
    clean: Callable[[pa.Array], np.ndarray],
    one_by_one: Callable[[pa.Array], np.ndarray],
) -> np.ndarray:
    """The values of texts by `clean`, which refuses an array with any fault in it.

    A refused array is halved until what holds a fault is small, and that is given to the slow
    `one_by_one`; so a fault costs its neighbours little.
    """
    try:
        return clean(texts)
    except pa.ArrowInvalid:
        if len(texts) <= SMALL:
            return one_by_one(texts)
    half = len(texts) // 2
    parts = (texts[:half], texts[half:])
    return np.concatenate([by_halves(part, clean, one_by_one) for part in parts])


def _parse_one_by_one(texts: pa.Array, blank: float) -> np.ndarray:
    texts = pc.utf8_trim_whitespace(texts)
    usable = pc.if_else(pc.match_substring_regex(texts, NUMBER), texts, "nan")
    values = pc.if_else(pc.equal(texts, ""), blank, pc.cast(usable, pa.float64()))
    return values.to_numpy(zero_copy_only=False)


def _texts(column: pa.ChunkedArray) -> pa.Array | pa.ChunkedArray:
    if pa.types.is_dictionary(column.type):
        return combined(column).dictionary
    return column
