"""One lap at a time, as the bench sends them: durable when the call returns, and quick.

The same tables and rules as an import. The statements are compiled once and handed to the
database's driver as they are, since building them anew would take longer than the disk does.
"""

from contextlib import closing
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from analysis.problems import BadInput, Fault
from analysis.store import tables, totals
from analysis.store.connection import plain_errors
from analysis.store.quick import Quick

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_lap, _change, _document = tables.lap.c, tables.change.c, tables.document.c


def _revisions_of_one() -> sa.CompoundSelect:
    """Content, ended_by and the kind of the change that ended it, of each revision of a lap.

    Those that count and those that ended are asked for apart, so that each has its own index.
    """
    columns = [*(_lap[name] for name in tables.CONTENT), _lap.ended_by, _change.kind]
    halves = (
        sa.select(*columns, _lap.id.label("revision"))
        .outerjoin(tables.change, _change.id == _lap.ended_by)
        .where(_lap.lap_id == sa.bindparam("lap_id"), half)
        for half in (_lap.ended_by.is_(None), _lap.ended_by.is_not(None))
    )
    return sa.union_all(*halves).order_by("revision")


_REVISIONS_OF_ONE = Quick(_revisions_of_one())
_SHOP = Quick(sa.select(_document.text).where(
    _document.name == sa.literal_column("'shop'"), _document.ended_by.is_(None)
))  # fmt: skip
_INSERT_CHANGE = Quick(sa.insert(tables.change).returning(_change.id), ("at", "kind", "what"))
_INSERT_LAP = Quick(sa.insert(tables.lap).inline(), ("change_id", *tables.CONTENT))
_ADD_TOTAL = Quick(totals.ADD)


def add(engine: sa.Engine, lap: dict, now: int) -> int | None:
    """Take in a lap, a row of a checked frame as a dict; the change's number.

    None where it is there already or was removed by hand; BadInput where its id is there with
    other content.
    """
    content = {name: lap[name] for name in tables.CONTENT}
    content["started_at"] = (lap["started_at"] - _EPOCH) // timedelta(microseconds=1)
    with plain_errors(engine), closing(engine.raw_connection()) as connection:
        cursor = connection.cursor()
        if engine.dialect.name == "sqlite":
            cursor.execute("BEGIN IMMEDIATE")
        change_id = _add(cursor, engine.dialect, content, now)
        connection.commit()
    return change_id


def _add(cursor: Any, dialect: sa.Dialect, content: dict, now: int) -> int | None:
    known = _REVISIONS_OF_ONE.run(cursor, dialect, {"lap_id": content["lap_id"]})
    if _is_there(known.fetchall(), content):
        return None
    what = f"{content['activity']} {content['operation']}".strip()
    change = {"at": now, "kind": "lap", "what": what}
    change_id = _INSERT_CHANGE.run(cursor, dialect, change).fetchone()[0]
    _INSERT_LAP.run(cursor, dialect, content | {"change_id": change_id})
    shop = _SHOP.run(cursor, dialect, {}).fetchone()
    zone = totals.zone_in(shop[0] if shop else "")
    _ADD_TOTAL.run(cursor, dialect, _total(content, zone))
    return change_id


def _is_there(known: list[tuple], content: dict) -> bool:
    """Whether a lap is there already or was removed by hand, judged by its revisions."""
    if not known:
        return False
    removed = known[-1][-2] == "removal"
    held = removed or any(row[-3] is None for row in known)
    if held and tuple(content.values()) not in [tuple(row[:-3]) for row in known]:
        raise BadInput([Fault("lap", 0, "lap_id", "is in the store with other content",
                              content["lap_id"], "give the lap an id of its own")])  # fmt: skip
    return held


def _total(content: dict, zone: str) -> dict:
    """What one lap adds to its day; the same sums as `totals` makes of a frame."""
    moment = _EPOCH + timedelta(microseconds=content["started_at"])
    local = moment.astimezone(ZoneInfo(zone))
    counts = {name: content[name] for name in tables.TOTALS[1:4]}
    keys = {name: content[name] for name in tables.TOTALS_BY[1:]}
    day = {"day": local.toordinal() - _EPOCH.toordinal(), "laps": 1}
    return day | keys | counts | {"micros": round(content["seconds"] * 1e6)}
