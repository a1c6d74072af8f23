"""Columns of text to columns of numbers, and which entries are none."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

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
    try:
        values = pc.cast(texts, pa.float64())
    except pa.ArrowInvalid:
        values = _parse_one_by_one(texts, blank)
    values = values.to_numpy(zero_copy_only=False)
    return np.where(np.isfinite(values), values, np.nan)


def _parse_one_by_one(texts: pa.Array, blank: float) -> pa.Array:
    texts = pc.utf8_trim_whitespace(texts)
    usable = pc.if_else(pc.match_substring_regex(texts, NUMBER), texts, "nan")
    return pc.if_else(pc.equal(texts, ""), blank, pc.cast(usable, pa.float64()))


def _texts(column: pa.ChunkedArray) -> pa.Array | pa.ChunkedArray:
    if pa.types.is_dictionary(column.type):
        return combined(column).dictionary
    return column
