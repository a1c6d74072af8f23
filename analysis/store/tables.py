"""The tables of the store.

Nothing is overwritten. A change introduces rows (`change_id`) and ends rows (`ended_by`); a row
whose `ended_by` is empty is the one that counts now. Undoing a change is itself a change, which
ends what the first introduced and introduces again what the first ended.
"""

import sqlalchemy as sa

metadata = sa.MetaData()


def _spans() -> tuple[sa.Column, sa.Column]:
    """The two columns that say which change introduced a row and which one ended it."""
    return (
        sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id"), nullable=False),
        sa.Column("ended_by", sa.Integer, sa.ForeignKey("change.id")),
    )


change = sa.Table(
    "change",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("at", sa.BigInteger, nullable=False),  # microseconds since 1970, UTC
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("what", sa.Text, nullable=False),
    sa.Column("undoes", sa.Integer, sa.ForeignKey("change.id")),
)

lap = sa.Table(
    "lap",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    *_spans(),
    sa.Column("lap_id", sa.Text, nullable=False),
    sa.Column("started_at", sa.BigInteger, nullable=False),  # microseconds since 1970, UTC
    sa.Column("seconds", sa.Double, nullable=False),
    *(sa.Column(name, sa.Text, nullable=False) for name in (
        "product", "operation", "worker", "variant", "batch", "activity", "cause",
        "cause_operation", "note")),
    *(sa.Column(name, sa.Integer, nullable=False) for name in (
        "units", "rework_units", "scrap_units")),
    sa.Column("rating", sa.Double, nullable=False),
)

document = sa.Table(
    "document",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    *_spans(),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
)
