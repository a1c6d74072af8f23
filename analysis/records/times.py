"""Columns of ISO 8601 text to instants, with or without an offset, and which entries are none."""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.numbers import fill
from analysis.records.zones import DAY, wall_to_utc

ISO_8601 = (
    r"^[0-9]{4}-?[0-9]{2}-?[0-9]{2}([T ][0-9]{2}(:?[0-9]{2}(:?[0-9]{2}([.,][0-9]{1,9})?)?)?"
    r" ?(Z|[+-][0-9]{2}(:?[0-9]{2})?)?)?$"
)
WITH_OFFSET = r"[T ][0-9:.,]+ ?(Z|[+-][0-9]{2}(:?[0-9]{2})?)$"
ENDS_WITH_OFFSET = re.compile(WITH_OFFSET)
PARSED = np.dtype([("micros", np.int64), ("wrong", bool), ("local", bool)])
EARLIEST, LATEST = (np.datetime64(day, "us").astype(np.int64) for day in ("1900", "2200"))
DATE_ONLY = 10  # characters of 2026-03-02; 8 without hyphens


@dataclass(frozen=True)
class Times:
    """Instants of a column as microseconds of UTC, and what had to be assumed.

    `as_written` is the same without the shop's zone: UTC where an offset was given, the wall clock
    where not. `wrong` marks entries that are no time; their instants mean nothing. `far`: before
    EARLIEST or from LATEST on, where zones are not looked up.
    """

    utc: np.ndarray
    as_written: np.ndarray
    wrong: np.ndarray
    far: np.ndarray
    without_offset: np.ndarray
    date_only: np.ndarray
    repeated: np.ndarray
    skipped: np.ndarray


def parse_times(column: pa.ChunkedArray, zone: str) -> Times:
    """Instants of ISO 8601 texts; those without an offset are in `zone`."""
    parsed = np.empty(len(column), PARSED)
    fill(parsed, column, _all_alike, _one_by_one)
    written, wrong, local = (np.ascontiguousarray(parsed[name]) for name in PARSED.names)
    utc = written.copy()
    repeated, skipped = np.zeros(len(utc), bool), np.zeros(len(utc), bool)
    to_place = local & ~wrong & (written >= EARLIEST - DAY) & (written < LATEST + DAY)
    if to_place.any():
        placed = wall_to_utc(written[to_place], zone)
        utc[to_place] = placed.utc
        repeated[to_place], skipped[to_place] = placed.repeated, placed.skipped
    short = pc.less_equal(pc.binary_length(column), DATE_ONLY).to_numpy() & ~wrong
    far = ~wrong & ((utc < EARLIEST) | (utc >= LATEST))
    return Times(utc, written, wrong, far, local, short, repeated, skipped)


def _all_alike(texts: pa.Array) -> np.ndarray:
    """PARSED of texts that all have an offset, or all have none; else raises ArrowInvalid."""
    local = not (len(texts) and ENDS_WITH_OFFSET.search(texts[0].as_py()))
    moments = pc.cast(texts, pa.timestamp("us") if local else pa.timestamp("us", "UTC"))
    parsed = np.zeros(len(texts), PARSED)
    parsed["micros"] = pc.cast(moments, pa.int64()).to_numpy()
    parsed["local"] = local
    return parsed


def _one_by_one(texts: pa.Array) -> np.ndarray:
    texts = pc.replace_substring(pc.utf8_trim_whitespace(texts), ",", ".")
    local = ~pc.match_substring_regex(texts, WITH_OFFSET).to_numpy(zero_copy_only=False)
    usable = pc.if_else(pc.match_substring_regex(texts, ISO_8601), texts, None).to_pandas()
    parsed = np.zeros(len(texts), PARSED)
    parsed["local"] = local
    for some in (local, ~local):
        moments = pd.to_datetime(usable[some], format="ISO8601", errors="coerce", utc=True)
        parsed["wrong"][some] = moments.isna()
        parsed["micros"][some] = moments.dt.as_unit("us").astype("int64").to_numpy()
    return parsed
