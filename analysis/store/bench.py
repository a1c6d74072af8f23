"""Laps delivered by phones: each revision recorded once, many phones' laps in one commit.

A phone sends a lap until it is told that the store has it, so the same revision may come many
times, late, or after a newer one. The receipt (`bench_delivery`) of each (lap_id, revision) says
whether it has been here; the lap itself follows the rule of the store: never overwritten, a
correction ends the row that counted and introduces another, and both are in the log of changes.
"""

from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from analysis.store import tables, totals
from analysis.store.bench_tables import delivery
from analysis.store.quick import Cursor, Quick

CLOCK_OFF_MICROS = 120 * 1_000_000
FEW, MANY = 1, 250  # laps asked for in one query
_DAY_OF_1970 = datetime(1970, 1, 1, tzinfo=UTC).toordinal()


@dataclass(frozen=True)
class PhoneLap:
    """One revision of a lap, checked; `content` has the keys tables.CONTENT, {} if removed."""

    lap_id: str
    revision: int
    removed: bool
    content: dict
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class Delivery:
    """What one request brought: laps, or other entries, which files of their own record.

    Times are microseconds since 1970, UTC: `sent_at` by the phone's clock, `received_at` by ours.
    `device_id` is the paired device, "" for this computer.
    """

    phone: str
    sent_at: int
    received_at: int
    entries: tuple
    device_id: str = ""
    device_name: str = ""

    @property
    def clock_difference(self) -> int:
        """How far the phone's clock is behind the server's, in microseconds."""
        return self.received_at - self.sent_at

    @property
    def shift(self) -> int:
        """Microseconds to add to the phone's times; 0 unless its clock is 2 minutes off."""
        difference = self.clock_difference
        return difference if abs(difference) > CLOCK_OFF_MICROS else 0


@dataclass
class _Known:
    """What the store holds of one lap."""

    delivered: set[int] = field(default_factory=set)  # revisions that have been here
    shift: int | None = None  # of its first delivery; it holds for all its revisions
    row: dict | None = None  # the one that counts
    removed_by_hand: bool = False

    @property
    def newest(self) -> int:
        """The last revision delivered, -1 where none has been."""
        return max(self.delivered, default=-1)


def record(connection: sa.Connection, deliveries: list[Delivery]) -> None:
    """Record all laps of these deliveries within a transaction."""
    lap_ids = list({lap.lap_id for one in deliveries for lap in one.entries})
    cursor, dialect = connection.connection.cursor(), connection.dialect
    work = _Recording(cursor, dialect, _known(cursor, dialect, lap_ids))
    for one in deliveries:
        work.take(one)
    work.write(ZoneInfo(totals.zone(connection)))


def _known(cursor: Cursor, dialect: sa.Dialect, lap_ids: list[str]) -> dict[str, _Known]:
    """What the store holds of these laps."""
    known = {lap_id: _Known() for lap_id in lap_ids}
    at_once = FEW if len(lap_ids) < MANY // 10 else MANY
    for at in range(0, len(lap_ids), at_once):
        some = lap_ids[at : at + at_once]
        asked = {f"id_{place}": some[min(place, len(some) - 1)] for place in range(at_once)}
        for lap_id, revision, shift in _DELIVERED[at_once].run(cursor, dialect, asked):
            lap = known[lap_id]
            lap.delivered.add(revision)
            lap.shift = shift if lap.shift is None else lap.shift
        for entries in sorted(_ROWS[at_once].run(cursor, dialect, asked)):
            row = dict(zip(_ROW_NAMES, entries, strict=True))
            lap = known[row["lap_id"]]
            lap.row = row if row["ended_by"] is None else None
            lap.removed_by_hand = row["ended_kind"] == "removal"
    return known


@dataclass
class _Change:
    """One change of the log: laps of one delivery that were new, corrected or taken back."""

    kind: str
    delivery: Delivery
    laps: dict[str, str] = field(default_factory=dict)  # operation by lap_id
    id: int | None = None

    @property
    def what(self) -> str:
        """`sew from Anna's phone`, `12 laps from the bench page of this computer`."""
        count = len(self.laps)
        laps = f"{count} laps" if count > 1 else next(iter(self.laps.values())) or "a lap"
        return f"{laps} from {self.delivery.device_name or 'the bench page of this computer'}"


class _Recording:
    """The rows one transaction introduces and ends, gathered lap by lap and written together."""

    def __init__(self, cursor: Cursor, dialect: sa.Dialect, known: dict[str, _Known]):
        self.cursor, self.dialect, self.known = cursor, dialect, known
        self.changes: list[_Change] = []
        self.new_rows: list[dict] = []
        self.ended: list[dict] = []
        self.receipts: list[dict] = []
        self.totals: list[tuple[dict, int]] = []

    def take(self, one: Delivery) -> None:
        """Take the laps of one delivery: a change each for new laps, corrections and removals."""
        self.open: dict[str, _Change] = {}
        for lap in one.entries:
            self._take_lap(one, lap, self.known[lap.lap_id])

    def _take_lap(self, one: Delivery, lap: PhoneLap, known: _Known) -> None:
        if lap.revision in known.delivered:
            return
        if known.shift is None:
            known.shift = one.shift
        change = self._apply(one, lap, known) if lap.revision > known.newest else None
        known.delivered.add(lap.revision)
        self.receipts.append({
            "lap_id": lap.lap_id, "revision": lap.revision, "removed": lap.removed,
            "change_id": change, "phone": one.phone, "device_id": one.device_id,
            "sent_at": one.sent_at, "received_at": one.received_at, "shift": known.shift,
            "started_as_sent": lap.content.get("started_at"), "flags": "\n".join(lap.flags),
        })  # fmt: skip

    def _apply(self, one: Delivery, lap: PhoneLap, known: _Known) -> _Change | None:
        """Make the lap what this revision says; the change it takes, None where it already is."""
        row = None
        if not lap.removed:
            row = lap.content | {"started_at": lap.content["started_at"] + known.shift}
            if known.row is not None and _is_copy_by_a_wrong_clock(lap, known):
                kept = {name: known.row[name] for name in tables.CONTENT}
                row = kept | {"started_at": row["started_at"]}
        spoken_of = row or known.row
        if spoken_of is None or _is_so_already(row, lap, known):
            return None
        kind = "removal" if row is None else "lap" if known.row is None else "correction"
        change = self._change(kind, one, lap.lap_id, spoken_of["operation"])
        if known.row is not None:
            self._end(known.row, change)
        if row is not None:
            row |= {"change_id": change, "ended_by": None}
            self.new_rows.append(row)
            self.totals.append((row, 1))
        known.row = row
        return change

    def _change(self, kind: str, one: Delivery, lap_id: str, operation: str) -> _Change:
        """The change of this kind; a lap that comes twice in a delivery begins new ones."""
        if any(lap_id in change.laps for change in self.open.values()):
            self.open = {}
        if kind not in self.open:
            self.open[kind] = _Change(kind, one)
            self.changes.append(self.open[kind])
        self.open[kind].laps[lap_id] = operation
        return self.open[kind]

    def _end(self, row: dict, change: _Change) -> None:
        self.totals.append((row, -1))
        if "id" in row:
            self.ended.append({"row_id": row["id"], "ended": change})
        else:
            row["ended_by"] = change

    def write(self, zone: ZoneInfo) -> None:
        """Write what was gathered, ended rows first, since one row a lap may count at a time."""
        for change in self.changes:
            values = {"at": change.delivery.received_at, "kind": change.kind, "what": change.what}
            change.id = _CHANGE.run(self.cursor, self.dialect, values).fetchone()[0]
        for row in (*self.ended, *self.new_rows, *self.receipts):
            for name in ("change_id", "ended_by", "ended"):
                if isinstance(row.get(name), _Change):
                    row[name] = row[name].id
        sums = _sums(self.totals, zone)
        gathered = (_END, self.ended), (_LAP, self.new_rows), (_RECEIPT, self.receipts)
        for statement, rows in (*gathered, (_ADD, sums)):
            statement.run_many(self.cursor, self.dialect, rows)
        if any(total["laps"] < 1 for total in sums):
            _NO_LAPS.run(self.cursor, self.dialect, {})


def _is_so_already(row: dict | None, lap: PhoneLap, known: _Known) -> bool:
    """Whether a revision changes nothing.

    A lap may be here without a delivery: imported from the copy that its phone had saved as a
    file. Then its first revision is that copy, also where it was removed by hand since.
    """
    is_copy = not known.delivered and lap.revision == 0
    if known.row is None:
        return row is None or (is_copy and known.removed_by_hand)
    is_copy &= not _is_copy_by_a_wrong_clock(lap, known)
    return row is not None and (
        is_copy or all(row[name] == known.row[name] for name in tables.CONTENT)
    )


def _is_copy_by_a_wrong_clock(lap: PhoneLap, known: _Known) -> bool:
    """Whether a copy of the lap was imported that stands where its phone's clock, now known to be
    hours off, had put it: then it is moved, and stays otherwise as it is."""
    return bool(
        known.shift
        and known.row is not None
        and not known.delivered
        and lap.revision == 0
        and known.row["started_at"] == lap.content.get("started_at")
    )


def _sums(laps: list[tuple[dict, int]], zone: ZoneInfo) -> list[dict]:
    """What to add to the day totals for laps that came (1) and went (-1)."""
    sums: dict[tuple, Counter] = {}
    for row, sign in laps:
        moment = datetime.fromtimestamp(row["started_at"] // 1_000_000, zone)
        key = (moment.toordinal() - _DAY_OF_1970, *(row[name] for name in tables.TOTALS_BY[1:]))
        total = sums.setdefault(key, Counter())
        total["laps"] += sign
        total["micros"] += sign * round(row["seconds"] * 1e6)
        for name in tables.COUNTS:
            total[name] += sign * row[name]
    return [dict(zip(tables.TOTALS_BY, key, strict=True)) | {n: total[n] for n in tables.TOTALS}
            for key, total in sums.items()]  # fmt: skip


_lap = tables.lap.c
_ROW_NAMES = ("id", "ended_by", "ended_kind", *tables.CONTENT)


def _asking(query: sa.Select, *sought: tuple[sa.Column, list]) -> dict[int, Quick]:
    """A query for a few laps and one for many, by how many ids they take.

    `sought`: a column of ids, and the further conditions under which it is looked up; each such
    pair has an index of its own.
    """
    quick = {}
    for count in (FEW, MANY):
        ids: list[sa.BindParameter] = [sa.bindparam(f"id_{place}") for place in range(count)]
        either = [sa.and_(column.in_(ids), *conditions) for column, conditions in sought]
        quick[count] = Quick(query.where(sa.or_(*either)))
    return quick


_DELIVERED = _asking(
    sa.select(delivery.c.lap_id, delivery.c.revision, delivery.c.shift).order_by(delivery.c.id),
    (delivery.c.lap_id, []),
)
_ROWS = _asking(
    sa.select(
        _lap.id, _lap.ended_by, tables.change.c.kind, *(_lap[name] for name in tables.CONTENT)
    ).outerjoin(tables.change, tables.change.c.id == _lap.ended_by),
    (_lap.lap_id, [_lap.ended_by.is_(None)]),
    (_lap.lap_id, [_lap.ended_by.is_not(None)]),
)
_CHANGE = Quick(sa.insert(tables.change).returning(tables.change.c.id), ["at", "kind", "what"])
_LAP = Quick(sa.insert(tables.lap), ["change_id", "ended_by", *tables.CONTENT])
_RECEIPT = Quick(sa.insert(delivery), [column.name for column in delivery.c if column.name != "id"])
_END = Quick(
    sa.update(tables.lap)
    .where(_lap.id == sa.bindparam("row_id"))
    .values(ended_by=sa.bindparam("ended"))
)
_ADD = Quick(totals.ADD)
_NO_LAPS = Quick(sa.text("DELETE FROM day_total WHERE laps = 0"))
