"""A store with as many made-up laps as a group of shops has, filled by SQLite itself.

Forty hands, each at work 100 laps a day, a batch of 25 pieces at a time, its operations in their
order; ten million laps are ten years of them. Times get shorter with the pieces a hand has made
(an 85 % curve above a plateau), with a noise of one fifth. Filled so and not by imports,
which take several times as long for the same rows.
"""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

from analysis.store import tables
from analysis.store.store import Store, open_store
from tests.benchmarks.million import OPERATIONS

HANDS, LAPS_A_DAY, PIECES = 40, 100, 25
FIRST_DAY = 16_804  # 2016-01-04, a Monday, in days since 1970
CHANGE = "INSERT INTO change (id, at, kind, what) VALUES (1, 0, 'import', 'made up by SQLite')"
STEP = "CREATE TEMP TABLE step (place INTEGER PRIMARY KEY, operation TEXT)"
STEPS = "INSERT INTO step SELECT key, value FROM json_each(?)"
LAPS = f"""
WITH RECURSIVE
  number(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM number WHERE n < :laps - 1),
  hand(n, hand, day, turn, nth) AS (
    SELECT n, n % {HANDS}, n / {HANDS * LAPS_A_DAY}, n / {HANDS} % {LAPS_A_DAY}, n / {HANDS}
    FROM number),
  task(n, hand, batch, place, product, piece, starts, chance, noise) AS (
    SELECT n, hand, nth / :batch_laps, nth % :batch_laps / {PIECES},
      (hand + nth / :batch_laps) % 2,
      nth / :batch_laps / 2 * {PIECES} + nth % {PIECES} + 1,
      ({FIRST_DAY} + day * 7 / 5) * 86400 + 8 * 3600 + turn * 280 + hand,
      n * 2654435761 % 4294967296 / 65536 % 480,
      (n * 2246822519 % 4294967296 + n * 3266489917 % 4294967296) / 4294967296.0 - 1.0
    FROM hand)
INSERT INTO lap (change_id, lap_id, started_at, seconds, product, operation, worker, variant, batch,
    activity, cause, cause_operation, note, units, rework_units, scrap_units, rating)
SELECT 1, printf('made-%08d', n), starts * 1000000,
  round((40 + 15 * place + 60 * product) * (1 + pow(piece, -0.234)) * exp(0.49 * noise), 1),
  iif(product, 'desk journal', 'pocket notebook'), operation, 'hand ' || (hand + 1),
  iif(batch / 2 % 2, 'marbled', 'linen'), (hand + 1) || '-' || batch,
  iif(chance < 24, 'delay', 'operation'), '', '', '', 1, chance % 30 = 29, chance % 80 = 78, 100
FROM task CROSS JOIN step USING (place)
"""
TOTALS = f"""
INSERT INTO day_total ({", ".join((*tables.TOTALS_BY, *tables.TOTALS))})
SELECT started_at / 86400000000 AS day, {", ".join(tables.TOTALS_BY[1:])}, count(*), sum(units),
  sum(rework_units), sum(scrap_units), sum(CAST(round(seconds * 1000000) AS INTEGER))
FROM lap NOT INDEXED GROUP BY {", ".join(tables.TOTALS_BY)}
"""


def filled(file: Path, laps: int) -> Store:
    """A new store in this file with so many laps, all of one change."""
    store = open_store(str(file))
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")  # a power cut only costs another filling
        connection.execute(STEP)
        connection.execute(STEPS, [json.dumps(OPERATIONS)])
        connection.execute("BEGIN")
        connection.execute(CHANGE)
        indexes = _without_indexes(connection)
        connection.execute(LAPS, {"laps": laps, "batch_laps": PIECES * len(OPERATIONS)})
        connection.execute(TOTALS)
        for index in indexes:
            connection.execute(index)
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert store.lap_count() == laps
    return store


def _without_indexes(connection: sqlite3.Connection) -> list[str]:
    """Take the indexes of the laps away, which grow far quicker over all rows at once; the
    statements that make them again."""
    query = "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND tbl_name = 'lap'"
    found = connection.execute(query).fetchall()
    for name, _ in found:
        connection.execute(f"DROP INDEX {name}")
    return [statement for _, statement in found]
