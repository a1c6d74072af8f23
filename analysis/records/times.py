"""Columns of ISO 8601 text to instants, with or without an offset, and which entries are none.

Days written with dots, 2.3.2026, are read too: that way of writing has the day first wherever it
is used. With strokes, 2/3/2026, it may be either, so such an entry is no time.
"""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.in_parts import in_parts
from analysis.records.zones import DAY, wall_to_utc

ISO_8601 = (
    r"^[0-9]{4}-?[0-9]{2}-?[0-9]{2}([T ][0-9]{2}(:?[0-9]{2}(:?[0-9]{2}([.,][0-9]{1,9})?)?)?"
    r" ?(Z|[+-][0-9]{2}(:?[0-9]{2})?)?)?$"
)
WITH_OFFSET = r"[T ][0-9:.,]+ ?(Z|[+-][0-9]{2}(:?[0-9]{2})?)$"
ENDS_WITH_OFFSET = re.compile(WITH_OFFSET)
DAY_FIRST = r"^([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})"
AS_ISO_8601 = (  # what a spreadsheet writes where days come first: 2.3.2026, 9:15
    (r"^([0-9])\.", r"0\1."),
    (r"^([0-9]{2})\.([0-9])\.", r"\1.0\2."),
    (r"^([0-9]{2})\.([0-9]{2})\.([0-9]{4})\.?( |$)", r"\3-\2-\1\4"),
    (r"^([0-9-]{10}) ([0-9]:)", r"\1 0\2"),
)
# microseconds, wrong, local, day first
Parsed = tuple[np.ndarray, np.ndarray | bool, np.ndarray | bool, np.ndarray | bool]
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
    day_first: np.ndarray
    repeated: np.ndarray
    skipped: np.ndarray


def parse_times(column: pa.ChunkedArray, zone: str) -> Times:
    """Instants of ISO 8601 texts; those without an offset are in `zone`."""
    written = np.empty(len(column), np.int64)
    wrong, local, day_first = (np.empty(len(column), bool) for _ in range(3))
    for where, some in in_parts(column, _all_alike, _one_by_one):
        written[where], wrong[where], local[where], day_first[where] = some
    utc, repeated, skipped = _placed(written, local & ~wrong, zone)
    short = pc.less_equal(pc.binary_length(column), DATE_ONLY).to_numpy() & ~wrong
    far = ~wrong & ((utc < EARLIEST) | (utc >= LATEST))
    return Times(utc, written, wrong, far, local, short, day_first, repeated, skipped)


def _placed(
    written: np.ndarray, local: np.ndarray, zone: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """UTC of what is written, which hours came twice, and which never; `local` is in the zone."""
    repeated, skipped = np.zeros(len(written), bool), np.zeros(len(written), bool)
    if not local.any():
        return written, repeated, skipped
    utc = written.copy()
    to_place = local & (written >= EARLIEST - DAY) & (written < LATEST + DAY)
    placed = wall_to_utc(written[to_place], zone)
    utc[to_place] = placed.utc
    repeated[to_place], skipped[to_place] = placed.repeated, placed.skipped
    return utc, repeated, skipped


def _all_alike(texts: pa.Array) -> Parsed:
    """Of texts that all have an offset, or all have none; else raises ArrowInvalid."""
    local = not (len(texts) and ENDS_WITH_OFFSET.search(texts[0].as_py()))
    moments = pc.cast(texts, pa.timestamp("us") if local else pa.timestamp("us", "UTC"))
    return pc.cast(moments, pa.int64()).to_numpy(), False, local, False


def _one_by_one(texts: pa.Array) -> Parsed:
    texts = pc.replace_substring(pc.utf8_trim_whitespace(texts), ",", ".")
    day_first = pc.match_substring_regex(texts, DAY_FIRST).to_numpy(zero_copy_only=False)
    if day_first.any():
        for pattern, iso in AS_ISO_8601:
            texts = pc.replace_substring_regex(texts, pattern=pattern, replacement=iso)
    local = ~pc.match_substring_regex(texts, WITH_OFFSET).to_numpy(zero_copy_only=False)
    usable = pc.if_else(pc.match_substring_regex(texts, ISO_8601), texts, None).to_pandas()
    micros, wrong = np.empty(len(texts), np.int64), np.empty(len(texts), bool)
    for some in (local, ~local):
        moments = pd.to_datetime(usable[some], format="ISO8601", errors="coerce", utc=True)
        wrong[some] = moments.isna()
        micros[some] = moments.dt.as_unit("us").astype("int64").to_numpy()
    return micros, wrong, local, day_first & ~wrong
