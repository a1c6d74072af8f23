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

CLOCK_OFF_MICROS = 120 * 1_000_000
IN_ONE_QUERY = 500
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
    """What one request brought. Times are microseconds since 1970, UTC, of the two clocks."""

    phone: str
    sent_at: int
    received_at: int
    laps: tuple[PhoneLap, ...]
    device_id: str = ""
    device_name: str = ""

    @property
    def clock_difference(self) -> int:
        """How far the phone's clock is behind the server's, in microseconds."""
        return self.received_at - self.sent_at

    @property
    def shift(self) -> int:
        """Microseconds to add to the phone's times; 0 unless its clock is 2 minutes off."""
        return shift_of(self.clock_difference)


def shift_of(clock_difference: int) -> int:
    """The microseconds by which times of a phone are put right, 0 for a clock nearly right."""
    return clock_difference if abs(clock_difference) > CLOCK_OFF_MICROS else 0


@dataclass
class _Known:
    """What the store holds of one lap."""

    delivered: set[int] = field(default_factory=set)  # revisions that have been here
    shift: int | None = None  # of its first delivery; it holds for all its revisions
    row: dict | None = None  # the one that counts
    removed_by_hand: bool = False

    @property
    def newest(self) -> int:
        return max(self.delivered, default=-1)


def record(connection: sa.Connection, deliveries: list[Delivery]) -> None:
    """Record all laps of these deliveries within a transaction."""
    lap_ids = list({lap.lap_id for one in deliveries for lap in one.laps})
    work = _Recording(connection, _known(connection, lap_ids))
    for one in deliveries:
        work.take(one)
    work.write()


def _known(connection: sa.Connection, lap_ids: list[str]) -> dict[str, _Known]:
    """What the store holds of these laps."""
    known = {lap_id: _Known() for lap_id in lap_ids}
    for at in range(0, len(lap_ids), IN_ONE_QUERY):
        some = {"lap_ids": lap_ids[at : at + IN_ONE_QUERY]}
        for lap_id, revision, shift in connection.execute(_DELIVERED, some):
            lap = known[lap_id]
            lap.delivered.add(revision)
            lap.shift = shift if lap.shift is None else lap.shift
        for row in connection.execute(_ROWS, some).mappings():
            lap = known[row["lap_id"]]
            lap.row = dict(row) if row["ended_by"] is None else None
            lap.removed_by_hand = row["ended_kind"] == "removal"
    return known


class _Recording:
    """The rows one transaction introduces and ends, gathered lap by lap and written together."""

    def __init__(self, connection: sa.Connection, known: dict[str, _Known]):
        self.connection = connection
        self.known = known
        self.new_rows: list[dict] = []
        self.ended: list[dict] = []
        self.receipts: list[dict] = []
        self.totals: list[tuple[dict, int]] = []

    def take(self, one: Delivery) -> None:
        """Take the laps of one delivery: a change each for new laps, corrections and removals."""
        self.changes: dict[str, int] = {}
        self.touched: set[str] = set()
        for lap in one.laps:
            self._take_lap(one, lap, self.known[lap.lap_id])

    def _take_lap(self, one: Delivery, lap: PhoneLap, known: _Known) -> None:
        if lap.revision in known.delivered:
            return
        if known.shift is None:
            known.shift = one.shift
        change_id = self._apply(one, lap, known) if lap.revision > known.newest else None
        known.delivered.add(lap.revision)
        self.receipts.append({
            "lap_id": lap.lap_id, "revision": lap.revision, "removed": lap.removed,
            "change_id": change_id, "phone": one.phone, "device_id": one.device_id,
            "sent_at": one.sent_at, "received_at": one.received_at, "shift": known.shift,
            "started_as_sent": lap.content.get("started_at"), "flags": " ".join(lap.flags),
        })  # fmt: skip

    def _apply(self, one: Delivery, lap: PhoneLap, known: _Known) -> int | None:
        """Make the lap what this revision says; the change's number, None where it already is."""
        row = None
        if not lap.removed:
            row = lap.content | {"started_at": lap.content["started_at"] + known.shift}
        if _is_so_already(row, lap, known):
            return None
        kind = "removal" if row is None else "lap" if known.row is None else "correction"
        change_id = self._change(kind, one, lap)
        if known.row is not None:
            self._end(known.row, change_id)
        if row is not None:
            row |= {"change_id": change_id, "ended_by": None}
            self.new_rows.append(row)
            self.totals.append((row, 1))
        known.row = row
        return change_id

    def _change(self, kind: str, one: Delivery, lap: PhoneLap) -> int:
        """The change of this kind; a lap that comes twice in a delivery begins new ones."""
        if lap.lap_id in self.touched:
            self.changes, self.touched = {}, set()
        self.touched.add(lap.lap_id)
        if kind not in self.changes:
            what = f"{_WORDS[kind]} from {one.device_name or 'the bench page of this computer'}"
            values = {"at": one.received_at, "kind": kind, "what": what}
            change_id = self.connection.execute(_CHANGE, values).inserted_primary_key[0]
            self.changes[kind] = change_id
        return self.changes[kind]

    def _end(self, row: dict, change_id: int) -> None:
        self.totals.append((row, -1))
        if "id" in row:
            self.ended.append({"row_id": row["id"], "change": change_id})
        else:
            row["ended_by"] = change_id

    def write(self) -> None:
        """Write what was gathered, ended rows first, since one row a lap may count at a time."""
        if self.ended:
            self.connection.execute(_END, self.ended)
        if self.new_rows:
            self.connection.execute(_LAP, self.new_rows)
        if self.receipts:
            self.connection.execute(_RECEIPT, self.receipts)
        if self.totals:
            zone = ZoneInfo(totals.zone(self.connection))
            self.connection.execute(totals.ADD, _sums(self.totals, zone))
        if any(sign < 0 for _, sign in self.totals):
            self.connection.execute(_NO_LAPS)


def _is_so_already(row: dict | None, lap: PhoneLap, known: _Known) -> bool:
    """Whether a revision changes nothing.

    A lap may be here without a delivery: imported from the copy that its phone had saved as a
    file. Then its first revision is that copy, also where it was removed by hand since.
    """
    is_copy = not known.delivered and lap.revision == 0
    if known.row is None:
        return row is None or (is_copy and known.removed_by_hand)
    return row is not None and (
        is_copy or all(row[name] == known.row[name] for name in tables.CONTENT)
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


_WORDS = {"lap": "laps", "correction": "corrected laps", "removal": "laps taken back"}
_IDS = sa.bindparam("lap_ids", expanding=True)
_lap = tables.lap.c
_DELIVERED = (
    sa.select(delivery.c.lap_id, delivery.c.revision, delivery.c.shift)
    .where(delivery.c.lap_id.in_(_IDS))
    .order_by(delivery.c.id)
)
_ROWS = (
    sa.select(_lap.id, _lap.ended_by, tables.change.c.kind.label("ended_kind"),
              *(_lap[name] for name in tables.CONTENT))
    .outerjoin(tables.change, tables.change.c.id == _lap.ended_by)
    .where(_lap.lap_id.in_(_IDS), sa.or_(_lap.ended_by.is_(None), _lap.ended_by.is_not(None)))
    .order_by(_lap.id)
)  # fmt: skip
_CHANGE = sa.insert(tables.change)
_LAP = sa.insert(tables.lap)
_RECEIPT = sa.insert(delivery)
_END = (
    sa.update(tables.lap)
    .where(_lap.id == sa.bindparam("row_id"))
    .values(ended_by=sa.bindparam("change"))
)
_NO_LAPS = sa.delete(tables.day_total).where(tables.day_total.c.laps == 0)
