"""Routing: what is done to a product, in which order, with which waits, read from CSV.

| column | default | meaning |
|---|---|---|
| product, operation | needed | text |
| seconds | needed | planned time per piece (or per load of `pieces_at_once`) |
| variant | every variant | the row is only on that variant's route |
| after | nothing | operations that must be complete, parted by `|`; `name:seconds`: its own wait |
| setup_seconds, setup_wait_seconds | 0 | setup once a batch; its unattended part |
| wait_seconds | 0 | unattended wait after a piece |
| station, skill, rack | none | a place that holds one worker; who can do it; where pieces wait |
| pieces_at_once | 1 | pieces that go through together in one go of `seconds` |
| wait_holds_station | false | whether pieces stay in the station while they wait |
| rack_places, max_wait_seconds | no limit | pieces that fit; the longest a piece may wait |
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pandas as pd
import pyarrow as pa

from analysis.records.faults import Faults
from analysis.records.numbers import has_decimal_comma, parse_numbers
from analysis.records.source import Source, read_source
from analysis.records.table import Table, near_name, read_table, write_table
from analysis.records.text import guarded_column

COLUMNS = (
    "row", "product", "operation", "variant", "after", "seconds", "setup_seconds", "wait_seconds",
    "setup_wait_seconds", "station", "skill", "pieces_at_once", "wait_holds_station", "rack",
    "rack_places", "max_wait_seconds",
)  # fmt: skip
NEEDED = ("product", "operation", "seconds")
TEXTS = ("product", "operation", "variant", "after", "station", "skill", "rack")
NUMBERS = {  # column: (where blank, least, whole)
    "seconds": (np.nan, 0, False),
    "setup_seconds": (0.0, 0, False),
    "wait_seconds": (0.0, 0, False),
    "setup_wait_seconds": (0.0, 0, False),
    "pieces_at_once": (1.0, 1, True),
    "rack_places": (np.inf, 1, True),
    "max_wait_seconds": (np.inf, 0, False),
}
MOST = {"pieces_at_once": 1_000_000, "rack_places": 1_000_000}  # of the rest a year of seconds
YEAR_SECONDS = 366 * 86400
YES, NO = ("true", "yes", "1"), ("false", "no", "0", "")


def read_routing(source: Source, name: str = "") -> pd.DataFrame:
    """The routing in a CSV file: a frame with the columns COLUMNS, one row per product and
    operation. Texts are str ("" where blank), `rack_places` and `max_wait_seconds` NaN where there
    is no limit. Raises BadInput with every fault by row: names that are not there, circles in
    `after`, operations named twice among them.
    """
    text = read_source(source, name)
    faults = Faults(text.name)
    table = read_table(text, NEEDED, COLUMNS[1:], (), faults)
    _refuse_misspelled(table, faults)
    frame = pd.DataFrame({"row": table.rows})
    for column in TEXTS:
        frame[column] = table.kept_texts(column)
    for column, value in _numbers(table, faults).items():
        frame[column] = value
    frame["wait_holds_station"] = _truths(table, faults)
    _check_names(frame, faults)
    _check_waits(frame, faults)
    faults.stop_if_any()
    frame = frame[list(COLUMNS)].astype({"pieces_at_once": "int64"})
    limits = ["rack_places", "max_wait_seconds"]
    frame[limits] = frame[limits].replace(np.inf, np.nan)
    return frame


def route(routing: pd.DataFrame, product: str, variant: str = "") -> pd.DataFrame:
    """The rows on the route of one product and variant, in the order of the file.

    Where an operation has a row for the variant and one for every variant, the variant's counts.
    """
    own = routing[(routing["product"] == product) & routing.variant.isin(["", variant])]
    specific = own.operation[own.variant != ""]
    return own[(own.variant != "") | ~own.operation.isin(specific)].reset_index(drop=True)


def precedence(
    routing: pd.DataFrame, product: str, variant: str = ""
) -> list[tuple[str, str, float]]:
    """(before, after, wait_seconds) of each pair on a route: `after` may begin on a piece when
    `before` is complete on it and the wait is over. Operations off this route are left out.
    """
    return pairs_of(route(routing, product, variant))


def pairs_of(rows: pd.DataFrame) -> list[tuple[str, str, float]]:
    """Those of `precedence` among the rows of one route."""
    waits = dict(zip(rows.operation, rows.wait_seconds, strict=True))
    return [
        (before, operation, waits[before] if wait is None else wait)
        for operation, after in zip(rows.operation, rows.after, strict=True)
        for before, wait in predecessors(after, set(waits))
        if before in waits
    ]


def predecessors(after: str, operations: set[str]) -> Iterator[tuple[str, float | None]]:
    """(operation, own wait or None) for each entry of an `after` text.

    A text behind the last colon is a wait, unless the whole is the name of an operation.
    """
    for entry in filter(None, (entry.strip() for entry in after.split("|"))):
        name, _, wait = entry.rpartition(":")
        if entry not in operations and re.fullmatch(r"\s*\d+(\.\d*)?\s*", wait):
            yield name.strip(), float(wait)
        else:
            yield entry, None


def _refuse_misspelled(table: Table, faults: Faults) -> None:
    """A column that is almost one of ours would be left out unseen; say so instead."""
    for column in table.columns:
        near = near_name(column, COLUMNS[1:]) if column not in COLUMNS else None
        if near and near not in table.columns:
            faults.add(1, column, "is no column of a routing", column, f"did you mean {near}?")


def _numbers(table: Table, faults: Faults) -> dict[str, np.ndarray]:
    given = [table.columns[column] for column in NUMBERS if column in table.columns]
    comma = table.decimal_comma and has_decimal_comma(given)
    numbers = {}
    for column, (blank, least, whole) in NUMBERS.items():
        if column not in table.columns:
            numbers[column] = np.full(len(table.rows), blank)
            continue
        values = parse_numbers(table.columns[column], comma and not whole, np.nan).each
        texts = table.kept_texts(column)
        empty = (texts == "").to_numpy()
        if column == "seconds":
            faults.add_where(empty, table.rows, column, "is blank", table.texts(column),
                             "give the planned time of a piece in seconds")  # fmt: skip
        if comma and not whole:
            values = _without_thousands(table, column, texts, values, faults)
        wrong = np.isnan(values) & ~empty | (values < least)
        if whole:
            wrong |= ~empty & (values != np.floor(values))
        kind, most = "a whole number" if whole else "a number", MOST.get(column, YEAR_SECONDS)
        faults.add_where(wrong | (values > most), table.rows, column,
                         f"is not {kind} from {least} to {most}", table.texts(column),
                         "write digits only")  # fmt: skip
        numbers[column] = np.where(empty, blank, values)
    return numbers


def _without_thousands(
    table: Table, column: str, texts: pd.Series, values: np.ndarray, faults: Faults
) -> np.ndarray:
    """The values, with 1,234 made a fault: a planned time seldom has three decimals."""
    thousands = texts.str.fullmatch(r"[1-9]\d{0,2},\d{3}").to_numpy(bool)
    faults.add_where(thousands, table.rows, column, "may be thousands or have a decimal comma",
                     table.texts(column), "write 1234, or 1,23")  # fmt: skip
    return np.where(thousands, 1.0, values)  # noted, and no fault of another kind


def _truths(table: Table, faults: Faults) -> np.ndarray:
    texts = table.kept_texts("wait_holds_station").str.casefold()
    wrong = ~texts.isin([*YES, *NO])
    if wrong.any():
        faults.add_where(wrong.to_numpy(), table.rows, "wait_holds_station",
                         "is neither true nor false", table.texts("wait_holds_station"),
                         "write true or false")  # fmt: skip
    return texts.isin(YES).to_numpy()


def _check_names(frame: pd.DataFrame, faults: Faults) -> None:
    """Blank and repeated names, and names in `after` that are no operation of the product."""
    rows = frame.row.to_numpy()
    for column in ("product", "operation"):
        faults.add_where((frame[column] == "").to_numpy(), rows, column, "is blank",
                         lambda places: [""] * len(places), "give it a name")  # fmt: skip
    again = frame.duplicated(["product", "operation", "variant"]).to_numpy()
    faults.add_where(again, rows, "operation", "stands twice on this product's route",
                     lambda places: frame.operation.iloc[places].tolist(),
                     "give each step a name of its own")  # fmt: skip
    operations = {product: set(own) for product, own in frame.groupby("product").operation}
    for row, product, after in zip(frame.row, frame["product"], frame.after, strict=True):
        for before, wait in predecessors(after, operations.get(product, set())):
            if (wait or 0) > YEAR_SECONDS:
                faults.add(row, "after", "has a wait longer than a year", after,
                           "give the wait in seconds")  # fmt: skip
            if before not in operations.get(product, set()):
                faults.add(row, "after", f"names no operation of {product!r}", before,
                           "one of " + ", ".join(sorted(operations[product])[:20]))  # fmt: skip
    _check_circles(frame, faults)


def _check_circles(frame: pd.DataFrame, faults: Faults) -> None:
    for product, own in frame.groupby("product"):
        for variant in sorted(set(own.variant) | {""}):
            steps = route(own, product, variant)
            circle = _circle(precedence(own, product, variant))
            if circle:
                row = steps.row[steps.operation == circle[0]].iloc[0]
                named = " after ".join([*circle, circle[0]])
                faults.add(row, "after", "goes round in a circle", named, "take one of them out")
                break


def _circle(pairs: list[tuple[str, str, float]]) -> list[str]:
    """Operations of which each must come after the next, and the last after the first; or none.

    Takes away, again and again, what waits for nothing any more (Kahn 1962); from what is left,
    going back along the waits must come round.
    """
    befores: dict[str, set[str]] = {}
    for before, after, _ in pairs:
        befores.setdefault(after, set()).add(before)
        befores.setdefault(before, set())
    while ready := {name for name, waits in befores.items() if not waits}:
        befores = {name: waits - ready for name, waits in befores.items() if name not in ready}
    path: list[str] = []
    step = min(befores, default=None)
    if step is None:
        return []
    while step not in path:
        path.append(step)
        step = min(befores[step])
    return path[path.index(step) :]


def _check_waits(frame: pd.DataFrame, faults: Faults) -> None:
    limits = frame.max_wait_seconds
    short = ((limits >= 0) & (limits < frame.wait_seconds)).to_numpy()
    faults.add_where(short, frame.row.to_numpy(), "max_wait_seconds", "is less than wait_seconds",
                     lambda places: [f"{v:g}" for v in frame.max_wait_seconds.iloc[places]],
                     "a piece must be allowed to wait as long as it has to")  # fmt: skip


def write_routing(frame: pd.DataFrame, target: str | Path | BinaryIO) -> None:
    """Write a routing as CSV, so that `read_routing` brings the same frame back."""
    columns = {}
    for name in COLUMNS[1:]:
        if name in TEXTS:
            columns[name] = guarded_column(pa.array(frame[name].tolist(), pa.string()))
        elif name == "wait_holds_station":
            columns[name] = pa.array(["true" if held else "" for held in frame[name]])
        else:
            columns[name] = pa.array([_number_text(value) for value in frame[name]])
    write_table(columns, target)


def _number_text(value: float) -> str:
    return "" if value != value else repr(float(value)).removesuffix(".0")
