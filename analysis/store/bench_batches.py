"""Batches that phones numbered: how many pieces of each variant, and whether they are open."""

import json
from dataclasses import dataclass

import sqlalchemy as sa

from analysis.store.bench import Delivery
from analysis.store.bench_tables import batch

YEAR_MICROS = 366 * 86_400_000_000


@dataclass(frozen=True)
class PhoneBatch:
    """A batch as a phone last had it; `id` is the phone's, `at` microseconds by its clock."""

    id: str
    at: int
    product: str
    batch: str
    quantities: dict[str, int]
    is_open: bool


def record(connection: sa.Connection, deliveries: list[Delivery]) -> None:
    """Keep these batches as they are now; what is older than what is kept changes nothing."""
    for one in deliveries:
        for entry in one.entries:
            _record(connection, one, entry)


def _record(connection: sa.Connection, one: Delivery, entry: PhoneBatch) -> None:
    at = entry.at + one.shift
    row = {"product": entry.product, "batch": entry.batch, "is_open": entry.is_open, "at": at,
           "quantities": json.dumps(entry.quantities), "received_at": one.received_at}  # fmt: skip
    same = batch.c.batch_id == entry.id
    kept = connection.execute(sa.select(batch.c.at).where(same)).first()
    if kept is None:
        connection.execute(sa.insert(batch), row | {"batch_id": entry.id})
    elif kept.at <= at:
        connection.execute(sa.update(batch).where(same).values(row))


def latest(connection: sa.Connection) -> dict[tuple[str, str], PhoneBatch]:
    """The batches by (product, number); where two phones gave a number twice, the later one."""
    rows = connection.execute(sa.select(batch).order_by(batch.c.at, batch.c.received_at))
    return {
        (row.product, row.batch): PhoneBatch(row.batch_id, row.at, row.product, row.batch,
                                             json.loads(row.quantities), row.is_open)
        for row in rows
    }  # fmt: skip


def stamp(connection: sa.Connection) -> int:
    """A number that changes whenever a batch was received, also where one that came before it is
    written after it."""
    # The latest alone would not tell; the sum of whole times would not fit into 64 bits.
    of_the_year = batch.c.received_at % YEAR_MICROS
    return int(connection.scalar(sa.select(sa.func.sum(of_the_year))) or 0)
