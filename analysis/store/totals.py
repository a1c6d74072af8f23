"""Day totals: what each day, product, variant, operation, worker and activity added up to.

Kept in step with the laps in the same transaction, so that a week's figures need no look at the
laps. Seconds are added up as whole microseconds, so that taking a lap out leaves no remainder.
Days are those of the shop's zone.
"""

from functools import lru_cache

import numpy as np
import pandas as pd
import sqlalchemy as sa

from analysis.records.shop import read_shop
from analysis.records.zones import local_days
from analysis.store import tables
from analysis.store.quick import Quick

TOTALS_BY_WEEK = ("week_start", *tables.TOTALS_BY[1:])
LAP_COLUMNS = ("started_at", "seconds", *tables.TOTALS_BY[1:], *tables.TOTALS[1:4])
ADD = sa.text(
    f"INSERT INTO day_total ({', '.join((*tables.TOTALS_BY, *tables.TOTALS))}) "
    f"VALUES ({', '.join(':' + name for name in (*tables.TOTALS_BY, *tables.TOTALS))}) "
    f"ON CONFLICT ({', '.join(tables.TOTALS_BY)}) DO UPDATE SET "
    + ", ".join(f"{name} = day_total.{name} + excluded.{name}" for name in tables.TOTALS)
)
_SHOP = Quick(
    sa.select(tables.document.c.text).where(
        tables.document.c.name == sa.literal_column("'shop'"), tables.document.c.ended_by.is_(None)
    )
)
LAPS_AT_ONCE = 200_000
STREAMED = {"stream_results": True}  # by a cursor on the server, where there is one
_WEEKS_BEFORE = 10_000  # so that days before 1970 are not rounded the other way


def add(connection: sa.Connection, which: sa.ColumnElement[bool], sign: int = 1) -> None:
    """Add stored laps to the totals (sign 1), or take them out (sign -1)."""
    query = sa.select(*(tables.lap.c[name] for name in LAP_COLUMNS)).where(which)
    # Some at a time: all of a large store as rows would take a kilobyte of memory each.
    for some in connection.execute(query, execution_options=STREAMED).partitions(LAPS_AT_ONCE):
        rows = list(map(tuple, some))  # plain tuples make a frame far quicker
        add_frame(connection, pd.DataFrame(rows, columns=LAP_COLUMNS), sign)


def add_frame(connection: sa.Connection, laps: pd.DataFrame, sign: int = 1) -> None:
    """Add laps to the totals, or take them out; started_at in microseconds of UTC."""
    if laps.empty:
        return
    sums = _sums(laps, zone(connection))
    sums[list(tables.TOTALS)] *= sign
    connection.execute(ADD, sums.to_dict("records"))
    if sign < 0:
        connection.execute(sa.delete(tables.day_total).where(tables.day_total.c.laps == 0))


def rebuild(connection: sa.Connection) -> None:
    """Work the totals out anew from all laps that count; needed when the shop's zone changes."""
    connection.execute(sa.delete(tables.day_total))
    add(connection, tables.COUNTS_NOW["lap"])


def _sums(laps: pd.DataFrame, zone: str) -> pd.DataFrame:
    work = pd.DataFrame({name: laps[name] for name in tables.TOTALS_BY[1:]})
    work.insert(0, "day", local_days(laps.started_at.to_numpy(np.int64), zone))
    work["laps"] = 1
    for name in tables.TOTALS[1:4]:
        work[name] = laps[name].to_numpy()
    work["micros"] = np.rint(laps.seconds.to_numpy(float) * 1e6).astype(np.int64)
    return work.groupby(list(tables.TOTALS_BY), observed=True, sort=False).sum().reset_index()


def zone(connection: sa.Connection) -> str:
    """The shop's zone as the store has it now."""
    found = _SHOP.run(connection.connection.cursor(), connection.dialect, {}).fetchone()
    return zone_in(found[0] if found else "")


@lru_cache(8)
def zone_in(shop: str) -> str:
    """The zone in the text of a shop."""
    return read_shop(shop.encode(), "the stored shop").timezone


def figures(connection: sa.Connection, first: int, last: int) -> pd.DataFrame:
    """Totals of the days from first to last, by product, variant, operation, worker, activity."""
    total = tables.day_total.c
    keys = [total[name] for name in tables.TOTALS_BY[1:]]
    sums = [sa.func.sum(total[name]).label(name) for name in tables.TOTALS]
    query = sa.select(*keys, *sums).where(total.day.between(first, last)).group_by(*keys)
    frame = pd.DataFrame(
        connection.execute(query.order_by(*keys)).all(),
        columns=[*tables.TOTALS_BY[1:], *tables.TOTALS],
    )
    return _in_seconds(frame)


def by_week(connection: sa.Connection) -> pd.DataFrame:
    """The totals of every week there is, with `week_start` the Monday of each."""
    total = tables.day_total.c
    week = (total.day + (3 + 7 * _WEEKS_BEFORE)) // 7  # 1970-01-01 was a Thursday
    keys = [week.label("week"), *(total[name] for name in tables.TOTALS_BY[1:])]
    sums = [sa.func.sum(total[name]).label(name) for name in tables.TOTALS]
    rows = connection.execute(sa.select(*keys, *sums).group_by(*keys).order_by(*keys)).all()
    frame = pd.DataFrame(rows, columns=["week", *TOTALS_BY_WEEK[1:], *tables.TOTALS])
    days = (frame.pop("week").to_numpy(np.int64) - _WEEKS_BEFORE) * 7 - 3
    frame.insert(0, "week_start", days.astype("M8[D]").astype("M8[s]"))
    return _in_seconds(frame)


def _in_seconds(frame: pd.DataFrame) -> pd.DataFrame:
    frame["seconds"] = frame.pop("micros").astype("float64") / 1e6
    kinds = dict.fromkeys(tables.TOTALS[:4], "int64") | dict.fromkeys(tables.TOTALS_BY[1:], "str")
    return frame.astype(kinds)


def lap_count(connection: sa.Connection) -> int:
    """How many laps count now."""
    # PostgreSQL adds whole numbers up to a decimal
    return int(connection.scalar(sa.select(sa.func.sum(tables.day_total.c.laps))) or 0)


def names(connection: sa.Connection, column: str) -> list[str]:
    """The different entries of a column of TOTALS_BY, blank left out, in alphabetical order."""
    entry = tables.day_total.c[column]
    query = sa.select(entry).where(entry != "").distinct().order_by(entry)
    return list(connection.scalars(query))
