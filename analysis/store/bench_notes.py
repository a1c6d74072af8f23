"""What is worth knowing about laps that came from phones: clocks put right, and flags."""

import pandas as pd
import sqlalchemy as sa

from analysis.store import tables
from analysis.store.bench_tables import delivery, device
from analysis.store.connection import reading

COLUMNS = (
    "lap_id", "started_at", "product", "operation", "device", "received_at", "revision",
    "clock_difference_seconds", "clock_corrected", "flags",
)  # fmt: skip


def notes(engine: sa.Engine, limit: int = 50) -> pd.DataFrame:
    """The latest laps that count and carry a flag, or whose phone's clock was put right: COLUMNS.

    clock_difference_seconds: how far the phone was behind when it sent the revision shown, its
    newest; times as datetime64[us, UTC]; flags one a line.
    """
    lap, sent = tables.lap.c, delivery.c
    later = delivery.alias("later")
    newer = sa.exists().where(later.c.lap_id == sent.lap_id, later.c.revision > sent.revision)
    query = (
        sa.select(
            sent.lap_id, lap.started_at, lap.product, lap.operation,
            sa.func.coalesce(device.c.name, ""), sent.received_at, sent.revision,
            (sent.received_at - sent.sent_at), sent.shift != 0, sent.flags,
        )
        .join_from(delivery, tables.lap, sa.and_(lap.lap_id == sent.lap_id,
                                                 tables.COUNTS_NOW["lap"]))
        .outerjoin(device, device.c.id == sent.device_id)
        .where(sa.or_(sent.shift != 0, sent.flags != ""), ~newer)
        .order_by(sent.id.desc())
        .limit(limit)
    )  # fmt: skip
    with reading(engine) as connection:
        frame = pd.DataFrame(connection.execute(query).all(), columns=COLUMNS)
    for column in ("started_at", "received_at"):
        frame[column] = pd.to_datetime(frame[column].astype("int64"), unit="us", utc=True)
    frame["clock_difference_seconds"] = frame.clock_difference_seconds.astype("float64") / 1e6
    return frame.astype({"clock_corrected": "bool", "revision": "int64"})
