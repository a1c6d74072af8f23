"""Columns of text to columns of numbers, and which entries are none."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.in_parts import in_parts

NUMBER = r"^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,4})?$"


def has_decimal_comma(columns: list[pa.ChunkedArray]) -> bool:
    """Whether any entry of these columns is written with a comma."""
    return any(pc.any(pc.match_substring(_texts(column), ",")).as_py() for column in columns)


def commas(column: pa.ChunkedArray) -> pa.ChunkedArray:
    """The entries of a column that hold a comma."""
    texts = column.cast(pa.string())
    return texts.filter(pc.match_substring(texts, ","))


@dataclass(frozen=True)
class Numbers:
    """A column of numbers: its `different` values, float64, NaN for an entry that is no finite
    number, and at which of these `places` each row's own stands. Where nothing tells which entries
    are alike, each stands for itself.
    """

    different: np.ndarray
    places: np.ndarray | slice

    @property
    def each(self) -> np.ndarray:
        """float64 of every row."""
        return self.different[self.places]


def parse_numbers(
    column: pa.ChunkedArray, decimal_comma: bool = False, blank: float = np.nan
) -> Numbers:
    """The numbers of a column of text, `blank` where it is blank.

    Dictionary columns are parsed once per different text. Chunks that are clean are cast at once;
    only those with a fault are looked at entry by entry.
    """
    if pa.types.is_dictionary(column.type):
        array = combined(column)
        different = parse_numbers(pa.chunked_array([array.dictionary]), decimal_comma, blank)
        return Numbers(different.each, array.indices.to_numpy())
    if decimal_comma:
        column = pc.if_else(pc.match_substring(column, "."), "?", column)
        column = pc.replace_substring(column, ",", ".")
    values = np.empty(len(column))
    for where, some in in_parts(column, _all_clean, lambda texts: _one_by_one(texts, blank)):
        values[where] = some
    values[~np.isfinite(values)] = np.nan
    return Numbers(values, slice(None))


def combined(column: pa.ChunkedArray) -> pa.DictionaryArray:
    """The chunks of a dictionary column as one array with one dictionary."""
    array = column.unify_dictionaries().combine_chunks()
    if isinstance(array, pa.ChunkedArray):  # as it stays where there is no chunk
        return pa.array([], pa.string()).dictionary_encode()
    return array


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
