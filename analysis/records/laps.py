"""Laps: the contract of one timed interval at the bench, and reading a file of them."""

import csv
import hashlib
from dataclasses import dataclass
from io import StringIO

import pandas as pd

from analysis.problems import BadInput, Fault
from analysis.records.shop import Shop
from analysis.records.source import Source, read_source

ACTIVITIES = ("operation", "setup", "inspection", "rework", "transport", "delay")
CATEGORIES = ("product", "operation", "worker", "variant", "batch", "activity", "cause",
              "cause_operation")
COUNTS = ("units", "rework_units", "scrap_units")
COLUMNS = ("row", "lap_id", "started_at", "seconds", *CATEGORIES, "note", *COUNTS, "rating")
NEEDED = ("started_at", "seconds", "product", "operation")
DEFAULTS = {"worker": "maker", "activity": "operation", "units": "1", "rework_units": "0",
            "scrap_units": "0", "rating": "100"}


@dataclass(frozen=True)
class LapsFile:
    """The checked laps of one file, and what the reader noticed about it."""

    name: str
    frame: pd.DataFrame
    notices: tuple[str, ...] = ()


def read_laps(source: Source, shop: Shop | None = None, name: str = "") -> LapsFile:
    """The checked laps of a CSV file; BadInput names every fault."""
    shop = shop or Shop()
    text = read_source(source, name)
    rows = list(csv.DictReader(StringIO(text.text)))
    raw = pd.DataFrame(rows, dtype=str)
    missing = [column for column in NEEDED if column not in raw]
    if missing:
        raise BadInput([Fault(text.name, 1, column, "is missing") for column in missing])
    frame = pd.DataFrame({"row": range(2, len(raw) + 2)})
    for column in COLUMNS[1:]:
        given = raw[column].str.strip() if column in raw else pd.Series("", index=raw.index)
        frame[column] = given.where(given != "", DEFAULTS.get(column, ""))
    try:
        times = pd.to_datetime(frame.started_at, format="ISO8601")
        if times.dt.tz is None:
            times = times.dt.tz_localize(shop.timezone, ambiguous=True, nonexistent="shift_forward")
        frame["started_at"] = times.dt.tz_convert("UTC").dt.as_unit("us")
        frame["seconds"] = frame.seconds.astype(float)
        frame["rating"] = frame.rating.astype(float)
        for column in COUNTS:
            frame[column] = frame[column].astype("int64")
    except ValueError as error:
        raise BadInput([Fault(text.name, 0, "", str(error))]) from None
    content = frame.drop(columns=["row", "lap_id"]).astype(str).agg("|".join, axis=1)
    derived = content.map(lambda text: hashlib.sha256(text.encode()).hexdigest()[:32])
    frame["lap_id"] = frame.lap_id.where(frame.lap_id != "", derived)
    for column in CATEGORIES:
        frame[column] = frame[column].astype("category")
    return LapsFile(text.name, frame)
