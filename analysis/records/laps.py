"""Laps: the contract of one timed interval at the bench, and reading a file of them.

| column | needed | meaning |
|---|---|---|
| started_at | yes | ISO 8601; without an offset it is in the shop's time zone |
| seconds | yes | more than 0, at most 86400: the worker's time |
| product, operation | yes | text; both may be blank on a `delay` |
| lap_id | no | unique text, at most 64 characters; where missing derived from the row |
| worker | no | default `maker` |
| variant, batch, cause, note | no | text |
| cause_operation | no | the operation that caused the rework or loss |
| units | no | finished pieces' worth of work, whole, at least 1 (default) |
| activity | no | one of ACTIVITIES, default `operation` |
| rework_units, scrap_units | no | pieces that need rework / are lost; together at most units |
| rating | no | percent, 50 to 150, default 100 |

Every check looks at a whole column at once, and the faults of a file are told together.
"""

import difflib
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.faults import Faults
from analysis.records.lap_ids import LONGEST, derived_ids, repeated_ids
from analysis.records.numbers import commas, has_decimal_comma, parse_numbers
from analysis.records.shop import Shop
from analysis.records.source import Source, read_source
from analysis.records.table import Table, is_blank, near_name, read_table
from analysis.records.text import counted, kept_codes, kept_column
from analysis.records.times import Times, parse_times

ACTIVITIES = ("operation", "setup", "inspection", "rework", "transport", "delay")
CATEGORIES = ("product", "operation", "worker", "variant", "batch", "activity", "cause",
              "cause_operation")  # fmt: skip
COUNTS = ("units", "rework_units", "scrap_units")
COLUMNS = ("row", "lap_id", "started_at", "seconds", *CATEGORIES, "note", *COUNTS, "rating")
NEEDED = ("started_at", "seconds", "product", "operation")
DEFAULT_WORDS = {"worker": "maker", "activity": "operation"}
DEFAULT_NUMBERS = {"units": 1.0, "rework_units": 0.0, "scrap_units": 0.0, "rating": 100.0}
LONGEST_SECONDS = 86400
LOWEST_RATING, HIGHEST_RATING = 50, 150
MOST_UNITS = 1_000_000


@dataclass(frozen=True)
class LapsFile:
    """The checked laps of one input, and what the reader noticed about it, in plain sentences.

    `frame` has the columns COLUMNS: row int64 (the header is row 1), started_at datetime64[us,
    UTC], seconds and rating float64, COUNTS int64, CATEGORIES category of str ("" where blank),
    lap_id and note str. `clock_at`: of each lap written without an offset, what the clock showed,
    int64 microseconds as if of UTC, so that it can be placed again in another zone; NA of others.
    """

    name: str
    frame: pd.DataFrame
    clock_at: pd.arrays.IntegerArray
    notices: tuple[str, ...] = ()


def read_laps(source: Source, shop: Shop | None = None, name: str = "") -> LapsFile:
    """The checked laps of a CSV file (path, bytes or open file), shown by `name` in messages.

    Raises BadInput with every fault by row; then nothing of the file is taken.
    """
    text = read_source(source, name)
    faults = Faults(text.name)
    words = (*CATEGORIES, *COUNTS, "rating")
    table = read_table(text, NEEDED, COLUMNS[1:], words, faults)
    notices = []
    if text.encoding != "utf-8":
        notices.append(f"The file is not UTF-8; it was read as {text.encoding}.")
    return _checked(table, shop or Shop(), faults, notices)


def check_laps(
    laps: pd.DataFrame | Sequence[dict], name: str, shop: Shop | None = None
) -> LapsFile:
    """The checked laps of a form or a message, by the same rules as a file; row 2 is the first.

    Values are texts or numbers in the columns of the contract; None counts as blank. Raises
    BadInput.
    """
    if isinstance(laps, pd.DataFrame):
        laps = laps.to_dict("records")
    faults = Faults(name)
    given = list(dict.fromkeys(column for lap in laps for column in lap if column != "row"))
    for column in NEEDED:
        if column not in given:
            faults.add(1, column, "is missing")
    rows = np.arange(2, len(laps) + 2)
    columns = {
        column: _as_column([lap.get(column) for lap in laps], rows, column, faults)
        for column in given
    }
    faults.stop_if_any()
    return _checked(Table(name, columns, rows, False, False), shop or Shop(), faults, [])


def _as_column(values: list, rows: np.ndarray, column: str, faults: Faults) -> pa.ChunkedArray:
    texts = ["" if value is None or value is pd.NA or value != value else str(value)
             for value in values]  # fmt: skip
    bad = [_not_storable(text) for text in texts]
    faults.add_where(
        np.array(bad, bool),
        rows,
        column,
        "holds a character that is no text",
        lambda places: [ascii(texts[place]) for place in places],
    )
    array = pa.array(
        ["" if wrong else text for text, wrong in zip(texts, bad, strict=True)], pa.string()
    )
    if column in (*CATEGORIES, *COUNTS, "rating"):
        array = array.dictionary_encode()
    return pa.chunked_array([array])


def _not_storable(text: str) -> bool:
    return "\0" in text or any("\ud800" <= letter <= "\udfff" for letter in text)


def _checked(table: Table, shop: Shop, faults: Faults, notices: list[str]) -> LapsFile:
    times = _times(table, shop, faults, notices)
    numbers = _numbers(table, faults, notices)
    words = {column: _words(table, column) for column in CATEGORIES}
    _check_words(table, words, faults)
    note = _note(table, notices)
    ids = _ids(table, times, numbers, words, note, faults, notices)
    frame = _frame(table, ids, times, numbers, words, note)
    clock_at = pd.arrays.IntegerArray(times.as_written, ~times.without_offset)
    repeats = _repeats(frame, ids, faults, notices)
    faults.stop_if_any()
    if len(repeats):
        clock_at = clock_at[~np.isin(np.arange(len(frame)), repeats)]
        frame = _without(frame, repeats)
    if frame.empty:
        notices.append("The file has a header and no laps.")
    return LapsFile(table.name, frame, clock_at, tuple(notices))


def _times(table: Table, shop: Shop, faults: Faults, notices: list[str]) -> Times:
    times = parse_times(table.columns["started_at"], shop.timezone)
    texts = table.texts("started_at")
    remedy = "write it as 2026-03-02T09:15:00+01:00"
    blank = _blank(table, "started_at", times.wrong, remedy, faults)
    faults.add_where(
        times.wrong & ~blank,
        table.rows,
        "started_at",
        "is not a date and time",
        texts,
        remedy,
    )
    faults.add_where(
        times.far,
        table.rows,
        "started_at",
        "is not a year a lap can be from",
        texts,
        "give a year from 1900 to 2199",
    )
    ok = ~(times.wrong | times.far)
    for which, sentence in (
        (
            times.without_offset,
            f"{{}} without an offset taken in the shop's zone, {shop.timezone}; if the clock was "
            "in another, set the shop's timezone (page Shop, Costs), and laps in the store move "
            "along",
        ),
        (times.date_only, "{} with a date only taken at 00:00"),
        (
            times.repeated,
            "{} in the hour that came twice when the clocks went back taken as the "
            "first of the two",
        ),
        (
            times.skipped,
            "{} in the hour skipped when the clocks went forward moved on by that hour",
        ),
    ):
        count = int((which & ok).sum())
        if count:
            notices.append(sentence.format(counted(count, "time")) + ".")
    return times


def _blank(table: Table, column: str, wrong: np.ndarray, remedy: str, faults: Faults) -> np.ndarray:
    """Which of the wrong entries are wrong since nothing stands there; noted as such."""
    places = np.flatnonzero(wrong)
    blank = np.zeros(len(wrong), bool)
    if len(places):
        blank[places] = is_blank(table.columns[column].take(pa.array(places)))
    faults.add_where(blank, table.rows, column, "is blank", table.texts(column), remedy)
    return blank


def _numbers(table: Table, faults: Faults, notices: list[str]) -> dict[str, np.ndarray]:
    """The number columns as float64, their limits checked; a fault's entry is NaN.

    A comma is a decimal comma in a file that is not parted by commas, which is said with an
    example; in a count of pieces it is a fault, since it can only part thousands.
    """
    fractions = [column for column in ("seconds", "rating") if column in table.columns]
    comma = table.decimal_comma and has_decimal_comma([table.columns[c] for c in fractions])
    if comma:
        notices.extend(filter(None, (_comma_notice(table, column) for column in fractions)))
    numbers = {}
    for column in ("seconds", *DEFAULT_NUMBERS):
        if column not in table.columns:
            numbers[column] = np.full(len(table.rows), DEFAULT_NUMBERS[column])
            continue
        blank = DEFAULT_NUMBERS.get(column, np.nan)
        fraction = column in fractions
        numbers[column] = parse_numbers(table.columns[column], comma and fraction, blank)
        wrong, remedy = np.isnan(numbers[column]), _number_remedy(table, comma, fraction)
        faults.add_where(
            wrong & ~_blank(table, column, wrong, "give a time in seconds", faults),
            table.rows,
            column,
            "is not a number",
            table.texts(column),
            remedy,
        )
    _check_limits(table, numbers, faults)
    return numbers


def _comma_notice(table: Table, column: str) -> str:
    texts = commas(table.columns[column])
    if not len(texts):
        return ""
    meant = texts[0].as_py().strip()
    return (
        f"The comma in {column} was read as a decimal comma, so that {meant} is "
        f"{meant.replace(',', '.')} ({counted(len(texts), 'such entry', 'such entries')})."
    )


def _number_remedy(table: Table, comma: bool, fraction: bool) -> str:
    if not fraction:
        return "count whole pieces, in digits without a comma"
    if comma:
        return "other numbers here have a decimal comma: write 1234,5 without a point"
    if table.decimal_comma:
        return "write digits only, such as 75.5 or 75,5"
    return "write digits with a decimal point and no thousands separator, such as 1234.5"


def _check_limits(table: Table, numbers: dict[str, np.ndarray], faults: Faults) -> None:
    def check(column: str, wrong: np.ndarray, problem: str, remedy: str) -> None:
        faults.add_where(
            wrong, table.rows, column, problem, _texts_or_default(table, column), remedy
        )

    seconds, rating = numbers["seconds"], numbers["rating"]
    check("seconds", seconds <= 0, "is not more than 0", "give the time the lap took, in seconds")
    check(
        "seconds",
        seconds > LONGEST_SECONDS,
        "is longer than a day (86400 seconds)",
        "give seconds, and split a lap that runs over night",
    )
    for column in COUNTS:
        least = DEFAULT_NUMBERS[column]
        count = numbers[column]
        wrong = (count < least) | (count > np.floor(count))
        check(column, wrong, f"is not a whole number from {least:.0f} up", "count whole pieces")
        check(column, count > MOST_UNITS, f"is more than {MOST_UNITS}", "count whole pieces")
    lost = numbers["rework_units"] + numbers["scrap_units"]
    check(
        "scrap_units",
        lost > numbers["units"],
        "is, with rework_units, more than units",
        "rework and scrap together are at most the units of the lap",
    )
    check(
        "rating",
        (rating < LOWEST_RATING) | (rating > HIGHEST_RATING),
        f"is not from {LOWEST_RATING} to {HIGHEST_RATING} percent",
        "100 is an ordinary pace",
    )


def _texts_or_default(table: Table, column: str) -> Callable[[np.ndarray], list[str]]:
    if column in table.columns:
        return table.texts(column)
    return lambda places: [f"{DEFAULT_NUMBERS[column]:g}"] * len(places)


def _words(table: Table, column: str) -> tuple[np.ndarray, list[str]]:
    """A text column as (codes, different texts); the default throughout where it is missing."""
    default = DEFAULT_WORDS.get(column, "")
    if column not in table.columns or not len(table.rows):
        return np.zeros(len(table.rows), np.int32), [default]
    return kept_codes(table.columns[column], default, table.guarded)


def _check_words(
    table: Table, words: dict[str, tuple[np.ndarray, list[str]]], faults: Faults
) -> None:
    """Vocabulary and needed texts, judged on the different texts and looked up by code."""
    codes, activities = words["activity"]
    unknown = np.array([word not in ACTIVITIES for word in activities])
    for place in np.flatnonzero(unknown):
        near = difflib.get_close_matches(activities[place].casefold(), ACTIVITIES, 1)
        hint = f"did you mean {near[0]}? " if near else ""
        faults.add_where(
            codes == place,
            table.rows,
            "activity",
            "is no activity",
            table.texts("activity"),
            hint + "One of " + ", ".join(ACTIVITIES),
        )
    delay = np.array([word == "delay" for word in activities])[codes]
    for column in ("product", "operation"):
        codes, texts = words[column]
        blank = np.array([text == "" for text in texts])[codes] & ~delay
        faults.add_where(
            blank,
            table.rows,
            column,
            "is blank",
            table.texts(column),
            "only a delay may go without",
        )


def _note(table: Table, notices: list[str]) -> pa.ChunkedArray:
    """The notes, with what stands in columns the contract does not know behind them, by name, so
    that their order in the file makes no other lap.
    """
    rows = len(table.rows)
    note = table.columns.get("note")
    if note is None:
        note = pa.chunked_array([pa.array([""] * rows, pa.string())])
    note = kept_column(note, table.guarded)
    unknown = sorted(column for column in table.columns if column not in COLUMNS)
    kept = [column for column in unknown if not is_blank(table.columns[column]).all()]
    empty = [column for column in unknown if column not in set(kept)]
    if empty:
        notices.append(f"Not columns of laps, and blank: {', '.join(map(_with_hint, empty))}.")
    if kept:
        named = ", ".join(map(_with_hint, kept))
        notices.append(f"Not columns of laps, kept in the note: {named}.")
        values = {column: kept_column(table.columns[column], table.guarded) for column in kept}
        note = _joined_notes(note, values)
    return note


def _with_hint(column: str) -> str:
    near = near_name(column, COLUMNS[1:])
    return f"{column} (did you mean {near}?)" if near else column


def _joined_notes(note: pa.ChunkedArray, more: dict[str, pa.ChunkedArray]) -> pa.ChunkedArray:
    def behind(label: str, texts: pa.ChunkedArray) -> pa.ChunkedArray:
        labelled = pc.binary_join_element_wise(pa.scalar("; " + label), texts, "")
        return pc.if_else(pc.equal(texts, ""), "", labelled)

    parts = [behind("", note), *(behind(f"{name}: ", texts) for name, texts in more.items())]
    return pc.utf8_slice_codeunits(pc.binary_join_element_wise(*parts, ""), 2)


def _ids(
    table: Table, times: Times, numbers: dict, words: dict, note: pa.ChunkedArray, faults: Faults,
    notices: list[str],
) -> pa.ChunkedArray:  # fmt: skip
    """The lap ids as kept; those missing derived from what stands in the row."""
    given = table.columns.get("lap_id")
    if given is not None:
        given = kept_column(given, table.guarded)
        long = pc.greater(pc.utf8_length(given), LONGEST).to_numpy()
        faults.add_where(
            long,
            table.rows,
            "lap_id",
            f"is longer than {LONGEST} characters",
            table.texts("lap_id"),
            "shorten it",
        )
        missing = pc.equal(pc.binary_length(given), 0).to_numpy()
    else:
        missing = np.ones(len(table.rows), bool)
    if not missing.any() or faults.count:
        return given if given is not None else pa.chunked_array([pa.array([], pa.string())])
    derived = derived_ids(_content(missing, times, numbers, words, note))
    notices.append(
        f"{counted(len(derived), 'lap')} without a lap_id: one was derived from the row, so that "
        "the same file adds nothing when it is read again."
    )
    ids = np.array(given.to_pylist() if given is not None else [""] * len(missing), object)
    ids[missing] = derived
    return pa.chunked_array([pa.array(ids, pa.string())])


def _content(
    rows: np.ndarray, times: Times, numbers: dict, words: dict, note: pa.ChunkedArray
) -> list:
    """What makes a lap the lap it is, in a fixed order of columns: the input of its derived id."""
    notes = note.filter(pa.array(rows)).combine_chunks().dictionary_encode()
    if isinstance(notes, pa.ChunkedArray):
        notes = notes.combine_chunks()
    return [
        times.as_written[rows],
        *(values[rows] for values in numbers.values()),
        *((codes[rows], texts) for codes, texts in words.values()),
        (notes.indices.to_numpy(), notes.dictionary.to_pylist()),
    ]


def _frame(
    table: Table, ids: pa.ChunkedArray, times: Times, numbers: dict, words: dict,
    note: pa.ChunkedArray,
) -> pd.DataFrame:  # fmt: skip
    columns = {"row": table.rows}
    columns["lap_id"] = ids.to_pandas() if len(ids) == len(table.rows) else ""
    columns["started_at"] = pd.DatetimeIndex(times.utc.view("M8[us]")).tz_localize("UTC")
    columns["seconds"] = numbers["seconds"]
    for column, (codes, texts) in words.items():
        columns[column] = pd.Categorical.from_codes(codes, pd.Index(texts, dtype="str"))
    columns["note"] = note.to_pandas()
    with np.errstate(invalid="ignore"):  # a fault is no number, and its lap goes no further
        for column in COUNTS:
            columns[column] = numbers[column].astype(np.int64)
    columns["rating"] = numbers["rating"]
    return pd.DataFrame(columns, columns=list(COLUMNS), copy=False)


def _repeats(
    frame: pd.DataFrame, ids: pa.ChunkedArray, faults: Faults, notices: list[str]
) -> np.ndarray:
    """Where a lap stands again, alike in every column; one id on laps that differ is a fault."""
    places = repeated_ids(ids)
    if not len(places):
        return places
    again = frame.iloc[places]
    again = again[again.lap_id != ""]
    groups = pd.factorize(again.lap_id)[0]
    first = np.unique(groups, return_index=True)[1][groups]
    alike = _alike(again, again.iloc[first])
    rows = again.row.to_numpy()
    faults.add_where(
        ~alike, rows, "lap_id", "stands on another lap too",
        lambda at: [f"{again.lap_id.iloc[p]} (first in row {rows[first[p]]})" for p in at],
        "give each lap an id of its own",
    )  # fmt: skip
    repeats = again.index[alike & (first != np.arange(len(first)))].to_numpy()
    if len(repeats):
        notices.append(f"Left out: {counted(len(repeats), 'repeat')} of a lap, alike in all.")
    return repeats


def _without(frame: pd.DataFrame, places: np.ndarray) -> pd.DataFrame:
    frame = frame.drop(index=places).reset_index(drop=True)
    for column in CATEGORIES:
        frame[column] = frame[column].cat.remove_unused_categories()
    return frame


def _alike(laps: pd.DataFrame, others: pd.DataFrame) -> np.ndarray:
    """Which laps equal the other lap at their position in every column but the row."""
    alike = np.ones(len(laps), bool)
    for column in COLUMNS[1:]:
        texts = column in CATEGORIES
        ours, theirs = (frame[column].astype("str" if texts else frame[column].dtype).to_numpy()
                        for frame in (laps, others))  # fmt: skip
        alike &= (ours == theirs) | (pd.isna(ours) & pd.isna(theirs))
    return alike
