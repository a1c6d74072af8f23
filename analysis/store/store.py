"""The store: opened once, asked for laps, told of changes."""

import os
import time
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import sqlalchemy as sa

from analysis.records.laps import CATEGORIES, COLUMNS, COUNTS, LapsFile
from analysis.store import tables


@dataclass(frozen=True)
class ImportReport:
    """What an import did: laps new, and laps that were already there."""

    new: int
    already_there: int


def default_url() -> str:
    """WORKSHOP_STORE, or a file in the user's data folder."""
    import platformdirs

    folder = platformdirs.user_data_path("workshop-study")
    return os.environ.get("WORKSHOP_STORE") or f"sqlite:///{folder / 'workshop.sqlite'}"


def open_store(url: str | None = None) -> "Store":
    """Open the store at a URL (or a plain file path), made where it is missing."""
    url = url or default_url()
    if "://" not in url:
        url = f"sqlite:///{url}"
    database = sa.make_url(url).database
    if database:
        Path(database).parent.mkdir(parents=True, exist_ok=True)
    engine = sa.create_engine(url)
    tables.metadata.create_all(engine)
    return Store(engine)


class Store:
    """All that is kept: laps with their revisions, and the log of changes."""

    def __init__(self, engine: sa.Engine):
        self.engine = engine

    def version(self) -> int:
        """A number that grows with every change."""
        with self.engine.connect() as connection:
            return connection.scalar(sa.select(sa.func.max(tables.change.c.id))) or 0

    def import_laps(self, file: LapsFile) -> ImportReport:
        """Take the laps of a file that are not there yet, all in one transaction."""
        frame = file.frame
        with self.engine.begin() as connection:
            kept = set(connection.scalars(sa.select(tables.lap.c.lap_id)))
            new = frame[~frame.lap_id.isin(kept)].drop(columns="row")
            if len(new):
                now = time.time_ns() // 1000
                change_id = connection.execute(sa.insert(tables.change).values(
                    at=now, kind="import", what=file.name)).inserted_primary_key[0]
                new = new.assign(started_at=new.started_at.astype("int64"), change_id=change_id)
                connection.execute(sa.insert(tables.lap), new.to_dict("records"))
        return ImportReport(len(new), len(frame) - len(new))

    def laps(self) -> pd.DataFrame:
        """The laps that count now, as the checked laps frame, by start."""
        columns = [tables.lap.c[name] for name in COLUMNS[1:]]
        query = sa.select(*columns).where(tables.lap.c.ended_by.is_(None)).order_by(
            tables.lap.c.started_at, tables.lap.c.id)
        with self.engine.connect() as connection:
            rows = connection.execute(query).all()
        frame = pd.DataFrame(rows, columns=COLUMNS[1:])
        frame.insert(0, "row", range(2, len(frame) + 2))
        frame["started_at"] = pd.to_datetime(frame.started_at.astype("int64"), unit="us", utc=True)
        frame["started_at"] = frame.started_at.dt.as_unit("us")
        for column in ("lap_id", "note"):
            frame[column] = frame[column].astype("str")
        for column in CATEGORIES:
            frame[column] = frame[column].astype("str").astype("category")
        numbers = {name: "int64" for name in COUNTS} | {"seconds": "float64", "rating": "float64"}
        return frame.astype(numbers)
