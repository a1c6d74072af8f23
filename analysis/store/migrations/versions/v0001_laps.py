"""Version 1: laps and documents with their revisions, and the log of changes."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "change",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("undoes", sa.Integer, sa.ForeignKey("change.id")),
    )
    texts = ("product", "operation", "worker", "variant", "batch", "activity", "cause",
             "cause_operation", "note")  # fmt: skip
    op.create_table(
        "lap",
        *_revision(),
        sa.Column("lap_id", sa.Text, nullable=False),
        sa.Column("started_at", sa.BigInteger, nullable=False),
        sa.Column("seconds", sa.Double, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in texts),
        sa.Column("units", sa.Integer, nullable=False),
        sa.Column("rework_units", sa.Integer, nullable=False),
        sa.Column("scrap_units", sa.Integer, nullable=False),
        sa.Column("rating", sa.Double, nullable=False),
    )
    op.create_table(
        "document",
        *_revision(),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("text", sa.Text, nullable=False),
    )
    _index("current_lap", "lap", "lap_id", "ended_by IS NULL", unique=True)
    _index("lap_by_start", "lap", "started_at", "ended_by IS NULL")
    _index("ended_lap", "lap", "lap_id", "ended_by IS NOT NULL")
    _index("lap_by_end", "lap", "ended_by", "ended_by IS NOT NULL")
    _index("current_document", "document", "name", "ended_by IS NULL", unique=True)
    op.create_index("lap_by_change", "lap", ["change_id"])


def _revision() -> tuple[sa.Column, ...]:
    return (
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id"), nullable=False),
        sa.Column("ended_by", sa.Integer, sa.ForeignKey("change.id")),
        sa.Column("restores", sa.Integer),
    )


def _index(name: str, table: str, column: str, where: str, unique: bool = False) -> None:
    op.create_index(
        name,
        table,
        [column],
        unique=unique,
        sqlite_where=sa.text(where),
        postgresql_where=sa.text(where),
    )
