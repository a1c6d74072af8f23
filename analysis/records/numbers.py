"""Columns of text to columns of numbers, and which entries are none."""

from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

PARTS, SMALL = 8, 256
NUMBER = r"^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,4})?$"


def has_decimal_comma(columns: list[pa.ChunkedArray]) -> bool:
    """Whether any entry of these columns is written with a comma."""
    return any(pc.any(pc.match_substring(_texts(column), ",")).as_py() for column in columns)


def commas(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """The entries of a column that hold a comma."""
    texts = column.cast(pa.string())
    return texts.filter(pc.match_substring(texts, ","))


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
        different = pa.chunked_array([array.dictionary])
        return parse_numbers(different, decimal_comma, blank)[array.indices.to_numpy()]
    if decimal_comma:
        column = pc.if_else(pc.match_substring(column, "."), "?", column)
        column = pc.replace_substring(column, ",", ".")
    values = np.empty(len(column))
    fill(values, column, _all_clean, lambda texts: _one_by_one(texts, blank))
    return np.where(np.isfinite(values), values, np.nan)


def combined(column: pa.ChunkedArray) -> pa.DictionaryArray:
    """The chunks of a dictionary column as one array with one dictionary."""
    array = column.unify_dictionaries().combine_chunks()
    if isinstance(array, pa.ChunkedArray):  # as it stays where there is no chunk
        return pa.array([], pa.string()).dictionary_encode()
    return array


def fill(
    values: np.ndarray,
    column: pa.ChunkedArray,
    all_clean: Callable[[pa.Array], np.ndarray],
    one_by_one: Callable[[pa.Array], np.ndarray],
) -> None:
    """Fill in the values of a column by `all_clean`, which refuses any fault (ArrowInvalid).

    What is refused is split in PARTS and tried again, down to SMALL pieces; those, or all where
    most parts are refused, are given together to the slow `one_by_one`. So a few faults in a large
    file cost little, and many cost no more than looking at each entry.
    """
    refused: list[tuple[int, pa.Array]] = []

    def attempt(texts: pa.Array, at: int) -> bool:
        try:
            values[at : at + len(texts)] = all_clean(texts)
        except pa.ArrowInvalid:
            return False
        return True

    def split(texts: pa.Array, at: int) -> None:
        step = -(-len(texts) // PARTS)
        parts = [(at + start, texts[start : start + step]) for start in range(0, len(texts), step)]
        left = [(place, part) for place, part in parts if not attempt(part, place)]
        if len(texts) <= SMALL * PARTS or len(left) > PARTS / 2:
            refused.extend(left)
        else:
            for place, part in left:
                split(part, place)

    at = 0
    for chunk in column.chunks:
        if not attempt(chunk, at):
            split(chunk, at)
        at += len(chunk)
    if refused:
        slow = one_by_one(pa.concat_arrays([texts for _, texts in refused]))
        values[np.concatenate([np.arange(at, at + len(texts)) for at, texts in refused])] = slow


def _all_clean(texts: pa.Array) -> np.ndarray:
    return pc.cast(texts, pa.float64()).to_numpy(zero_copy_only=False)


def _one_by_one(texts: pa.Array, blank: float) -> np.ndarray:
    texts = pc.utf8_trim_whitespace(texts)
    usable = pc.if_else(pc.match_substring_regex(texts, NUMBER), texts, "nan")
    values = pc.if_else(pc.equal(texts, ""), blank, pc.cast(usable, pa.float64()))
    return values.to_numpy(zero_copy_only=False)


def _texts(column: pa.ChunkedArray) -> pa.Array | pa.ChunkedArray:
    if pa.types.is_dictionary(column.type):
        return combined(column).dictionary
    return column
