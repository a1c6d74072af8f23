"""Finished pieces that a phone put into stock: each id once, a change each, undoable like all."""

from dataclasses import dataclass

import sqlalchemy as sa

from analysis.store import stock
from analysis.store.bench import Delivery
from analysis.store.bench_tables import put_away


@dataclass(frozen=True)
class PutAway:
    """Pieces of one variant put away; `id` is the phone's, `at` microseconds by its clock."""

    id: str
    at: int
    product: str
    variant: str
    batch: str
    pieces: int


def record(connection: sa.Connection, deliveries: list[Delivery]) -> None:
    """Note the put-aways of these deliveries that have not been here, within a transaction."""
    for one in deliveries:
        for entry in one.entries:
            seen = sa.select(put_away.c.put_away_id).where(put_away.c.put_away_id == entry.id)
            if connection.scalar(seen) is None:
                _record(connection, one, entry)


def _record(connection: sa.Connection, one: Delivery, entry: PutAway) -> None:
    note = f"batch {entry.batch}" if entry.batch else ""
    change_id = stock.add(connection, one.received_at, "put_away", entry.product, entry.variant,
                          entry.pieces, entry.at + one.shift, note)  # fmt: skip
    connection.execute(sa.insert(put_away), {
        "put_away_id": entry.id, "change_id": change_id, "phone": one.phone,
        "device_id": one.device_id, "received_at": one.received_at, "batch": entry.batch,
    })  # fmt: skip
