"""Columns of text to columns of numbers, and which entries are none."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

T = TypeVar("T")
PARTS, SMALL = 8, 256
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
    for where, some in in_pieces(column, _all_clean, lambda texts: _one_by_one(texts, blank)):
        values[where] = some
    values[~np.isfinite(values)] = np.nan
    return Numbers(values, slice(None))


def combined(column: pa.ChunkedArray) -> pa.DictionaryArray:
    """The chunks of a dictionary column as one array with one dictionary."""
    array = column.unify_dictionaries().combine_chunks()
    if isinstance(array, pa.ChunkedArray):  # as it stays where there is no chunk
        return pa.array([], pa.string()).dictionary_encode()
    return array


def in_pieces(
    column: pa.ChunkedArray,
    all_clean: Callable[[pa.Array], T],
    one_by_one: Callable[[pa.Array], T],
) -> Iterator[tuple[np.ndarray | slice, T]]:
    """A column read in pieces, each with the positions it belongs to.

    `all_clean` refuses any fault (ArrowInvalid). From the first chunk it refuses on, what holds
    words is put aside before the rest is tried. If that is refused, it is split in PARTS, down to
    SMALL pieces, unless most parts are refused. All that is left goes together to the slow
    `one_by_one`. So a few faults in a large file cost little, and many cost no more than looking
    at each entry.
    """
    left: list[tuple[np.ndarray, pa.Array]] = []

    def attempt(texts: pa.Array) -> T | None:
        try:
            return all_clean(texts)
        except pa.ArrowInvalid:
            return None

    def split(where: np.ndarray, texts: pa.Array) -> Iterator[tuple[np.ndarray, T]]:
        step = max(1, -(-len(texts) // PARTS))
        parts = [slice(start, start + step) for start in range(0, len(texts), step)]
        read = [(where[part], texts[part], attempt(texts[part])) for part in parts]
        yield from ((at, clean) for at, _, clean in read if clean is not None)
        refused = [(at, some) for at, some, clean in read if clean is None]
        if len(texts) <= SMALL * PARTS or len(refused) > PARTS / 2:
            left.extend(refused)
        else:
            for at, some in refused:
                yield from split(at, some)

    start, any_refused = 0, False
    for chunk in column.chunks:
        where = slice(start, start + len(chunk))
        start = where.stop
        clean = None if any_refused else attempt(chunk)
        if clean is not None:
            yield where, clean
            continue
        any_refused = True  # then the next chunks may hold words too
        wordy = _holds_words(chunk)
        left.append((where.start + np.flatnonzero(wordy), chunk.filter(pa.array(wordy))))
        digits, rest = where.start + np.flatnonzero(~wordy), chunk.filter(pa.array(~wordy))
        clean = attempt(rest)
        if clean is not None:
            yield digits, clean
        else:
            yield from split(digits, rest)
    if left:
        places, texts = zip(*left, strict=True)
        yield np.concatenate(places), one_by_one(pa.concat_arrays(texts))


def _holds_words(texts: pa.Array) -> np.ndarray:
    """Which entries hold a small letter (or one beyond ASCII), as few numbers and no times do."""
    _, offsets, data = texts.buffers()
    ends = np.frombuffer(offsets, np.int32)[texts.offset : texts.offset + len(texts) + 1]
    letters = np.frombuffer(data or b"", np.uint8)[ends[0] : ends[-1]]
    wordy = np.zeros(len(texts), bool)
    small = ends[0] + np.flatnonzero(letters >= ord("a"))
    wordy[np.searchsorted(ends, small, "right") - 1] = True
    return wordy


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
