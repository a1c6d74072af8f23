"""Ids of laps: derived from a row's content where the file has none, and looked for twice."""

import hashlib

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

Column = np.ndarray | tuple[np.ndarray, list[str]]

LONGEST = 64
_ODD = np.uint64(0x9E3779B97F4A7C15)


def derived_ids(columns: list[Column]) -> list[str]:
    """An id for each row that depends on its content only, 32 hexadecimal digits.

    Columns are int64 or float64 arrays, or (codes, words). Each entry is turned into two 64-bit
    numbers (a word by BLAKE2b, a number by its bits) and these are mixed in column order by the
    finaliser of SplitMix64 (Steele, Lea & Flood 2014). Rows that are alike are told apart by the
    count of their occurrence, "-2" for the second, so all are kept and none is added again.
    """
    entries = [_entries(column) for column in columns]
    halves = np.zeros_like(entries[0])
    for entry in entries:
        halves = _mixed(halves * _ODD + entry)
    digits = halves.astype(">u8").tobytes().hex()
    ids = [digits[at : at + 32] for at in range(0, len(digits), 32)]
    occurrence = pd.Series(ids, dtype=object).groupby(ids).cumcount().to_numpy() + 1
    for place in np.flatnonzero(occurrence > 1):
        ids[place] += f"-{occurrence[place]}"
    return ids


def _entries(column: Column) -> np.ndarray:
    """Two 64-bit numbers for each entry, shape (rows, 2)."""
    if isinstance(column, np.ndarray):
        bits = (column + 0).view(np.uint64)  # + 0 makes -0.0 and 0.0 the same
        return np.column_stack([bits, bits ^ _ODD])
    codes, words = column
    digests = b"".join(hashlib.blake2b(word.encode(), digest_size=16).digest() for word in words)
    return np.frombuffer(digests, ">u8").reshape(-1, 2).astype(np.uint64)[codes]


def _mixed(z: np.ndarray) -> np.ndarray:
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


def repeated_ids(ids: pa.ChunkedArray) -> np.ndarray:
    """Positions of the ids that come more than once, in order; usually none. Blank ones are no ids.

    A 64-bit hash tells quickly that all differ; only where two hashes agree are texts compared.
    """
    given = pc.not_equal(pc.binary_length(ids), 0).to_numpy()
    if not given.all():
        return np.flatnonzero(given)[repeated_ids(ids.filter(pa.array(given)))]
    hashes = _hashes(ids)
    in_order = np.sort(hashes)
    doubled = in_order[1:][in_order[1:] == in_order[:-1]]
    if not len(doubled):
        return np.zeros(0, np.int64)
    suspects = np.flatnonzero(np.isin(hashes, doubled))
    texts = pd.Series(ids.take(pa.array(suspects)).to_pylist(), dtype=object)
    return suspects[texts.duplicated(keep=False).to_numpy()]


def _hashes(ids: pa.ChunkedArray) -> np.ndarray:
    """A 64-bit hash of each id of at most LONGEST bytes; longer ones hash by their beginning."""
    return np.concatenate([_chunk_hashes(chunk) for chunk in ids.chunks] or [np.zeros(0, "u8")])


def _chunk_hashes(ids: pa.StringArray) -> np.ndarray:
    _, offsets, data = ids.buffers()
    ends = np.frombuffer(offsets, np.int32)[ids.offset : ids.offset + len(ids) + 1]
    starts, lengths = ends[:-1], np.minimum(np.diff(ends), LONGEST)
    letters = np.frombuffer(data or b"", np.uint8)
    hashes = np.zeros(len(ids), np.uint64)
    for length in np.flatnonzero(np.bincount(lengths)):
        same = np.flatnonzero(lengths == length)
        padded = np.zeros((len(same), -(-length // 8) * 8), np.uint8)
        if len(same) == len(ids) and ends[-1] - ends[0] == len(ids) * length:
            padded[:, :length] = letters[ends[0] : ends[-1]].reshape(len(ids), length)
        else:
            padded[:, :length] = letters[starts[same][:, None] + np.arange(length)]
        mixed = np.full(len(same), length, np.uint64)
        for eight in padded.view(np.uint64).T:
            mixed = (mixed ^ eight) * _ODD
        hashes[same] = mixed
    return hashes
