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
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records import remedies, slips
from analysis.records.faults import Faults
from analysis.records.figures import counted
from analysis.records.lap_ids import LONGEST, derived_ids, repeated_ids
from analysis.records.numbers import Numbers, commas, has_decimal_comma, parse_numbers
from analysis.records.shop import Shop
from analysis.records.side_by_side import side_by_side
from analysis.records.source import Source, read_source
from analysis.records.table import Table, is_blank, near_name, read_table
from analysis.records.text import kept_codes
from analysis.records.times import Times, parse_times

ACTIVITIES = ("operation", "setup", "inspection", "rework", "transport", "delay")
CATEGORIES = ("product", "operation", "worker", "variant", "batch", "activity", "cause",
              "cause_operation")  # fmt: skip
FRACTIONS = ("seconds", "rating")
COUNTS = ("units", "rework_units", "scrap_units")
COLUMNS = ("row", "lap_id", "started_at", "seconds", *CATEGORIES, "note", *COUNTS, "rating")
NEEDED = ("started_at", "seconds", "product", "operation")
DEFAULT_WORDS = {"worker": "maker", "activity": "operation"}
DEFAULT_NUMBERS = {"units": 1.0, "rework_units": 0.0, "scrap_units": 0.0, "rating": 100.0}
LONGEST_SECONDS = 86400
LOWEST_RATING, HIGHEST_RATING = 50, 150
MOST_UNITS = 1_000_000
ASSUMED = {  # by the field of Times
    "without_offset": "{} without an offset taken in the shop's zone, {zone}; if the clock was in "
    "another, set the shop's timezone (page Shop, Costs), and laps in the store move along.",
    "date_only": "{} with a date only taken at 00:00.",
    "day_first": "{} written with dots taken as day.month.year.",
    "repeated": "{} in the hour that came twice when the clocks went back taken as the first of "
    "the two.",
    "skipped": "{} in the hour skipped when the clocks went forward moved on by that hour.",
}


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
    comma = _has_decimal_comma(table)
    parsed = _parsed(table, shop.timezone, comma)
    times = parsed["started_at"]
    numbers = {column: parsed[column] for column in ("seconds", *DEFAULT_NUMBERS)}
    words = {column: parsed[column] for column in CATEGORIES}
    _check_times(table, times, shop, faults, notices)
    _check_numbers(table, numbers, comma, faults, notices)
    _check_words(table, words, faults)
    note = _note(table, parsed["note"], notices)
    ids, repeated = parsed["lap_id"]
    missing = _check_ids(table, ids, faults)
    if missing.any() and not faults.count:
        ids = _derived(ids, missing, times, numbers, words, note, notices)
        repeated = repeated_ids(ids)
    if not len(repeated):
        faults.stop_if_any()
    frame = _frame(table, ids, times, numbers, words, note)
    clock_at = pd.arrays.IntegerArray(times.as_written, ~times.without_offset)
    repeats = _repeats(frame, repeated, faults, notices)
    faults.stop_if_any()
    if len(repeats):
        clock_at = clock_at[~np.isin(np.arange(len(frame)), repeats)]
        frame = _without(frame, repeats)
    if frame.empty:
        notices.append("The file has a header and no laps.")
    notices.extend(_slips(frame))
    return LapsFile(table.name, frame, clock_at, tuple(notices))


def _slips(frame: pd.DataFrame) -> Iterator[str]:
    """Names that may be slips of the pen, each as a question; they are taken in as they are."""
    for column in slips.COLUMNS:
        names, codes = frame[column].cat.categories, frame[column].cat.codes.to_numpy()
        counts = dict(zip(names, np.bincount(codes, minlength=len(names)).tolist(), strict=True))
        used = [name for name, laps in counts.items() if laps]
        for slip in slips.slips(column, used, counts.__getitem__):
            yield f"{slip} It went in as a name of its own; rename it on Laps, or in the file."


def _parsed(table: Table, zone: str, comma: bool) -> dict:
    """Each column of the contract as it is read, before any check; several at a time."""

    def parse(column: str) -> object:
        if column == "lap_id":
            ids = table.kept(column)
            return ids, repeated_ids(ids)
        if column == "started_at":
            return parse_times(table.columns[column], zone)
        if column == "note":
            return table.kept(column)
        if column in CATEGORIES:
            return _words(table, column)
        return _number(table, column, comma)

    columns = COLUMNS[1:]
    return dict(zip(columns, side_by_side(parse, columns, len(table.rows)), strict=True))


def _check_times(
    table: Table, times: Times, shop: Shop, faults: Faults, notices: list[str]
) -> None:
    """What is no time is a fault; what had to be assumed of the others is said."""
    texts = table.texts("started_at")
    blank = _blank(table, "started_at", times.wrong, remedies.USUAL_TIME, faults)
    faults.add_where(
        times.wrong & ~blank,
        table.rows,
        "started_at",
        "is not a date and time",
        texts,
        remedies.for_time,
    )
    faults.add_where(
        times.far,
        table.rows,
        "started_at",
        "is not a year a lap can be from",
        texts,
        "give a year from 1900 to 2199",
    )
    notices.extend(_assumed(times, shop.timezone))


def _assumed(times: Times, zone: str) -> Iterator[str]:
    """How the times that left something open were taken, a sentence for each kind."""
    usable = ~(times.wrong | times.far)
    for which, sentence in ASSUMED.items():
        count = int((getattr(times, which) & usable).sum())
        if count:
            yield sentence.format(counted(count, "time"), zone=zone)


def _blank(table: Table, column: str, wrong: np.ndarray, remedy: str, faults: Faults) -> np.ndarray:
    """Which of the wrong entries are wrong since nothing stands there; noted as such."""
    blank = np.zeros(len(wrong), bool)
    if wrong.any():
        blank[wrong] = is_blank(table.columns[column].filter(pa.array(wrong)))
    faults.add_where(blank, table.rows, column, "is blank", table.texts(column), remedy)
    return blank


def _has_decimal_comma(table: Table) -> bool:
    """Whether a comma is a decimal comma: where commas do not part the fields, and one is there."""
    given = [table.columns[column] for column in FRACTIONS if column in table.columns]
    return table.decimal_comma and has_decimal_comma(given)


def _number(table: Table, column: str, comma: bool) -> Numbers:
    """A number column; the default throughout where it is missing.

    In a count of pieces a comma is a fault, since it can only part thousands.
    """
    if column not in table.columns:
        default = np.array([DEFAULT_NUMBERS[column]])
        return Numbers(default, np.zeros(len(table.rows), np.int8))
    blank = DEFAULT_NUMBERS.get(column, np.nan)
    return parse_numbers(table.columns[column], comma and column in FRACTIONS, blank)


def _check_numbers(
    table: Table,
    numbers: dict[str, Numbers],
    comma: bool,
    faults: Faults,
    notices: list[str],
) -> None:
    """What is no number or breaks a limit; a decimal comma is said with an example."""
    fractions = [column for column in FRACTIONS if column in table.columns]
    if comma:
        notices.extend(filter(None, (_comma_notice(table, column) for column in fractions)))
    for column, values in numbers.items():
        wrong = np.isnan(values.different)
        if not wrong.any():
            continue
        wrong = wrong[values.places]
        faults.add_where(
            wrong & ~_blank(table, column, wrong, "give a time in seconds", faults),
            table.rows,
            column,
            "is not a number",
            table.texts(column),
            partial(_number_remedy, table, comma, column),
        )
    _check_limits(table, numbers, faults)


def _comma_notice(table: Table, column: str) -> str:
    texts = commas(table.columns[column])
    if not len(texts):
        return ""
    meant = texts[0].as_py().strip()
    return (
        f"The comma in {column} was read as a decimal comma, so that {meant} is "
        f"{meant.replace(',', '.')} ({counted(len(texts), 'such entry', 'such entries')})."
    )


def _number_remedy(table: Table, comma: bool, column: str, written: str) -> str:
    if column == "seconds" and (remedy := remedies.for_seconds(written)):
        return remedy
    if column not in FRACTIONS:
        return "count whole pieces, in digits without a comma"
    if comma:
        return "other numbers here have a decimal comma: write 1234,5 without a point"
    if table.decimal_comma:
        return "write digits only, such as 75.5 or 75,5"
    return "write digits with a decimal point and no thousands separator, such as 1234.5"


@dataclass(frozen=True)
class _Limit:
    """What a number may not be, and what to do about it."""

    column: str
    breaks: Callable[[np.ndarray], np.ndarray]
    problem: str
    remedy: str


def _is_no_count(least: float, count: np.ndarray) -> np.ndarray:
    return (count < least) | (count > np.floor(count))


def _limits_of_count(column: str) -> Iterator[_Limit]:
    least, remedy = DEFAULT_NUMBERS[column], "count whole pieces"
    no_count = f"is not a whole number from {least:.0f} up"
    yield _Limit(column, partial(_is_no_count, least), no_count, remedy)
    yield _Limit(column, lambda count: count > MOST_UNITS, f"is more than {MOST_UNITS}", remedy)


LIMITS = (
    _Limit(
        "seconds",
        lambda seconds: seconds <= 0,
        "is not more than 0",
        "give the time the lap took, in seconds",
    ),
    _Limit(
        "seconds",
        lambda seconds: seconds > LONGEST_SECONDS,
        "is longer than a day (86400 seconds)",
        "give seconds, and split a lap that runs over night",
    ),
    *(limit for column in COUNTS for limit in _limits_of_count(column)),
    _Limit(
        "rating",
        lambda rating: (rating < LOWEST_RATING) | (rating > HIGHEST_RATING),
        f"is not from {LOWEST_RATING} to {HIGHEST_RATING} percent",
        "100 is an ordinary pace",
    ),
)


def _check_limits(table: Table, numbers: dict[str, Numbers], faults: Faults) -> None:
    """Each column by itself, judged on its different values; then counts that go together."""

    def note(column: str, wrong: np.ndarray, problem: str, remedy: str) -> None:
        texts = _texts_or_default(table, column)
        faults.add_where(wrong, table.rows, column, problem, texts, remedy)

    for limit in LIMITS:
        values = numbers[limit.column]
        wrong = limit.breaks(values.different)
        if wrong.any():
            note(limit.column, wrong[values.places], limit.problem, limit.remedy)
    note(
        "scrap_units",
        numbers["rework_units"].each + numbers["scrap_units"].each > numbers["units"].each,
        "is, with rework_units, more than units",
        "rework and scrap together are at most the units of the lap",
    )


def _texts_or_default(table: Table, column: str) -> Callable[[np.ndarray], list[str]]:
    if column in table.columns:
        return table.texts(column)
    return lambda places: [f"{DEFAULT_NUMBERS[column]:g}"] * len(places)


def _words(table: Table, column: str) -> tuple[np.ndarray, list[str]]:
    """A text column as (codes, different texts); the default throughout where it is missing."""
    default = DEFAULT_WORDS.get(column, "")
    if column not in table.columns or not len(table.rows):
        return np.zeros(len(table.rows), np.int8), [default]
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
        if "" not in texts:
            continue
        blank = np.array([text == "" for text in texts])[codes] & ~delay
        faults.add_where(
            blank,
            table.rows,
            column,
            "is blank",
            table.texts(column),
            "only a delay may go without",
        )


def _note(table: Table, note: pa.ChunkedArray, notices: list[str]) -> pa.ChunkedArray:
    """The notes, with what stands in columns the contract does not know behind them, by name, so
    that their order in the file makes no other lap.
    """
    unknown = sorted(column for column in table.columns if column not in COLUMNS)
    kept = [column for column in unknown if not is_blank(table.columns[column]).all()]
    empty = [column for column in unknown if column not in set(kept)]
    if empty:
        notices.append(f"Not columns of laps, and blank: {', '.join(map(_with_hint, empty))}.")
    if kept:
        named = ", ".join(map(_with_hint, kept))
        notices.append(f"Not columns of laps, kept in the note: {named}.")
        values = {column: table.kept(column) for column in kept}
        note = joined_notes(note, values)
    return note


def _with_hint(column: str) -> str:
    near = near_name(column, COLUMNS[1:])
    return f"{column} (did you mean {near}?)" if near else column


def joined_notes(note: pa.ChunkedArray, more: dict[str, pa.ChunkedArray]) -> pa.ChunkedArray:
    """The notes with further columns of text behind them, each by its name where it says anything:
    `thin glue; weather: wet`."""

    def behind(label: str, texts: pa.ChunkedArray) -> pa.ChunkedArray:
        labelled = pc.binary_join_element_wise(pa.scalar("; " + label), texts, "")
        return pc.if_else(pc.equal(texts, ""), "", labelled)

    parts = [behind("", note), *(behind(f"{name}: ", texts) for name, texts in more.items())]
    return pc.utf8_slice_codeunits(pc.binary_join_element_wise(*parts, ""), 2)


def _check_ids(table: Table, ids: pa.ChunkedArray, faults: Faults) -> np.ndarray:
    """Which laps have no id; ids that are too long are noted."""
    lengths = pc.binary_length(ids).to_numpy()
    long = lengths > LONGEST
    if long.any():  # in bytes, so perhaps in letters too
        long = pc.greater(pc.utf8_length(ids), LONGEST).to_numpy()
    faults.add_where(
        long,
        table.rows,
        "lap_id",
        f"is longer than {LONGEST} characters",
        table.texts("lap_id"),
        "shorten it",
    )
    return lengths == 0


def _derived(
    ids: pa.ChunkedArray, missing: np.ndarray, times: Times, numbers: dict, words: dict,
    note: pa.ChunkedArray, notices: list[str],
) -> pa.ChunkedArray:  # fmt: skip
    """The ids, those missing derived from what stands in the row."""
    derived = derived_ids(_content(missing, times, numbers, words, note))
    notices.append(
        f"{counted(len(derived), 'lap')} without a lap_id: one was derived from the row, so that "
        "the same file adds nothing when it is read again."
    )
    every = np.array(ids.to_pylist(), object)
    every[missing] = derived
    return pa.chunked_array([pa.array(every, pa.string())])


def _content(
    rows: np.ndarray, times: Times, numbers: dict, words: dict, note: pa.ChunkedArray
) -> list:
    """What makes a lap the lap it is, in a fixed order of columns: the input of its derived id."""
    notes = note.filter(pa.array(rows)).combine_chunks().dictionary_encode()
    if isinstance(notes, pa.ChunkedArray):
        notes = notes.combine_chunks()
    return [
        times.as_written[rows],
        *(values.each[rows] for values in numbers.values()),
        *((codes[rows], texts) for codes, texts in words.values()),
        (notes.indices.to_numpy(), notes.dictionary.to_pylist()),
    ]


def _frame(
    table: Table, ids: pa.ChunkedArray, times: Times, numbers: dict, words: dict,
    note: pa.ChunkedArray,
) -> pd.DataFrame:  # fmt: skip
    def column(name: str) -> object:
        if name == "row":
            return table.rows
        if name == "started_at":
            return pd.DatetimeIndex(times.utc.view("M8[us]")).tz_localize("UTC")
        if name in ("lap_id", "note"):
            return (ids if name == "lap_id" else note).to_pandas()
        if name in CATEGORIES:
            codes, texts = words[name]
            return pd.Categorical.from_codes(codes, pd.Index(texts, dtype="str"))
        if name in COUNTS:
            with np.errstate(invalid="ignore"):  # a fault is no number; its lap goes no further
                return numbers[name].different.astype(np.int64)[numbers[name].places]
        return numbers[name].each

    columns = side_by_side(column, COLUMNS, len(table.rows))
    return pd.DataFrame(dict(zip(COLUMNS, columns, strict=True)), copy=False)


def _repeats(
    frame: pd.DataFrame, places: np.ndarray, faults: Faults, notices: list[str]
) -> np.ndarray:
    """Where a lap stands again, alike in every column; one id on laps that differ is a fault.

    `places`: where the ids are that come more than once.
    """
    if not len(places):
        return places
    again = frame.iloc[places]
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
