"""Stock movements: what was counted, sold or put away, read from CSV.

| column | needed | meaning |
|---|---|---|
| moved_at | yes | ISO 8601; without an offset it is in the shop's time zone |
| kind | yes | one of KINDS: pieces counted on the shelf, sold, or put away on it |
| product | yes | text |
| pieces | yes | whole; at least 1, a count at least 0 |
| variant, note | no | text |
"""

import numpy as np
import pandas as pd

from analysis.records.faults import Faults
from analysis.records.numbers import parse_numbers
from analysis.records.shop import Shop
from analysis.records.source import Source, read_source
from analysis.records.table import Table, read_table
from analysis.records.times import parse_times

COLUMNS = ("row", "moved_at", "kind", "product", "variant", "pieces", "note")
NEEDED = ("moved_at", "kind", "product", "pieces")
KINDS = ("count", "sale", "put_away")
MOST_PIECES = 1_000_000


def read_movements(source: Source, shop: Shop | None = None, name: str = "") -> pd.DataFrame:
    """The movements in a CSV file: a frame with the columns COLUMNS, moved_at datetime64[us, UTC],
    pieces int64, texts str. Raises BadInput with every fault by row.
    """
    text = read_source(source, name)
    faults = Faults(text.name)
    table = read_table(text, NEEDED, COLUMNS[1:], (), faults)
    moved_at = _moments(table, shop or Shop(), faults)
    texts = {column: table.kept_texts(column) for column in ("kind", "product", "variant", "note")}
    _check_texts(table, texts, faults)
    pieces = _pieces(table, texts["kind"], faults)
    faults.stop_if_any()
    columns = {"row": table.rows, "moved_at": moved_at, **texts, "pieces": pieces.astype(np.int64)}
    return pd.DataFrame(columns)[list(COLUMNS)]


def _moments(table: Table, shop: Shop, faults: Faults) -> pd.DatetimeIndex:
    times = parse_times(table.columns["moved_at"], shop.timezone)
    faults.add_where(times.wrong | times.far, table.rows, "moved_at",
                     "is not a date and time from 1900 to 2199", table.texts("moved_at"),
                     "write it as 2026-03-02T09:15:00+01:00")  # fmt: skip
    return pd.DatetimeIndex(times.utc.view("M8[us]")).tz_localize("UTC")


def _check_texts(table: Table, texts: dict[str, pd.Series], faults: Faults) -> None:
    faults.add_where((~texts["kind"].isin(KINDS)).to_numpy(), table.rows, "kind", "is no kind",
                     table.texts("kind"), "one of " + ", ".join(KINDS))  # fmt: skip
    faults.add_where((texts["product"] == "").to_numpy(), table.rows, "product", "is blank",
                     table.texts("product"), "name the product")  # fmt: skip


def _pieces(table: Table, kind: pd.Series, faults: Faults) -> np.ndarray:
    pieces = parse_numbers(table.columns["pieces"]).each
    least = np.where(kind == "count", 0, 1)
    right = (pieces >= least) & (pieces <= MOST_PIECES) & (pieces == np.floor(pieces))
    faults.add_where(~right, table.rows, "pieces", f"is not a whole number up to {MOST_PIECES}",
                     table.texts("pieces"), "give pieces in digits: at least 1, a count at least 0"
                     )  # fmt: skip
    return pieces
