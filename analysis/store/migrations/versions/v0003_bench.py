"""Version 3: what phones delivered, the devices that may come in, and codes to pair them."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_table(
        "bench_delivery",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("lap_id", sa.Text, nullable=False),
        sa.Column("revision", sa.Integer, nullable=False),
        sa.Column("removed", sa.Boolean, nullable=False),
        sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id")),
        sa.Column("phone", sa.Text, nullable=False),
        sa.Column("device_id", sa.Text, nullable=False),
        sa.Column("sent_at", sa.BigInteger, nullable=False),
        sa.Column("received_at", sa.BigInteger, nullable=False),
        sa.Column("started_as_sent", sa.BigInteger),
        sa.Column("shift", sa.BigInteger, nullable=False),
        sa.Column("flags", sa.Text, nullable=False),
        sa.UniqueConstraint("lap_id", "revision", name="one_delivery"),
    )
    op.create_table(
        "bench_device",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("token_hash", sa.Text, nullable=False),
        sa.Column("paired_at", sa.BigInteger, nullable=False),
        sa.Column("seen_at", sa.BigInteger, nullable=False),
        sa.Column("revoked_at", sa.BigInteger),
    )
    op.create_table(
        "bench_pairing_code",
        sa.Column("code_hash", sa.Text, primary_key=True),
        sa.Column("ends_at", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "bench_put_away",
        sa.Column("put_away_id", sa.Text, primary_key=True),
        sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id"), nullable=False),
        sa.Column("phone", sa.Text, nullable=False),
        sa.Column("device_id", sa.Text, nullable=False),
        sa.Column("received_at", sa.BigInteger, nullable=False),
        sa.Column("batch", sa.Text, nullable=False),
    )
