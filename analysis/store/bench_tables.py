"""The tables behind the bench page: what phones delivered, and which devices may come in."""

import sqlalchemy as sa

from analysis.store.tables import metadata

# One row for each revision of a lap that a phone delivered. `change_id` is the change it made,
# empty where it changed nothing (an older revision that came late, a lap already imported).
delivery = sa.Table(
    "bench_delivery",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("lap_id", sa.Text, nullable=False),
    sa.Column("revision", sa.Integer, nullable=False),
    sa.Column("removed", sa.Boolean, nullable=False),
    sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id")),
    sa.Column("phone", sa.Text, nullable=False),  # the id the page gave itself
    sa.Column("device_id", sa.Text, nullable=False),  # the paired device, "" for this computer
    sa.Column("sent_at", sa.BigInteger, nullable=False),  # by the phone's clock
    sa.Column("received_at", sa.BigInteger, nullable=False),  # by the server's
    sa.Column("started_as_sent", sa.BigInteger),  # empty where the lap was removed
    sa.Column("shift", sa.BigInteger, nullable=False),  # microseconds added to it, 0 if none
    sa.Column("flags", sa.Text, nullable=False),  # one a line
    sa.UniqueConstraint("lap_id", "revision", name="one_delivery"),
)

device = sa.Table(
    "bench_device",
    metadata,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("token_hash", sa.Text, nullable=False),
    sa.Column("paired_at", sa.BigInteger, nullable=False),
    sa.Column("seen_at", sa.BigInteger, nullable=False),
    sa.Column("revoked_at", sa.BigInteger),
)

pairing_code = sa.Table(
    "bench_pairing_code",
    metadata,
    sa.Column("code_hash", sa.Text, primary_key=True),
    sa.Column("ends_at", sa.BigInteger, nullable=False),
)

# One row for each entry of finished pieces put into stock from a phone.
put_away = sa.Table(
    "bench_put_away",
    metadata,
    sa.Column("put_away_id", sa.Text, primary_key=True),
    sa.Column("change_id", sa.Integer, sa.ForeignKey("change.id"), nullable=False),
    sa.Column("phone", sa.Text, nullable=False),
    sa.Column("device_id", sa.Text, nullable=False),
    sa.Column("received_at", sa.BigInteger, nullable=False),
    sa.Column("batch", sa.Text, nullable=False),
)

# Batches that phones numbered, with the quantity of each variant as JSON; the laps say the rest.
batch = sa.Table(
    "bench_batch",
    metadata,
    sa.Column("batch_id", sa.Text, primary_key=True),
    sa.Column("product", sa.Text, nullable=False),
    sa.Column("batch", sa.Text, nullable=False),
    sa.Column("quantities", sa.Text, nullable=False),
    sa.Column("is_open", sa.Boolean, nullable=False),
    sa.Column("at", sa.BigInteger, nullable=False),
    sa.Column("received_at", sa.BigInteger, nullable=False),
)
