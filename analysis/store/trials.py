"""Which laps belong to a trial of two ways of working, as the phones marked them."""

import pandas as pd
import sqlalchemy as sa

from analysis.store import tables
from analysis.store.bench_tables import delivery
from analysis.store.connection import reading

MARK = "trial:"


def trial_ways(engine: sa.Engine) -> pd.DataFrame:
    """lap_id, way ("A" or "B") of the laps that count and carry a mark, by their newest revision
    from a phone; a correction on the dashboard leaves the mark as it is."""
    sent, later = delivery.c, delivery.alias("later")
    newer = sa.exists().where(later.c.lap_id == sent.lap_id, later.c.revision > sent.revision)
    counts = sa.exists().where(tables.lap.c.lap_id == sent.lap_id, tables.COUNTS_NOW["lap"])
    query = sa.select(sent.lap_id, sent.flags).where(sent.flags.contains(MARK), counts, ~newer)
    with reading(engine) as connection:
        rows = connection.execute(query.order_by(sent.id)).all()
    marks = [
        (lap_id, flag.removeprefix(MARK))
        for lap_id, flags in rows
        for flag in flags.splitlines()
        if flag.startswith(MARK)
    ]
    return pd.DataFrame(marks, columns=["lap_id", "way"]).drop_duplicates("lap_id", keep="last")
