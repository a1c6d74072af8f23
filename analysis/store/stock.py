"""The stock book: pieces counted, sold, and put away on the shelf."""

import pandas as pd
import sqlalchemy as sa

from analysis.problems import BadInput, Fault
from analysis.records.movements import KINDS
from analysis.store import changes, tables

COLUMNS = ("change_id", "at", "kind", "product", "variant", "units", "note")

_event = tables.stock_event.c


def add(
    connection: sa.Connection, now: int, kind: str, product: str, variant: str, units: int,
    at: int, note: str,
) -> int:  # fmt: skip
    """Note a count (what lies there), a sale or a putting away of `units` pieces at `at`; the
    change's number. `now`, `at`: microseconds of UTC. BadInput for what is none of these."""
    _check(kind, product, units)
    names = f"{product} {variant}".strip()
    change_id = changes.record(connection, now, "stock", f"{kind} of {units} {names}")
    row = {"change_id": change_id, "at": at, "kind": kind, "product": product, "variant": variant,
           "units": units, "note": note}  # fmt: skip
    connection.execute(sa.insert(tables.stock_event), row)
    return change_id


def _check(kind: str, product: str, units: int) -> None:
    faults = []
    if kind not in KINDS:
        faults.append(Fault("stock", 0, "kind", "is no kind", kind, "one of " + ", ".join(KINDS)))
    if not product:
        faults.append(Fault("stock", 0, "product", "is blank", "", "name the product"))
    if (
        isinstance(units, bool)
        or not isinstance(units, int)
        or units < (0 if kind == "count" else 1)
    ):
        faults.append(
            Fault(
                "stock", 0, "units", "is not a number of pieces", str(units), "give a whole number"
            )
        )
    if faults:
        raise BadInput(faults)


def events(connection: sa.Connection) -> pd.DataFrame:
    """The events that count now, by time: COLUMNS, `at` as datetime64[us, UTC]."""
    query = sa.select(*(_event[name] for name in COLUMNS)).where(_event.ended_by.is_(None))
    rows = connection.execute(query.order_by(_event.at, _event.id)).all()
    frame = pd.DataFrame(rows, columns=COLUMNS)
    frame["at"] = pd.to_datetime(frame["at"].astype("int64"), unit="us", utc=True).dt.as_unit("us")
    return frame.astype({"units": "int64", "change_id": "int64"})
