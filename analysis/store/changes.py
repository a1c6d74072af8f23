"""The log of changes, and taking a change back."""

from collections.abc import Iterable

import pandas as pd
import sqlalchemy as sa

from analysis.problems import NotFound, StoreProblem
from analysis.store import clocks, tables, totals


def record(
    connection: sa.Connection, now: int, kind: str, what: str, undoes: int | None = None
) -> int:
    """Note a change (`now` in microseconds of UTC) and return its number."""
    values = {"at": now, "kind": kind, "what": what, "undoes": undoes}
    key = connection.execute(sa.insert(tables.change), values).inserted_primary_key
    assert key is not None  # one row was put in
    return key[0]


def latest(connection: sa.Connection) -> int:
    """The number of the latest change, 0 where there is none."""
    return connection.scalar(sa.select(sa.func.max(tables.change.c.id))) or 0


def recent(connection: sa.Connection, limit: int) -> pd.DataFrame:
    """The latest changes, newest first: change_id, at, kind, what, undoes, undone."""
    change = tables.change.c
    columns = (change.id, change.at, change.kind, change.what, change.undoes)
    rows = connection.execute(sa.select(*columns).order_by(change.id.desc()).limit(limit)).all()
    frame = pd.DataFrame(rows, columns=["change_id", "at", "kind", "what", "undoes"])
    frame["at"] = pd.to_datetime(frame["at"].astype("int64"), unit="us", utc=True)
    frame["undoes"] = frame.undoes.astype("Int64")
    frame["undone"] = frame.change_id.isin(_undone(connection))
    return frame


def _undone(connection: sa.Connection) -> set[int]:
    """Changes that are undone: by an undo that is not itself undone."""
    change = tables.change.c
    undos = sa.select(change.id, change.undoes).where(change.undoes.is_not(None))
    undone: set[int] = set()
    for undo_id, change_id in connection.execute(undos.order_by(change.id.desc())):
        if undo_id not in undone:
            undone.add(change_id)
    return undone


def undo(connection: sa.Connection, now: int, change_id: int) -> int:
    """Take a change back: every thing it touched goes from the revision it came to, to the one it
    came from.

    The undo is a change too, so undoing it brings the first one back. Raises NotFound for a number
    that is no change, StoreProblem where a thing is at another revision by now.
    """
    change = tables.change.c
    found = connection.execute(sa.select(tables.change).where(change.id == change_id)).first()
    if found is None:
        raise NotFound(f"There is no change {change_id}; the latest is {latest(connection)}.")
    _refuse_if_touched_since(connection, change_id)
    undo_id = record(connection, now, *_named(connection, found), change_id)
    zone = totals.zone(connection)
    for table in tables.REVISED:
        _swap(connection, table, change_id, undo_id)
    if totals.zone(connection) != zone:
        clocks.zone_changed(connection)
    return undo_id


def _named(connection: sa.Connection, found: sa.Row) -> tuple[str, str]:
    """The kind and words of an undo; undoing an undo is the first change over again."""
    if found.kind != "undo":
        return "undo", f"undone: {found.what}"
    change = tables.change.c
    first = sa.select(change.kind, change.what).where(change.id == found.undoes)
    kind, what = connection.execute(first).one()
    return kind, what


def _swap(connection: sa.Connection, table: sa.Table, change_id: int, undo_id: int) -> None:
    """End what counts now of the things the change introduced; copy back what it ended."""
    introduced, now = table.alias("introduced"), table.alias("now")
    ending = sa.select(now.c.id).where(
        introduced.c.change_id == change_id, now.c.ended_by.is_(None), _same(introduced, now)
    )
    connection.execute(sa.update(table).where(table.c.id.in_(ending)).values(ended_by=undo_id))
    copied = [table.c[name] for name in table.c.keys() if name not in tables.REVISION]  # noqa: SIM118
    connection.execute(sa.insert(table).from_select(
        ["change_id", "restores", *(column.name for column in copied)],
        sa.select(sa.literal(undo_id), tables.root(table), *copied)
        .where(table.c.ended_by == change_id).order_by(table.c.id),
    ))  # fmt: skip
    if table is tables.lap:
        totals.add(connection, table.c.ended_by == undo_id, -1)
        totals.add(connection, table.c.change_id == undo_id, 1)


def _same(one: sa.FromClause, other: sa.FromClause) -> sa.ColumnElement[bool]:
    """Whether two rows are revisions of the same thing."""
    for name in ("lap_id", "name"):
        if name in one.c:
            return one.c[name] == other.c[name]
    return tables.root(one) == tables.root(other)


def _refuse_if_touched_since(connection: sa.Connection, change_id: int) -> None:
    later: set[int] = set()
    for table in tables.REVISED:
        later.update(connection.scalars(_left_behind(table, change_id)))
        later.update(connection.scalars(_come_since(table, change_id)))
    if later:
        raise StoreProblem(_touched(connection, change_id, later))


def _left_behind(table: sa.Table, change_id: int) -> sa.Select:
    """Changes that ended what this change introduced, where it has not come back since."""
    introduced, now = table.alias("introduced"), table.alias("now")
    still = sa.exists().where(
        now.c.ended_by.is_(None), _same(introduced, now),
        tables.root(now) == tables.root(introduced),
    )  # fmt: skip
    return sa.select(introduced.c.ended_by).where(introduced.c.change_id == change_id, ~still)


def _come_since(table: sa.Table, change_id: int) -> sa.Select:
    """Changes that brought in something in the place of what this change ended for good."""
    ended, own, now = table.alias("ended"), table.alias("own"), table.alias("now")
    replaced = sa.exists().where(own.c.change_id == change_id, _same(ended, own))
    return sa.select(now.c.change_id).where(
        ended.c.ended_by == change_id, now.c.ended_by.is_(None), _same(ended, now), ~replaced
    )


def _touched(connection: sa.Connection, change_id: int, later: Iterable[int]) -> str:
    change = tables.change.c
    rows = connection.execute(
        sa.select(change.id, change.what, change.undoes)
        .where(change.id.in_(sorted(later)[-3:])).order_by(change.id.desc())
    ).all()  # fmt: skip
    if any(row.undoes == change_id for row in rows):
        return f"Change {change_id} is undone already."
    named = "; ".join(f"{row.id} ({row.what})" for row in rows)
    return (
        f"Change {change_id} cannot be undone, since a later change touched the same: "
        f"{named}. Undo the later one first."
    )
