"""Finished pieces that a phone put into stock: each id once, a change each, undoable like all."""

from dataclasses import dataclass

import sqlalchemy as sa

from analysis.store import stock
from analysis.store.bench import shift_of
from analysis.store.bench_tables import put_away

IN_ONE_QUERY = 500


@dataclass(frozen=True)
class PutAway:
    """Pieces of one variant put away; `id` is the phone's, `at` microseconds by its clock."""

    id: str
    at: int
    product: str
    variant: str
    batch: str
    pieces: int


@dataclass(frozen=True)
class StockDelivery:
    """What one request brought; times in microseconds since 1970, UTC, of the two clocks."""

    phone: str
    sent_at: int
    received_at: int
    entries: tuple[PutAway, ...]
    device_id: str = ""
    device_name: str = ""


def record(connection: sa.Connection, one: StockDelivery) -> None:
    """Note the put-aways of a delivery that have not been here."""
    known = _known(connection, [entry.id for entry in one.entries])
    for entry in one.entries:
        if entry.id in known:
            continue
        known.add(entry.id)
        note = f"batch {entry.batch}" if entry.batch else ""
        at = entry.at + shift_of(one.received_at - one.sent_at)
        change_id = stock.add(connection, one.received_at, "put_away", entry.product,
                              entry.variant, entry.pieces, at, note)  # fmt: skip
        connection.execute(sa.insert(put_away), {
            "put_away_id": entry.id, "change_id": change_id, "phone": one.phone,
            "device_id": one.device_id, "received_at": one.received_at, "batch": entry.batch,
        })  # fmt: skip


def _known(connection: sa.Connection, ids: list[str]) -> set[str]:
    column = put_away.c.put_away_id
    known: set[str] = set()
    for at in range(0, len(ids), IN_ONE_QUERY):
        query = sa.select(column).where(column.in_(ids[at : at + IN_ONE_QUERY]))
        known.update(connection.scalars(query))
    return known
