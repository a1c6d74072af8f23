"""Version 2: day totals, filled from the laps that are there, and the stock book.

The totals are worked out here, not by the program's own code, which may come to do it otherwise.
"""

import tomllib
from collections.abc import Sequence

import numpy as np
import pandas as pd
import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

BY = ("day", "product", "variant", "operation", "worker", "activity")
SUMS = ("laps", "units", "rework_units", "scrap_units", "micros")
LAP = ("started_at", "seconds", *BY[1:], *SUMS[1:4])
LAPS = f"SELECT {', '.join(LAP)} FROM lap WHERE ended_by IS NULL"
SHOP = "SELECT text FROM document WHERE name = 'shop' AND ended_by IS NULL"


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
    day_total = op.create_table(
        "day_total",
        sa.Column("day", sa.Integer, primary_key=True),
        *(sa.Column(name, sa.Text, primary_key=True) for name in BY[1:]),
        *(sa.Column(name, sa.BigInteger, nullable=False) for name in SUMS),
    )
    laps = op.get_bind().execute(sa.text(LAPS)).all()
    if laps:
        op.bulk_insert(day_total, _day_totals(laps, _zone()))


def _zone() -> str:
    shop = tomllib.loads(op.get_bind().scalar(sa.text(SHOP)) or "")
    return shop.get("shop", {}).get("timezone", "UTC")


def _day_totals(laps: Sequence[sa.Row], zone: str) -> list[dict]:
    """Rows of day_total: days since 1970 in the shop's zone, seconds as whole microseconds."""
    frame = pd.DataFrame(laps, columns=LAP)
    clock = pd.to_datetime(frame.started_at, unit="us", utc=True).dt.tz_convert(zone)
    frame["day"] = clock.dt.tz_localize(None).dt.floor("D").astype("M8[s]").astype("int64") // 86400
    frame["laps"] = 1
    frame["micros"] = np.rint(frame.seconds * 1e6).astype("int64")
    return frame.groupby(list(BY))[list(SUMS)].sum().reset_index().to_dict("records")
