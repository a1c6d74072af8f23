"""The shop and the routing in the store, as the texts they are written in, with revisions."""

import pandas as pd
import sqlalchemy as sa

from analysis.records.figures import counted
from analysis.records.routing import read_routing
from analysis.records.shop import Shop, read_shop
from analysis.store import changes, clocks, tables, totals

_document = tables.document.c


def text(connection: sa.Connection, name: str) -> str:
    """The text of a document as it is now, blank where there is none."""
    query = sa.select(_document.text).where(_document.name == name, _document.ended_by.is_(None))
    return connection.scalar(query) or ""


def shop(connection: sa.Connection) -> Shop:
    """The shop as it is now; all defaults where none was saved."""
    return read_shop(text(connection, "shop").encode(), "the stored shop")


def zones(connection: sa.Connection) -> set[str]:
    """Every zone the shop has had, the one of a shop never saved among them."""
    written = connection.scalars(sa.select(_document.text).where(_document.name == "shop"))
    return {Shop.timezone, *map(totals.zone_in, written)}


def routing(connection: sa.Connection) -> pd.DataFrame | None:
    """The routing as it is now, None where none was saved."""
    written = text(connection, "routing")
    return read_routing(written.encode(), "the stored routing") if written else None


def save(connection: sa.Connection, now: int, name: str, new: str, what: str) -> int | None:
    """Keep a new text of a document; the change's number, None where nothing differs.

    Where the shop's zone changes, laps written without an offset move along, as `what` then says.
    """
    if new == text(connection, name):
        return None
    zone = totals.zone(connection)
    new_zone = totals.zone_in(new) if name == "shop" else zone
    if new_zone != zone and (moved := clocks.moved_by(connection)):
        what += f" ({counted(moved, 'lap')} without an offset moved to {new_zone})"
    change_id = changes.record(connection, now, "settings", what)
    now_kept = sa.update(tables.document).where(_document.name == name,
                                                _document.ended_by.is_(None))  # fmt: skip
    connection.execute(now_kept.values(ended_by=change_id))
    row = {"change_id": change_id, "name": name, "text": new}
    connection.execute(sa.insert(tables.document), row)
    if new_zone != zone:
        clocks.zone_changed(connection)
    return change_id


def remembered(connection: sa.Connection, name: str) -> str:
    """What was remembered under a name last, blank where nothing was."""
    kept = tables.remembered.c
    return connection.scalar(sa.select(kept.text).where(kept.name == name)) or ""


def remember(connection: sa.Connection, name: str, new: str) -> None:
    """Remember a text under a name, in the place of what was there."""
    kept = tables.remembered
    connection.execute(sa.delete(kept).where(kept.c.name == name))
    connection.execute(sa.insert(kept), {"name": name, "text": new})


def check_shop(written: str) -> None:
    """BadInput where the text is no shop."""
    read_shop(written.encode(), "the shop")


def check_routing(written: str) -> None:
    """BadInput where the text is no routing."""
    read_routing(written.encode(), "the routing")
