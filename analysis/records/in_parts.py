"""A column of text read part by part, so that a few faults in a large file cost little."""

from collections.abc import Callable, Iterator
from typing import Generic, TypeVar

import numpy as np
import pyarrow as pa

T = TypeVar("T")
PARTS, SMALL = 8, 256  # into how many a refused part is split, and the rows not worth splitting


def in_parts(
    column: pa.ChunkedArray,
    all_clean: Callable[[pa.Array], T],
    one_by_one: Callable[[pa.Array], T],
) -> Iterator[tuple[np.ndarray | slice, T]]:
    """A column read in parts, each with the positions (rows) it belongs to.

    `all_clean` is quick and refuses any fault (ArrowInvalid); what it refuses in the end goes
    together to the slow `one_by_one`. So many faults cost no more than looking at each entry.
    """
    reading = _QuickReading(all_clean)
    start = 0
    for chunk in column.chunks:
        yield from reading.of_chunk(start, chunk)
        start += len(chunk)
    if reading.left:
        places, texts = zip(*reading.left, strict=True)
        yield np.concatenate(places), one_by_one(pa.concat_arrays(texts))


class _QuickReading(Generic[T]):
    """What can be read all at once; the rest gathers in `left`, with its positions.

    From the first chunk refused on, what holds words is put aside before the rest is tried. If that
    is refused, it is split in PARTS, down to SMALL rows, unless most parts are refused.
    """

    def __init__(self, all_clean: Callable[[pa.Array], T]):
        self.all_clean = all_clean
        self.left: list[tuple[np.ndarray, pa.Array]] = []
        self.any_refused = False

    def of_chunk(self, start: int, texts: pa.Array) -> Iterator[tuple[np.ndarray | slice, T]]:
        """The clean parts of a chunk whose first entry stands in row `start`."""
        clean = None if self.any_refused else self._attempt(texts)
        if clean is not None:
            yield slice(start, start + len(texts)), clean
            return
        self.any_refused = True  # then the next chunks may hold words too
        wordy = _holds_words(texts)
        self.left.append((start + np.flatnonzero(wordy), texts.filter(pa.array(wordy))))
        digits, rest = start + np.flatnonzero(~wordy), texts.filter(pa.array(~wordy))
        clean = self._attempt(rest)
        if clean is not None:
            yield digits, clean
        else:
            yield from self._split(digits, rest)

    def _attempt(self, texts: pa.Array) -> T | None:
        try:
            return self.all_clean(texts)
        except pa.ArrowInvalid:
            return None

    def _split(self, where: np.ndarray, texts: pa.Array) -> Iterator[tuple[np.ndarray, T]]:
        step = max(1, -(-len(texts) // PARTS))
        parts = [slice(start, start + step) for start in range(0, len(texts), step)]
        read = [(where[part], texts[part], self._attempt(texts[part])) for part in parts]
        yield from ((at, clean) for at, _, clean in read if clean is not None)
        refused = [(at, some) for at, some, clean in read if clean is None]
        if len(texts) <= SMALL * PARTS or len(refused) > PARTS / 2:
            self.left.extend(refused)
        else:
            for at, some in refused:
                yield from self._split(at, some)


def _holds_words(texts: pa.Array) -> np.ndarray:
    """Which entries hold a small letter (or one beyond ASCII), as few numbers and no times do."""
    _, offsets, data = texts.buffers()
    ends = np.frombuffer(offsets, np.int32)[texts.offset : texts.offset + len(texts) + 1]
    letters = np.frombuffer(data or b"", np.uint8)[ends[0] : ends[-1]]
    wordy = np.zeros(len(texts), bool)
    small = ends[0] + np.flatnonzero(letters >= ord("a"))
    wordy[np.searchsorted(ends, small, "right") - 1] = True
    return wordy
