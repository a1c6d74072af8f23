"""The store: opened once, asked for laps, told of changes.

store = open_store()
report = store.import_laps(read_laps("laps.csv", store.shop()))
frame = store.laps()
store.undo(report.change_id)
"""

import time
from collections.abc import Callable
from datetime import date, datetime
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import pandas as pd
import sqlalchemy as sa

from analysis.records.export import write_laps
from analysis.records.laps import LapsFile
from analysis.records.routing import write_routing
from analysis.records.shop import Shop, shop_toml
from analysis.store import changes, documents, laps, stock, totals
from analysis.store.connection import no_store, open_engine, place, reading, writing
from analysis.store.laps import ImportReport, Progress, no_progress
from analysis.store.schema import bring_up_to_date, version_of


def _clock() -> int:
    return time.time_ns() // 1000


def open_store(
    url: str | None = None, clock: Callable[[], int] = _clock, create: bool = True
) -> "Store":
    """Open the store at a URL or file path, by default WORKSHOP_STORE or the user's data folder.

    Made where it is missing, or NotFound raised without `create`; migrated where it is older.
    `clock` gives microseconds of UTC since 1970. Raises StoreProblem.
    """
    engine = open_engine(url, create)
    if not create and version_of(engine) is None:
        engine.dispose()
        raise no_store(place(engine))
    bring_up_to_date(engine)
    return Store(engine, clock)


class Store:
    """All that is kept: laps and their revisions, shop, routing, stock book, log of changes.

    Every method is one transaction; methods that change something return the number of the change,
    by which it can be undone, and None where there was nothing to change.
    """

    def __init__(self, engine: sa.Engine, clock: Callable[[], int] = _clock):
        self.engine, self.clock = engine, clock

    @property
    def place(self) -> str:
        """Where the store is, for people."""
        return place(self.engine)

    def close(self) -> None:
        """Let go of the file."""
        self.engine.dispose()

    @property
    def url(self) -> str:
        """The address of the store, the same for every handle on it."""
        return self.engine.url.render_as_string()

    def lap_count(self) -> int:
        """How many laps count now, from the kept totals."""
        with reading(self.engine) as connection:
            return totals.lap_count(connection)

    def names(self, column: str) -> list[str]:
        """The products, variants, operations, workers or activities on record, in order."""
        with reading(self.engine) as connection:
            return totals.names(connection, column)

    def version(self) -> int:
        """A number that grows with every change: what was worked out at it still holds at it."""
        with reading(self.engine) as connection:
            return changes.latest(connection)

    # --- laps ---

    def import_laps(
        self, file: LapsFile, progress: Progress = no_progress, kind: str = "import"
    ) -> ImportReport:
        """Take in the laps of a file that are not there yet, all or none; see `laps.take_in`."""
        with writing(self.engine) as connection:
            return laps.take_in(connection, self.clock(), file, kind, progress)

    def laps(self) -> pd.DataFrame:
        """The laps that count, as the checked laps frame, by start."""
        with reading(self.engine) as connection:
            return laps.read_out(connection)

    def page(
        self, offset: int = 0, limit: int = 50, filters: dict | None = None
    ) -> tuple[pd.DataFrame, int]:
        """Some laps, newest first, and how many there are under these filters; see `laps.page`."""
        with reading(self.engine) as connection:
            return laps.page(connection, offset, limit, filters)

    def history(self, lap_id: str) -> pd.DataFrame:
        """Every revision of a lap, oldest first; see `laps.history`. Raises NotFound."""
        with reading(self.engine) as connection:
            return laps.history(connection, lap_id)

    def correct_lap(self, lap_id: str, values: dict[str, str]) -> int | None:
        """Put a corrected revision in a lap's place; `values` are texts by column. Raises NotFound
        and BadInput; see `laps.correct`."""
        with writing(self.engine) as connection:
            shop = documents.shop(connection)
            return laps.correct(connection, self.clock(), lap_id, values, shop)

    def correct_laps(self, lap_ids: list[str], values: dict[str, str]) -> int | None:
        """Give several laps the same batch, variant, worker …, as one change; see
        `laps.correct_many`."""
        if not lap_ids or not values:
            return None
        with writing(self.engine) as connection:
            shop = documents.shop(connection)
            return laps.correct_many(connection, self.clock(), lap_ids, values, shop)

    def rename(self, column: str, name: str, to: str) -> int | None:
        """Give every lap that has a name another one, as one change; see `laps.rename`."""
        with writing(self.engine) as connection:
            shop = documents.shop(connection)
            return laps.rename(connection, self.clock(), column, name, to, shop)

    def remove_laps(self, lap_ids: list[str]) -> int | None:
        """Let laps count no more; they stay in the history. Raises NotFound for an unknown one."""
        with writing(self.engine) as connection:
            return laps.remove(connection, self.clock(), lap_ids) if lap_ids else None

    def export_laps(self, target: str | Path | BinaryIO) -> int:
        """Write the laps that count as CSV, the phones' marks with them; how many."""
        with reading(self.engine) as connection:
            frame, shop = laps.read_out(connection), documents.shop(connection)
            marks = laps.marks(connection, frame.lap_id)
        write_laps(frame, target, shop, marks)
        return len(frame)

    # --- totals ---

    def week_figures(self, monday: date) -> pd.DataFrame:
        """A week's totals by product, variant, operation, worker and activity: laps, units,
        rework_units, scrap_units, seconds. The week begins on `monday` in the shop's zone.
        """
        first = (monday - date(1970, 1, 1)).days
        with reading(self.engine) as connection:
            return totals.figures(connection, first, first + 6)

    def weeks(self) -> pd.DataFrame:
        """The same for every week that has laps, with `week_start`."""
        with reading(self.engine) as connection:
            return totals.by_week(connection)

    # --- changes ---

    def changes(self, limit: int = 50) -> pd.DataFrame:
        """The latest changes, newest first: change_id, at, kind, what, undoes, undone."""
        with reading(self.engine) as connection:
            return changes.recent(connection, limit)

    def undo(self, change_id: int) -> int:
        """Take a change back, or an undo, which brings the change again; see `changes.undo`."""
        with writing(self.engine) as connection:
            return changes.undo(connection, self.clock(), change_id)

    # --- shop and routing ---

    def shop(self) -> Shop:
        """The shop as saved; all defaults where none was."""
        with reading(self.engine) as connection:
            return documents.shop(connection)

    def save_shop(self, shop: Shop | str, what: str = "shop") -> int | None:
        """Keep a shop, or its TOML text, which is checked first (BadInput).

        With a new zone, laps written without an offset move there, in the same change.
        """
        text = shop if isinstance(shop, str) else shop_toml(shop)
        documents.check_shop(text)
        with writing(self.engine) as connection:
            return documents.save(connection, self.clock(), "shop", text, what)

    def routing(self) -> pd.DataFrame | None:
        """The routing as saved, None where none was."""
        with reading(self.engine) as connection:
            return documents.routing(connection)

    def save_routing(self, routing: pd.DataFrame | str, what: str = "routing") -> int | None:
        """Keep a routing frame, or its CSV text, which is checked first (BadInput)."""
        if not isinstance(routing, str):
            written = BytesIO()
            write_routing(routing, written)
            routing = written.getvalue().decode()
        documents.check_routing(routing)
        with writing(self.engine) as connection:
            return documents.save(connection, self.clock(), "routing", routing, what)

    # --- what screens remember ---

    def remembered(self, name: str) -> str:
        """What a screen had remembered under a name, blank where nothing was."""
        with reading(self.engine) as connection:
            return documents.remembered(connection, name)

    def remember(self, name: str, text: str) -> None:
        """Remember a text over a restart. No change: nothing that is worked out hangs on it."""
        with writing(self.engine) as connection:
            documents.remember(connection, name, text)

    # --- stock ---

    def add_stock_event(
        self, kind: str, product: str, units: int, variant: str = "", at: datetime | None = None,
        note: str = "",
    ) -> int:  # fmt: skip
        """Note a `count`, `sale` or `put_away` of `units` pieces, the number of the change; `at`
        timezone-aware, now where not given. Raises BadInput."""
        now = self.clock()
        moment = now if at is None else pd.Timestamp(at).value // 1000
        with writing(self.engine) as connection:
            return stock.add(connection, now, kind, product, variant, units, moment, note)

    def stock_events(self) -> pd.DataFrame:
        """The events that count, by time: change_id, at, kind, product, variant, units, note."""
        with reading(self.engine) as connection:
            return stock.events(connection)
