"""A whole store into another place, as from a file to a server, with proof that nothing is lost."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa

from analysis.problems import StoreProblem
from analysis.store import bench_tables  # noqa: F401 (its tables stand in the same metadata)
from analysis.store.connection import reading, writing
from analysis.store.laps import CHUNK, Progress, insert_rows, no_progress
from analysis.store.store import Store
from analysis.store.tables import metadata


@dataclass(frozen=True)
class TableCopied:
    """How many rows of one table were read and are now in the other store, and their checksum."""

    table: str
    rows: int
    checksum: str


class Checksum:
    """A checksum of rows in any order: the sum of each row's SHA-256, modulo 2^256.

    In any order, since two databases sort texts differently. Guards against faults, not fraud.
    """

    def __init__(self) -> None:
        self.rows, self._sum = 0, 0

    def add(self, rows: Iterable[tuple]) -> None:
        """Take in more rows."""
        for row in rows:
            digest = hashlib.sha256(repr(tuple(row)).encode("utf-8", "surrogatepass")).digest()
            self._sum = (self._sum + int.from_bytes(digest)) % 2**256
            self.rows += 1

    def __str__(self) -> str:
        return f"{self._sum:064x}"[:16]


def copy_store(source: Store, target: Store, progress: Progress = no_progress) -> list[TableCopied]:
    """Copy every row of every table, revisions and log of changes included, into an empty store.

    One transaction: what is read back from the target is compared with what was read from the
    source, table by table, before anything is kept. Raises StoreProblem where the target is not
    empty or a checksum differs; the target is then as it was, the source always.
    """
    with reading(source.engine) as old, writing(target.engine) as new:
        _refuse_unless_empty(new, target)
        total = sum(_count(old, table) for table in metadata.sorted_tables)
        copied, done = [], 0
        for table in metadata.sorted_tables:
            read = Checksum()
            for rows in _chunks(old, table):
                read.add(rows)
                insert_rows(new, table, table.c.keys(), rows)
                progress(done + read.rows, total)
            done += read.rows
            copied.append(_proved(new, table, read, target))
            _continue_numbers(new, table)
    return copied


def _refuse_unless_empty(connection: sa.Connection, target: Store) -> None:
    for table in metadata.sorted_tables:
        if _count(connection, table):
            raise StoreProblem(
                f"The store {target.place} is not empty: nothing was copied. Name a new place."
            )


def _count(connection: sa.Connection, table: sa.Table) -> int:
    return connection.scalars(sa.select(sa.func.count()).select_from(table)).one()


def _chunks(connection: sa.Connection, table: sa.Table) -> Iterable[list[tuple]]:
    result = connection.execute(sa.select(table), execution_options={"yield_per": CHUNK})
    for rows in result.partitions():
        yield list(map(tuple, rows))


def _proved(
    connection: sa.Connection, table: sa.Table, read: Checksum, target: Store
) -> TableCopied:
    written = Checksum()
    for rows in _chunks(connection, table):
        written.add(rows)
    if (written.rows, str(written)) != (read.rows, str(read)):
        raise StoreProblem(
            f"{target.place} gave back other rows of {table.name} than it was given ({read.rows} "
            f"rows {read}, then {written.rows} rows {written}); nothing was kept there."
        )
    return TableCopied(table.name, read.rows, str(read))


def _continue_numbers(connection: sa.Connection, table: sa.Table) -> None:
    """Let PostgreSQL number the next row after the copied ones, as SQLite does by itself."""
    number = table.autoincrement_column
    if connection.dialect.name != "postgresql" or number is None:
        return
    highest = connection.scalar(sa.select(sa.func.max(number)))
    if highest is not None:
        sequence = sa.func.pg_get_serial_sequence(table.name, number.name)
        connection.execute(sa.select(sa.func.setval(sequence, highest)))
