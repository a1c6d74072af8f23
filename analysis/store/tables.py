"""The tables of the store.

Nothing is overwritten. A change introduces rows (`change_id`) and ends rows (`ended_by`); a row
whose `ended_by` is empty is the one that counts now. Undoing a change is itself a change: it ends
what the first introduced and introduces copies of what the first ended, which say in `restores`
which revision they bring back. Worked out from the rest, and kept in step within the same
transaction, are only `day_total`, and the `started_at` of laps that were written without an offset:
these keep in `clock_at` what the clock showed, and stand where the shop's zone puts it.

Times are int64 microseconds since 1970, UTC.
"""

import sqlalchemy as sa

from analysis.records.laps import CATEGORIES, COUNTS

metadata = sa.MetaData()

TEXTS = (*CATEGORIES, "note")
CONTENT = ("lap_id", "started_at", "seconds", *TEXTS, *COUNTS, "rating")
TOTALS_BY = ("day", "product", "variant", "operation", "worker", "activity")
TOTALS = ("laps", "units", "rework_units", "scrap_units", "micros")


def _revision() -> tuple[sa.Column, ...]:
    """Which change introduced a row, which one ended it, and which earlier row it brings back."""
    return (
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id"), nullable=False),
        sa.Column("ended_by", sa.Integer, sa.ForeignKey("change.id")),
        sa.Column("restores", sa.Integer),
    )


def root(rows: sa.FromClause) -> sa.ColumnElement[int]:
    """The first row with the same content: what tells revisions of a thing apart."""
    return sa.func.coalesce(rows.c.restores, rows.c.id)


change = sa.Table(
    "change",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("at", sa.BigInteger, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("undoes", sa.Integer, sa.ForeignKey("change.id")),
)

lap = sa.Table(
    "lap",
    metadata,
    *_revision(),
    sa.Column("lap_id", sa.Text, nullable=False),
    sa.Column("started_at", sa.BigInteger, nullable=False),
    sa.Column("seconds", sa.Double, nullable=False),
    *(sa.Column(name, sa.Text, nullable=False) for name in TEXTS),
    *(sa.Column(name, sa.Integer, nullable=False) for name in COUNTS),
    sa.Column("rating", sa.Double, nullable=False),
    sa.Column("clock_at", sa.BigInteger),
)

document = sa.Table(
    "document",
    metadata,
    *_revision(),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
)

stock_event = sa.Table(
    "stock_event",
    metadata,
    *_revision(),
    sa.Column("at", sa.BigInteger, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("product", sa.Text, nullable=False),
    sa.Column("variant", sa.Text, nullable=False),
    sa.Column("units", sa.Integer, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
)

day_total = sa.Table(
    "day_total",
    metadata,
    sa.Column("day", sa.Integer, primary_key=True),  # days since 1970 in the shop's zone
    *(sa.Column(name, sa.Text, primary_key=True) for name in TOTALS_BY[1:]),
    *(sa.Column(name, sa.BigInteger, nullable=False) for name in TOTALS),
)

# What a screen remembers over a restart, by name. No figure hangs on it: it is no change, and its
# older texts are not kept.
remembered = sa.Table(
    "remembered",
    metadata,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("text", sa.Text, nullable=False),
)

REVISION = ("id", "change_id", "ended_by", "restores")
REVISED = (lap, document, stock_event)
COUNTS_NOW = {table.name: table.c.ended_by.is_(None) for table in REVISED}

CURRENT_LAP = sa.Index(
    "current_lap",
    lap.c.lap_id,
    unique=True,
    sqlite_where=COUNTS_NOW["lap"],
    postgresql_where=COUNTS_NOW["lap"],
)
LAP_BY_START = sa.Index(
    "lap_by_start",
    lap.c.started_at,
    sqlite_where=COUNTS_NOW["lap"],
    postgresql_where=COUNTS_NOW["lap"],
)
LAP_BY_WORK = sa.Index(
    "lap_by_work",
    lap.c.product,
    lap.c.operation,
    lap.c.started_at,
    sqlite_where=COUNTS_NOW["lap"],
    postgresql_where=COUNTS_NOW["lap"],
)
LAP_BY_CHANGE = sa.Index("lap_by_change", lap.c.change_id)
ENDED_LAP = sa.Index(
    "ended_lap", lap.c.lap_id, sqlite_where=~COUNTS_NOW["lap"], postgresql_where=~COUNTS_NOW["lap"]
)
LAP_BY_END = sa.Index(
    "lap_by_end",
    lap.c.ended_by,
    sqlite_where=~COUNTS_NOW["lap"],
    postgresql_where=~COUNTS_NOW["lap"],
)
CURRENT_DOCUMENT = sa.Index(
    "current_document",
    document.c.name,
    unique=True,
    sqlite_where=COUNTS_NOW["document"],
    postgresql_where=COUNTS_NOW["document"],
)
