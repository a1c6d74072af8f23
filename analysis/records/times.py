"""Columns of ISO 8601 text to instants, with or without an offset, and which entries are none."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.zones import wall_to_utc

ISO_8601 = (
    r"^[0-9]{4}-?[0-9]{2}-?[0-9]{2}([T ][0-9]{2}(:?[0-9]{2}(:?[0-9]{2}([.,][0-9]{1,9})?)?)?"
    r" ?(Z|[+-][0-9]{2}(:?[0-9]{2})?)?)?$"
)
WITH_OFFSET = r"[T ][0-9:.,]+ ?(Z|[+-][0-9]{2}(:?[0-9]{2})?)$"
DATE_ONLY = 10  # characters of 2026-03-02; 8 without hyphens


@dataclass(frozen=True)
class Times:
    """Instants of a column as microseconds of UTC, and what had to be assumed.

    `as_written` is the same without the shop's zone: UTC where an offset was given, the wall clock
    where not. `wrong` marks entries that are no time; their instants mean nothing.
    """

    utc: np.ndarray
    as_written: np.ndarray
    wrong: np.ndarray
    without_offset: np.ndarray
    date_only: np.ndarray
    repeated: np.ndarray
    skipped: np.ndarray


def parse_times(column: pa.ChunkedArray, zone: str) -> Times:
    """Instants of ISO 8601 texts; those without an offset are in `zone`."""
    parsed = [_parse(chunk) for chunk in column.chunks] or [_parse(pa.array([], pa.string()))]
    written, wrong, local = (np.concatenate(parts) for parts in zip(*parsed, strict=True))
    utc = written.copy()
    repeated, skipped = np.zeros(len(utc), bool), np.zeros(len(utc), bool)
    to_place = local & ~wrong
    if to_place.any():
        placed = wall_to_utc(written[to_place], zone)
        utc[to_place] = placed.utc
        repeated[to_place], skipped[to_place] = placed.repeated, placed.skipped
    short = pc.less_equal(pc.binary_length(column), DATE_ONLY).to_numpy() & ~wrong
    return Times(utc, written, wrong, local, short, repeated, skipped)


def _parse(texts: pa.Array) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(microseconds, wrong, without offset) of one chunk: all alike first, then entry by entry."""
    for kind, local in ((pa.timestamp("us", "UTC"), False), (pa.timestamp("us"), True)):
        try:
            micros = pc.cast(pc.cast(texts, kind), pa.int64()).to_numpy()
        except pa.ArrowInvalid:
            continue
        return micros, np.zeros(len(micros), bool), np.full(len(micros), local)
    return _parse_one_by_one(texts)


def _parse_one_by_one(texts: pa.Array) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    texts = pc.replace_substring(pc.utf8_trim_whitespace(texts), ",", ".")
    local = ~pc.match_substring_regex(texts, WITH_OFFSET).to_numpy(zero_copy_only=False)
    usable = pc.if_else(pc.match_substring_regex(texts, ISO_8601), texts, None).to_pandas()
    micros = np.zeros(len(texts), np.int64)
    wrong = np.zeros(len(texts), bool)
    for some in (local, ~local):
        parsed = pd.to_datetime(usable[some], format="ISO8601", errors="coerce", utc=True)
        wrong[some] = parsed.isna().to_numpy()
        micros[some] = parsed.dt.as_unit("us").astype("int64").to_numpy()
    return micros, wrong, local
