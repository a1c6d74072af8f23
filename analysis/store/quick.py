"""Statements run without ceremony: compiled once, then handed to the driver's own cursor.

SQLAlchemy's execution costs some 40 microseconds a statement, which for single laps is more than
the disk asks for. Rows are dicts by parameter name, results plain tuples.
"""

from collections.abc import Callable, Iterable
from operator import itemgetter
from typing import Any, TypeAlias

import sqlalchemy as sa
from sqlalchemy.sql.compiler import SQLCompiler

Cursor: TypeAlias = Any  # the driver's own: no type holds for both databases' drivers
_Arrange = Callable[[dict], tuple | dict]  # a row of parameters as the driver takes it


class Quick:
    """One statement with named parameters."""

    def __init__(self, statement: sa.ClauseElement, names: Iterable[str] | None = None):
        """`names`: the columns an INSERT is given values for."""
        self.statement = statement
        self.names = list(names) if names is not None else None
        self._compiled: dict[str, tuple[str, _Arrange]] = {}

    def run(self, cursor: Cursor, dialect: sa.Dialect, row: dict) -> Cursor:
        """Execute with one row of parameters; the cursor, to fetch from."""
        text, arranged = self._for(dialect)
        cursor.execute(text, arranged(row))
        return cursor

    def run_many(self, cursor: Cursor, dialect: sa.Dialect, rows: list[dict]) -> None:
        """Execute with each of these rows."""
        text, arranged = self._for(dialect)
        if len(rows) == 1:
            cursor.execute(text, arranged(rows[0]))
        elif rows:
            cursor.executemany(text, [arranged(row) for row in rows])

    def _for(self, dialect: sa.Dialect) -> tuple[str, _Arrange]:
        """The text for a database, and what arranges a row as its driver takes it."""
        if dialect.name not in self._compiled:
            compiled = self.statement.compile(dialect=dialect, column_keys=self.names)
            assert isinstance(compiled, SQLCompiler)  # as that of any query is
            self._compiled[dialect.name] = (str(compiled), _arranger(compiled.positiontup))
        return self._compiled[dialect.name]


def _arranger(names: list[str] | None) -> _Arrange:
    """Dict to the tuple of its entries in the driver's order; dicts stay where it takes names."""
    if names is None:
        return dict
    if len(names) < 2:
        return lambda row: tuple(row[name] for name in names)
    return itemgetter(*names)
