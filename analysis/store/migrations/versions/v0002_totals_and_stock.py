"""Version 2: day totals, filled from the laps that are there, and the stock book."""

import sqlalchemy as sa
from alembic import op

from analysis.store import totals

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "stock_event",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id"), nullable=False),
        sa.Column("ended_by", sa.Integer, sa.ForeignKey("change.id")),
        sa.Column("restores", sa.Integer),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("product", sa.Text, nullable=False),
        sa.Column("variant", sa.Text, nullable=False),
        sa.Column("units", sa.Integer, nullable=False),
        sa.Column("note", sa.Text, nullable=False),
    )
    op.create_table(
        "day_total",
        sa.Column("day", sa.Integer, primary_key=True),
        *(sa.Column(name, sa.Text, primary_key=True)
          for name in ("product", "variant", "operation", "worker", "activity")),
        *(sa.Column(name, sa.BigInteger, nullable=False)
          for name in ("laps", "units", "rework_units", "scrap_units", "micros")),
    )  # fmt: skip
    totals.rebuild(op.get_bind())
