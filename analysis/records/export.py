"""Laps out to CSV, so that reading the file back gives the same laps."""

from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.laps import CATEGORIES, COLUMNS, COUNTS
from analysis.records.shop import Shop
from analysis.records.table import write_table
from analysis.records.text import guarded_column
from analysis.records.zones import utc_to_wall

MARKS = "marks"  # a column of its own, which reading keeps in the note, as any it does not know
MINUTE = 60_000_000  # microseconds


def write_laps(
    frame: pd.DataFrame,
    target: str | Path | BinaryIO,
    shop: Shop | None = None,
    marks: Sequence[str] = (),
) -> None:
    """Write a checked laps frame as CSV in the contract's columns, times with the shop's offset.

    Numbers are written with the digits that bring the same float back, and text that a spreadsheet
    would run as a formula behind an apostrophe. `marks`: what else is known of each lap; the column
    MARKS is only there where something is.
    """
    columns = as_texts(frame, (shop or Shop()).timezone)
    texts = ["lap_id", *CATEGORIES, "note"]
    if any(marks):
        columns[MARKS] = pa.array(marks, pa.string())
        texts.append(MARKS)
    for name in texts:
        columns[name] = guarded_column(columns[name])
    write_table(columns, target)


def as_texts(frame: pd.DataFrame, zone: str) -> dict[str, pa.Array]:
    """Each column of a checked laps frame as text by the contract, times with the zone's offset."""
    texts = {}
    for name in COLUMNS[1:]:
        column = frame[name]
        if name == "started_at":
            texts[name] = _times(column.astype("int64").to_numpy(), zone)
        elif name in ("seconds", "rating"):
            texts[name] = _numbers(column.to_numpy())
        elif name in COUNTS:
            texts[name] = pc.cast(pa.array(column.to_numpy()), pa.string())
        else:
            texts[name] = pa.array(column.astype(object).to_numpy(), pa.string())
    return texts


def _numbers(values: np.ndarray) -> pa.Array:
    """Each float with the fewest digits that bring it back; whole ones without a point."""
    different, places = np.unique(values, return_inverse=True)
    texts = [repr(float(value)).removesuffix(".0") for value in different]
    return pa.array(texts, pa.string()).take(pa.array(places))


def _times(utc: np.ndarray, zone: str) -> pa.Array:
    """ISO 8601 with offset, and with microseconds only where there are some.

    An offset has whole minutes; those of long ago that have seconds too are rounded.
    """
    minutes = np.rint((utc_to_wall(utc, zone) - utc) / MINUTE).astype(np.int64)
    wall = utc + minutes * MINUTE
    texts = np.datetime_as_string(wall.view("M8[us]"), unit="us").astype(object)
    texts = pc.replace_substring_regex(pa.array(texts, pa.string()), r"\.000000$", "")
    offsets, places = np.unique(minutes, return_inverse=True)
    named = pa.array([_offset(int(offset)) for offset in offsets], pa.string())
    return pc.binary_join_element_wise(texts, named.take(pa.array(places)), "")


def _offset(minutes: int) -> str:
    sign, minutes = "-" if minutes < 0 else "+", abs(minutes)
    return f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"
