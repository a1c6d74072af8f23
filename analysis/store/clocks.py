"""What hangs on the shop's zone: where laps written without an offset stand, and the day totals."""

import numpy as np
import sqlalchemy as sa

from analysis.records.zones import wall_to_utc
from analysis.store import tables, totals
from analysis.store.quick import Quick

_lap = tables.lap.c
_LOCAL = Quick(sa.select(_lap.id, _lap.clock_at, _lap.started_at).where(_lap.clock_at.is_not(None)))
_MOVE = Quick(
    sa.update(tables.lap)
    .where(_lap.id == sa.bindparam("row_id"))
    .values(started_at=sa.bindparam("moved_to"))
)


def zone_changed(connection: sa.Connection) -> None:
    """Put every revision that was written without an offset where the zone has it now, and work
    the day totals out anew.
    """
    cursor, dialect = connection.connection.cursor(), connection.dialect
    rows = np.array(_LOCAL.run(cursor, dialect, {}).fetchall(), np.int64).reshape(-1, 3)
    places = wall_to_utc(rows[:, 1], totals.zone(connection)).utc
    moves = np.flatnonzero(places != rows[:, 2])
    pairs = zip(rows[moves, 0].tolist(), places[moves].tolist(), strict=True)
    moved = [{"row_id": row_id, "moved_to": place} for row_id, place in pairs]
    _MOVE.run_many(cursor, dialect, moved)
    totals.rebuild(connection)


def moved_by(connection: sa.Connection) -> int:
    """How many of the laps that count were written without an offset, and move with the zone."""
    counting = sa.select(sa.func.count()).where(_lap.clock_at.is_not(None), _lap.ended_by.is_(None))
    return connection.scalars(counting).one()
