"""Laps in the store: taken in, read out, corrected, removed; each lap with its revisions."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import sqlalchemy as sa

from analysis.problems import NotFound
from analysis.records.export import MARKS, as_texts
from analysis.records.faults import Faults
from analysis.records.figures import counted
from analysis.records.laps import (
    CATEGORIES,
    COLUMNS,
    COUNTS,
    LapsFile,
    check_laps,
    joined_notes,
)
from analysis.records.shop import Shop
from analysis.records.text import codes_of, kept_column
from analysis.records.zones import wall_to_utc
from analysis.store import changes, documents, tables, totals
from analysis.store.bench_tables import delivery

CHUNK = 20_000
OF_ONE_KIND = {"operation": ("operation", "cause_operation")}  # columns that hold the same names
Progress = Callable[[int, int], None]

_lap = tables.lap.c
_current = tables.COUNTS_NOW["lap"]


def no_progress(done: int, total: int) -> None:
    """For those who do not watch."""


@dataclass(frozen=True)
class ImportReport:
    """What an import did: laps new, already there, refused, and left out as removed by hand before.

    `change_id` is the change to undo, None where nothing was new; `notices` are the reader's. A
    file goes in whole or not at all, so here none are refused: a refused file is BadInput, which
    names its rows.
    """

    name: str
    new: int
    already_there: int
    removed_before: int = 0
    change_id: int | None = None
    notices: tuple[str, ...] = ()
    refused: int = 0

    def __str__(self) -> str:
        text = (
            f"{self.name}: {counted(self.new, 'lap')} new, {self.already_there} already there, "
            f"{self.refused} refused"
        )
        if self.removed_before:
            text += f", {self.removed_before} left out since they were removed by hand"
        return "\n".join([text + ".", *self.notices])


def take_in(
    connection: sa.Connection, now: int, file: LapsFile, kind: str, progress: Progress
) -> ImportReport:
    """Take in the laps of a file that are not there yet.

    A lap is known by its id. One that equals any revision of the stored lap is already there; one
    whose id is there with other content is a fault, and then BadInput refuses the whole file. A
    lap that was removed by hand stays removed; one whose import was undone is new again. Laps
    written without an offset are placed in the zone the shop has now.
    """
    progress(0, len(file.frame))
    laps = _as_stored(file, totals.zone(connection))
    known = _revisions(connection, laps.lap_id)
    there, removed = _compare(connection, file, laps, known)
    new = laps[~there & ~removed]
    change_id = None
    if len(new):
        change_id = changes.record(
            connection, now, kind, f"{counted(len(new), 'lap')} from {file.name}"
        )
        _insert(connection, new, change_id, progress)
        totals.add_frame(connection, new)
    return ImportReport(
        file.name,
        len(new),
        int((there & ~removed).sum()),
        int(removed.sum()),
        change_id,
        file.notices,
    )


def _as_stored(file: LapsFile, zone: str) -> pd.DataFrame:
    """Checked laps with the columns of the lap table: microseconds, plain objects."""
    laps = _in_micros(file.frame)
    laps["clock_at"] = file.clock_at
    local = ~file.clock_at.isna()
    started_at = laps.started_at.to_numpy(copy=True)
    started_at[local] = wall_to_utc(file.clock_at[local].to_numpy("int64"), zone).utc
    laps["started_at"] = started_at
    return laps


def _in_micros(frame: pd.DataFrame) -> pd.DataFrame:
    laps = frame.drop(columns="row").reset_index(drop=True)
    laps["started_at"] = laps.started_at.astype("int64")
    return laps


def _placed_before(connection: sa.Connection, known: pd.DataFrame) -> pd.DataFrame:
    """Known revisions written without an offset where each zone the shop has had put them, so that
    a copy exported then is still known.
    """
    local = known[known.clock_at.notna()]
    clock = local.clock_at.to_numpy("int64")
    zones = sorted(documents.zones(connection))
    return pd.concat([local.assign(started_at=wall_to_utc(clock, zone).utc) for zone in zones])


def _as_sent(connection: sa.Connection, known: pd.DataFrame) -> pd.DataFrame:
    """Known revisions of phones whose clock was put right, at the time the phone had said, so that
    the copy that it saved is still known.
    """
    query = sa.select(delivery.c.lap_id, delivery.c.shift).where(delivery.c.shift != 0).distinct()
    shifts = pd.DataFrame(map(tuple, connection.execute(query)), columns=["lap_id", "shift"])
    both = known.merge(shifts, on="lap_id")
    return both.assign(started_at=both.started_at - both["shift"])[list(known.columns)]


def _revisions(connection: sa.Connection, ids: pd.Series) -> pd.DataFrame:
    """All revisions of the laps with these ids, with the kind of the change that ended each."""
    names = ["id", "ended_by", "clock_at", *tables.CONTENT]
    columns = [_lap[name] for name in names]
    if connection.scalar(sa.select(_lap.id).limit(1)) is None:
        return pd.DataFrame(columns=[*names, "ended_kind"])
    wanted = sa.Table("wanted", sa.MetaData(), sa.Column("lap_id", sa.Text, primary_key=True),
                      prefixes=["TEMPORARY"])  # fmt: skip
    wanted.create(connection)
    insert_rows(connection, wanted, ["lap_id"], list(zip(ids.tolist(), strict=True)))
    ended = tables.change.alias("ended")
    query = (
        sa.select(*columns, ended.c.kind)
        .join_from(wanted, tables.lap, wanted.c.lap_id == _lap.lap_id)
        .outerjoin(ended, ended.c.id == _lap.ended_by)
        .order_by(_lap.id)
    )
    rows = list(map(tuple, connection.execute(query)))  # plain tuples make a frame far quicker
    wanted.drop(connection)
    return pd.DataFrame(rows, columns=[*names, "ended_kind"])


def _compare(
    connection: sa.Connection, file: LapsFile, laps: pd.DataFrame, known: pd.DataFrame
) -> tuple[np.ndarray, np.ndarray]:
    """Which laps are already there, and which were removed by hand; conflicts raise BadInput."""
    if known.empty:
        return np.zeros(len(laps), bool), np.zeros(len(laps), bool)
    last = known.drop_duplicates("lap_id", keep="last").set_index("lap_id")
    removed = laps.lap_id.isin(last.index[last.ended_kind == "removal"]).to_numpy()
    held = laps.lap_id.isin(known.lap_id[known.ended_by.isna()]).to_numpy() | removed
    same = np.zeros(len(laps), bool)
    same[held] = _among(laps[held], known)
    if (odd := held & ~same).any():
        moved = [_placed_before(connection, known), _as_sent(connection, known)]
        known = pd.concat([known, *moved])
        same[odd] = _among(laps[odd], known)
    if (odd := held & ~same).any():
        same[odd] = _among(laps[odd], _with_marks(connection, known))
    faults = Faults(file.name)
    faults.add_where(
        held & ~same, file.frame.row.to_numpy(), "lap_id", "is in the store with other content",
        lambda places: laps.lap_id.iloc[places].tolist(),
        "correct the stored lap on the page Laps, or give this one an id of its own",
    )  # fmt: skip
    faults.stop_if_any()
    return held, removed


def marks(connection: sa.Connection, lap_ids: pd.Series) -> list[str]:
    """What the phones marked of each of these laps (`mended, trial:A`), "" where nothing; by the
    newest revision of the lap from a phone."""
    sent, later = delivery.c, delivery.alias("later")
    newer = sa.exists().where(later.c.lap_id == sent.lap_id, later.c.revision > sent.revision)
    query = sa.select(sent.lap_id, sent.flags).where(sent.flags != "", ~newer)
    found = {lap_id: _as_mark(flags) for lap_id, flags in connection.execute(query)}
    return [found.get(lap_id, "") for lap_id in lap_ids] if found else []


def _as_mark(flags: str) -> str:
    return ", ".join(flags.splitlines())


def _with_marks(connection: sa.Connection, known: pd.DataFrame) -> pd.DataFrame:
    """Known revisions with all marks their lap has had in the note, where reading an export puts
    them, so that it adds nothing."""
    query = sa.select(delivery.c.lap_id, delivery.c.flags).where(delivery.c.flags != "").distinct()
    marked = pd.DataFrame(map(tuple, connection.execute(query)), columns=["lap_id", MARKS])
    both = known.merge(marked, on="lap_id")
    note, mark = (pa.array(column.tolist(), pa.string())
                  for column in (both.note, both[MARKS].map(_as_mark)))  # fmt: skip
    return both.assign(note=joined_notes(note, {MARKS: kept_column(mark, False)}).to_pylist())


def _among(laps: pd.DataFrame, known: pd.DataFrame) -> np.ndarray:
    """Which laps equal one of the known revisions in every column."""
    both = pd.concat([laps, known[list(tables.CONTENT)]], ignore_index=True)
    codes = [pd.factorize(both[name].astype(object) if name in tables.TEXTS else both[name])[0]
             for name in tables.CONTENT]  # fmt: skip
    key = pd.DataFrame(dict(enumerate(codes)))
    group = key.groupby(list(key), sort=False).ngroup().to_numpy()
    return np.isin(group[: len(laps)], group[len(laps) :])


def _insert(
    connection: sa.Connection, laps: pd.DataFrame, change_id: int, progress: Progress
) -> None:
    columns = [np.asarray(laps[name].astype(object)).tolist() for name in tables.CONTENT]
    clock_at = laps.clock_at.astype(object)
    columns.append(clock_at.where(clock_at.notna(), None).tolist())
    names = ["change_id", *tables.CONTENT, "clock_at"]
    for start in range(0, len(laps), CHUNK):
        end = min(start + CHUNK, len(laps))
        parts = ([change_id] * (end - start), *(column[start:end] for column in columns))
        insert_rows(connection, tables.lap, names, list(zip(*parts, strict=True)))
        progress(end, len(laps))


def insert_rows(
    connection: sa.Connection, table: sa.Table, names: list[str], rows: list[tuple]
) -> None:
    """Insert many rows, tuples of the columns `names`; in PostgreSQL by COPY, which belongs to the
    transaction as an INSERT does, in a fraction of the time."""
    if not rows:
        return
    quoted = connection.dialect.identifier_preparer.quote
    into = f"{quoted(table.name)} ({', '.join(map(quoted, names))})"
    if connection.dialect.name == "postgresql":
        copying = f"COPY {into} FROM STDIN"
        driver: Any = connection.connection  # psycopg's own: COPY is no part of the DB-API
        with driver.cursor() as cursor, cursor.copy(copying) as copy:
            for row in rows:
                copy.write_row(row)
    else:
        values = ", ".join("?" * len(names))
        connection.exec_driver_sql(f"INSERT INTO {into} VALUES ({values})", rows)


def read_out(
    connection: sa.Connection, query: sa.Select | None = None, newest_first: bool = False
) -> pd.DataFrame:
    """The laps that count now, as a checked laps frame by start; `row` is the place plus 2.

    Laps of one moment stand in the order in which they first came, so in the same one everywhere,
    corrected or not, also where an import was undone and came again; those of a `query`, in its,
    or where that gives the `newest_first`, the other way round.
    """
    came = _coming(connection) if query is None else None
    query = sa.select(*_content()).where(_current).order_by(_lap.id) if query is None else query
    result = connection.execute(query)
    parts = [_arrays(rows) for rows in iter(lambda: result.fetchmany(CHUNK), [])]
    if newest_first:
        came = -np.arange(sum(len(part[0]) for part in parts))
    columns = zip(*(parts or [_arrays([])]), strict=True)
    return _frame([pa.chunked_array(list(part)) for part in columns], came)


def _coming(connection: sa.Connection) -> np.ndarray | None:
    """For each lap that counts, by its row's id, the id of the lap's first row: it came then.
    None where no lap was ever changed, and the ids themselves say it."""
    earlier = tables.lap.alias("earlier")
    query = (
        sa.select(_lap.id, sa.func.min(earlier.c.id))
        .join_from(tables.lap, earlier, earlier.c.lap_id == _lap.lap_id)
        .where(_current, earlier.c.ended_by.is_not(None))
        .group_by(_lap.id)
    )
    first = dict(map(tuple, connection.execute(query)))
    if not first:
        return None
    ids = connection.scalars(sa.select(_lap.id).where(_current).order_by(_lap.id))
    return np.array([first.get(one, one) for one in ids], "int64")


_ended = tables.lap.alias("earlier")
# When a lap first came, by the id of its first row; the ended ones have an index of their own.
_came = sa.func.coalesce(
    sa.select(sa.func.min(_ended.c.id))
    .where(_ended.c.lap_id == _lap.lap_id, _ended.c.ended_by.is_not(None))
    .scalar_subquery(),
    _lap.id,
)
_ARROW = {"started_at": pa.int64(), "seconds": pa.float64(), "rating": pa.float64(),
          **dict.fromkeys(COUNTS, pa.int64())}  # fmt: skip


def _arrays(rows: Sequence[Sequence]) -> list[pa.Array]:
    columns = zip(*rows, strict=True) if rows else [()] * len(tables.CONTENT)
    arrays = []
    for name, values in zip(tables.CONTENT, columns, strict=True):
        array = pa.array(values, _ARROW.get(name, pa.string()))
        arrays.append(array.dictionary_encode() if name in CATEGORIES else array)
    return arrays


def _frame(columns: list[pa.ChunkedArray], came: np.ndarray | None) -> pd.DataFrame:
    held = dict(zip(tables.CONTENT, columns, strict=True))
    starts = held["started_at"].to_numpy()
    order = np.argsort(starts, kind="stable") if came is None else np.lexsort((came, starts))
    frame = {"row": np.arange(2, len(order) + 2)}
    for name in COLUMNS[1:]:
        if name in CATEGORIES:
            frame[name] = _categorical(held[name], order)
        elif name == "started_at":
            micros = held[name].to_numpy()[order]
            frame[name] = pd.DatetimeIndex(micros.view("M8[us]")).tz_localize("UTC")
        elif name in _ARROW:
            frame[name] = held[name].to_numpy()[order]
        else:
            frame[name] = held[name].take(pa.array(order)).to_pandas()
    return pd.DataFrame(frame, columns=list(COLUMNS))


def _categorical(column: pa.ChunkedArray, order: np.ndarray) -> pd.Categorical:
    codes, words = codes_of(column)
    return pd.Categorical.from_codes(codes[order], pd.Index(words, dtype="str"))


def page(
    connection: sa.Connection, offset: int, limit: int, filters: dict | None
) -> tuple[pd.DataFrame, int]:
    """Some of the laps that count, newest first, and how many pass the filters in all.

    Read from the last to the first they stand as `read_out` has them, laps of one moment too.

    Filters: a text or several for a column of CATEGORIES or lap_id; `text` anywhere in the id or a
    text column; `from` and `to` (excluded) as timezone-aware datetimes.
    """
    conditions = list(_conditions(filters or {}))
    where = sa.and_(_current, *conditions)
    counting = sa.select(sa.func.count()).select_from(tables.lap).where(where)
    count = connection.scalars(counting).one() if conditions else totals.lap_count(connection)
    order = (_lap.started_at.desc(), _came.desc())
    query = sa.select(*_content()).where(where).order_by(*order).limit(limit).offset(offset)
    frame = read_out(connection, query, newest_first=True).iloc[::-1].reset_index(drop=True)
    return frame.assign(row=frame.index + offset + 2), count


def _conditions(filters: dict) -> Iterable[sa.ColumnElement[bool]]:
    for name, wanted in filters.items():
        if wanted is None or wanted == "" or wanted == []:
            continue
        if name == "text":
            places = (_lap.lap_id, *(_lap[column] for column in tables.TEXTS))
            yield sa.or_(*(place.icontains(wanted, autoescape=True) for place in places))
        elif name in ("from", "to"):
            micros = pd.Timestamp(wanted).value // 1000
            yield _lap.started_at >= micros if name == "from" else _lap.started_at < micros
        elif name in (*CATEGORIES, "lap_id"):
            yield _lap[name].in_([wanted] if isinstance(wanted, str) else list(wanted))
        else:
            raise NotFound(
                f"Laps cannot be filtered by {name!r}; by text, from, to, lap_id or "
                f"{', '.join(CATEGORIES)}."
            )


def correct(
    connection: sa.Connection, now: int, lap_id: str, values: dict[str, str], shop: Shop
) -> int | None:
    """Put a new revision in the place of a lap; the change's number, None where nothing differs.

    `values` are texts by column, judged by the rules of a file; `lap_id` cannot be changed. Raises
    NotFound for an unknown lap and BadInput for a value that breaks a rule.
    """
    faults = Faults("correction")
    for name in set(values) - (set(tables.CONTENT) - {"lap_id"}):
        faults.add(0, name, "cannot be corrected", remedy="one of the columns of a lap")
    faults.stop_if_any()
    old = _one(connection, lap_id)
    new = _as_stored(check_laps(_corrected(old, values), f"lap {lap_id}", shop), shop.timezone)
    if _among(new, _in_micros(old)).all():
        return None
    differing = [name for name in tables.CONTENT if new[name].iloc[0] != _in_micros(old)[name][0]]
    if "started_at" not in differing:
        new["clock_at"] = _clock_of(connection, lap_id)
    return _put(connection, now, new, f"lap {lap_id}: {', '.join(differing)}")


def correct_many(
    connection: sa.Connection, now: int, lap_ids: list[str], values: dict[str, str], shop: Shop
) -> int | None:
    """Give several laps the same words in columns of CATEGORIES (batch, variant, worker, …), all in
    one change; its number, None where no lap differs.

    Laps that have them already keep their revision. Raises NotFound for an unknown lap and
    BadInput for a column that is none of these or a value that breaks a rule.
    """
    faults = Faults("correction")
    for name in set(values) - set(CATEGORIES):
        faults.add(0, name, "cannot be given to several laps", remedy=", ".join(CATEGORIES))
    faults.stop_if_any()
    old, clock_at = _several(connection, lap_ids)
    return _put_many(connection, now, (old, clock_at), _corrected(old, values), list(values), shop)


def rename(
    connection: sa.Connection, now: int, column: str, name: str, to: str, shop: Shop
) -> int | None:
    """Give every lap that has a name in a column of CATEGORIES another one, in one change; its
    number, None where no lap has it.

    All columns that hold names of that kind change together, so that a fault stays with the
    operation that made it. Raises BadInput for a name that breaks a rule.
    """
    columns = OF_ONE_KIND.get(column, (column,))
    old, clock_at = _these(connection, sa.or_(*(_lap[one] == name for one in columns)))
    if old.empty:
        return None
    texts = _texts_of(old)
    for one in columns:
        texts[one] = texts[one].where(texts[one] != name, to)
    said = f"{column} {name} renamed to {to}"
    return _put_many(connection, now, (old, clock_at), texts, columns, shop, said)


def _corrected(laps: pd.DataFrame, values: dict[str, str]) -> pd.DataFrame:
    """Laps as a file would have them, with other texts in some columns."""
    return _texts_of(laps).assign(**{name: str(value) for name, value in values.items()})


def _texts_of(laps: pd.DataFrame) -> pd.DataFrame:
    """Laps as a file would have them."""
    return pd.DataFrame(
        {name: column.to_pylist() for name, column in as_texts(laps, "UTC").items()}
    )


def _put_many(
    connection: sa.Connection, now: int, held: tuple[pd.DataFrame, dict], texts: pd.DataFrame,
    columns: Sequence[str], shop: Shop, said: str = "",
) -> int | None:  # fmt: skip
    """Put corrected texts in the place of laps, where they differ in these columns; the change's
    number, None where none does. `said` of the change; where blank, the columns."""
    old, clock_at = held
    new = _as_stored(check_laps(texts, f"{len(old)} laps", shop), shop.timezone)
    new["clock_at"] = new.lap_id.map(clock_at).astype("Int64")
    was = _in_micros(old).set_index("lap_id").loc[new.lap_id]
    differs = np.zeros(len(new), bool)
    for name in columns:
        differs |= new[name].astype("str").to_numpy() != was[name].astype("str").to_numpy()
    new = new[differs]
    if new.empty:
        return None
    what = f"{counted(len(new), 'lap')}: {said or ', '.join(columns)}"
    return _put(connection, now, new, what)


def _put(connection: sa.Connection, now: int, new: pd.DataFrame, what: str) -> int:
    """Put these revisions in the place of those that count; the change's number."""
    change_id = changes.record(connection, now, "correction", what)
    _end(connection, new.lap_id.tolist(), change_id)
    _insert(connection, new, change_id, no_progress)
    totals.add(connection, _lap.change_id == change_id, 1)
    return change_id


def _several(connection: sa.Connection, lap_ids: list[str]) -> tuple[pd.DataFrame, dict]:
    """The laps with these ids as they count now, and what the clock on the wall said at each."""
    frames: list[pd.DataFrame] = []
    clock_at: dict[str, int] = {}
    for start in range(0, len(lap_ids), 500):
        found, clocks = _these(connection, _lap.lap_id.in_(lap_ids[start : start + 500]))
        frames.append(found)
        clock_at.update(clocks)
    if missing := [lap_id for lap_id in lap_ids if lap_id not in clock_at]:
        raise _no_lap(missing[0])
    texts = dict.fromkeys(CATEGORIES, "object")  # categories differ from one reading to the next
    return pd.concat([frame.astype(texts) for frame in frames], ignore_index=True), clock_at


def _these(
    connection: sa.Connection, which: sa.ColumnElement[bool]
) -> tuple[pd.DataFrame, dict[str, int]]:
    """Some of the laps that count now, and what the clock on the wall said at each."""
    some = sa.and_(which, _current)
    # In the order they came in: laps of one moment keep it among themselves, in any database.
    found = read_out(connection, sa.select(*_content()).where(some).order_by(_lap.id))
    rows = connection.execute(sa.select(_lap.lap_id, _lap.clock_at).where(some))
    return found, dict(map(tuple, rows))


def _content() -> list[sa.ColumnElement]:
    return [_lap[name] for name in tables.CONTENT]


def _no_lap(lap_id: str) -> NotFound:
    return NotFound(f"There is no lap {lap_id!r} in the store, or it has been removed.")


def _clock_of(connection: sa.Connection, lap_id: str) -> pd.arrays.IntegerArray:
    clock_at = connection.scalar(sa.select(_lap.clock_at).where(_lap.lap_id == lap_id, _current))
    return pd.array([clock_at], "Int64")


def _one(connection: sa.Connection, lap_id: str) -> pd.DataFrame:
    frame = read_out(connection, sa.select(*_content()).where(_lap.lap_id == lap_id, _current))
    if frame.empty:
        raise _no_lap(lap_id)
    return frame


def remove(connection: sa.Connection, now: int, lap_ids: list[str]) -> int:
    """Let laps count no more; they stay in the history and come back when this is undone. Raises
    NotFound for an unknown lap."""
    _several(connection, lap_ids)
    named = f"lap {lap_ids[0]}" if len(lap_ids) == 1 else f"{len(lap_ids)} laps"
    change_id = changes.record(connection, now, "removal", f"{named} removed")
    _end(connection, lap_ids, change_id)
    return change_id


def _end(connection: sa.Connection, lap_ids: list[str], change_id: int) -> None:
    for start in range(0, len(lap_ids), 500):
        some = lap_ids[start : start + 500]
        ending = sa.update(tables.lap).where(_lap.lap_id.in_(some), _current)
        connection.execute(ending.values(ended_by=change_id))
    totals.add(connection, _lap.ended_by == change_id, -1)


def history(connection: sa.Connection, lap_id: str) -> pd.DataFrame:
    """Every revision of a lap, oldest first: since, kind, what, until (NaT while it counts), and
    the columns of a lap."""
    since, until = tables.change.alias("since"), tables.change.alias("until")
    heads = (since.c.at, since.c.kind, since.c.what, until.c.at)
    halves = (  # each half has an index of its own
        sa.select(_lap.id, *heads, *(_lap[name] for name in tables.CONTENT))
        .join(since, since.c.id == _lap.change_id)
        .outerjoin(until, until.c.id == _lap.ended_by)
        .where(_lap.lap_id == lap_id, half)
        for half in (_current, ~_current)
    )
    rows = [row for half in halves for row in connection.execute(half)]
    names = ["id", "since", "kind", "what", "until", *tables.CONTENT]
    frame = pd.DataFrame(sorted(rows), columns=names).drop(columns="id")
    if frame.empty:
        raise NotFound(f"There is no lap {lap_id!r} in the store.")
    for name in ("since", "until", "started_at"):
        frame[name] = pd.to_datetime(frame[name].astype("Int64"), unit="us", utc=True)
    return frame
