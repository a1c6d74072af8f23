"""Version 4: batches that phones numbered, with their quantities."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.create_table(
        "bench_batch",
        sa.Column("batch_id", sa.Text, primary_key=True),
        sa.Column("product", sa.Text, nullable=False),
        sa.Column("batch", sa.Text, nullable=False),
        sa.Column("quantities", sa.Text, nullable=False),
        sa.Column("is_open", sa.Boolean, nullable=False),
        sa.Column("at", sa.BigInteger, nullable=False),
        sa.Column("received_at", sa.BigInteger, nullable=False),
    )
