"""What now, for the bench and the screen: the batches under way, and the next task of those here.

The open batches of the last days are planned again from the laps logged so far. The answer is kept
for a minute, or until a lap comes in; it is short, so that a phone can keep it for when there is no
network.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pandas as pd
import sqlalchemy as sa

from analysis.bench import choices
from analysis.bench.lists import DOCUMENTS, recent_laps, shop_and_routing
from analysis.problems import Problem
from analysis.records.shop import Hours, Shop
from analysis.store import bench_batches, documents
from analysis.store.connection import reading

if TYPE_CHECKING:  # the planner is loaded when a task is first asked for
    from analysis.flow.now import Next, Now
    from analysis.flow.work import Work
    from analysis.store.glance import Unopened
    from analysis.store.store import Store

TOUCHED_DAYS = 14  # a batch nobody touched for longer is not what the bench is on
MOST_BATCHES = 4
HERE_SECONDS = 4 * 3600  # who logged a lap within so long is taken to be here
MICROS = 1_000_000
MOST_KEPT = 50


@dataclass(frozen=True)
class Task:
    """What one person does next, and what dries meanwhile. `until`: when the task, or the waiting
    before it, ends."""

    worker: str
    sentence: str
    meanwhile: str
    operation: str
    product: str
    variant: str
    batch: str
    activity: str
    until: datetime | None


class NextTask:
    """The next task, worked out of one store. `present` gives seconds a piece as they are now."""

    def __init__(
        self,
        store: Store | Unopened,
        present: Callable[[int], Mapping[tuple[str, str], float]] = lambda version: {},
    ):
        self.store, self.present = store, present
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple, dict] = OrderedDict()

    def answer(self, worker: str, moment: datetime) -> bytes | None:
        """The answer for one worker as JSON; `sentence` is "" where there is nothing to say.

        None while another answer is being planned: nobody waits in line for a hint, so that many
        who ask cannot keep the threads from those who send laps.
        """
        key = (self.store.version(), worker, moment.replace(second=0, microsecond=0))
        found = self._kept.get(key)
        if found is None:
            if not self._lock.acquire(blocking=False):
                return None
            try:
                found = self._kept[key] = self._one(worker, moment)
                while len(self._kept) > MOST_KEPT:
                    self._kept.popitem(last=False)
            finally:
                self._lock.release()
        return json.dumps(found, ensure_ascii=False).encode()

    def _one(self, worker: str, moment: datetime) -> dict:
        own = [t for t in self.tasks(moment, worker) if t.worker == worker or not worker]
        return _told(own[0] if own else None, moment)

    def tasks(self, moment: datetime, worker: str = "") -> list[Task]:
        """The next task of everybody here, and of the one named; none where no batch is under way,
        or where its route is not known."""
        with reading(self.store.engine) as connection:
            seen = _seen(connection, moment)
        if not seen.batches or seen.routing is None:
            return []
        here = seen.here(moment, worker)
        try:
            return _planned(seen, here, moment, self.present(self.store.version()))
        except Problem:  # a route that cannot be planned says so on its screen, not at the bench
            return []


@dataclass(frozen=True)
class _Seen:
    """What the store knows of the batches under way: (product, batch, variant, pieces)."""

    batches: list[tuple[str, str, str, int]]
    laps: list[choices.RecentLap]
    shop: Shop
    routing: pd.DataFrame | None

    def here(self, moment: datetime, worker: str) -> list[str]:
        """Who asks, and who logged a lap in the last hours; else whoever logged the last one."""
        since = (moment.timestamp() - HERE_SECONDS) * MICROS
        lately = [lap.worker for lap in self.laps if lap.started_at >= since]
        names = dict.fromkeys(([worker] if worker else []) + lately)
        return list(names) or [lap.worker for lap in self.laps[:1]]


def _seen(connection: sa.Connection, moment: datetime) -> _Seen:
    now = round(moment.timestamp() * MICROS)
    laps = recent_laps(connection, now - TOUCHED_DAYS * 86_400 * MICROS)
    shop, routing = shop_and_routing(*(documents.text(connection, n) for n in DOCUMENTS))
    steps = choices.routes(routing)
    ends = {product: choices.last_operation(route) for product, route in steps.items()}
    listed = choices.batches(laps, ends, bench_batches.latest(connection), now)
    return _Seen(_under_way(listed, routing), laps, shop, routing)


def _under_way(
    listed: Sequence[Mapping], routing: pd.DataFrame | None
) -> list[tuple[str, str, str, int]]:
    known = set() if routing is None else set(routing["product"])
    return [
        (one["product"], one["batch"], variant, pieces)
        for one in [one for one in listed if one["product"] in known][:MOST_BATCHES]
        for variant, pieces in one["quantities"].items()
        if pieces > 0
    ]


def _planned(seen: _Seen, here: list[str], moment: datetime, present: Mapping) -> list[Task]:
    """The tasks by planning what is left."""
    from analysis.flow.now import what_now
    from analysis.flow.work import Batch, work_of

    batches = [Batch(product, pieces, variant) for product, _, variant, pieces in seen.batches]
    names = [batch for _, batch, _, _ in seen.batches]
    people = list(dict.fromkeys([*_skilled(seen.routing), *(w.name for w in seen.shop.workers),
                                 *here]))  # fmt: skip
    work = work_of(seen.routing, batches, people, 0.0, seconds=present)
    local = moment.astimezone(ZoneInfo(seen.shop.timezone))
    work = _in_hours(work, seen.shop.week, local)
    answer = what_now(work, _frame(seen), names, here, local)
    return [_task(one, answer, seen, local) for one in answer.next]


def _skilled(routing: pd.DataFrame) -> list[str]:
    from analysis.flow.work import skills

    return list(dict.fromkeys(name for text in routing["skill"] for name in skills(text)))


def _in_hours(work: Work, week: Mapping[str, Hours], local: datetime) -> Work:
    """The work within the shop's hours, unless somebody works outside them just now."""
    from analysis.flow.calendar import on_the_calendar
    from analysis.records.shop import DAYS

    second = local.hour * 3600 + local.minute * 60 + local.second
    hours = week.get(DAYS[local.weekday()], ())
    open_now = any(begin <= second < end for begin, end in hours)
    return on_the_calendar(work, week, local) if open_now else work


def _frame(seen: _Seen) -> pd.DataFrame:
    """The laps of the batches under way, as the planners read them."""
    own = {(product, batch) for product, batch, _, _ in seen.batches}
    laps = [lap for lap in seen.laps if (lap.product, lap.batch) in own]
    frame = pd.DataFrame(laps, columns=list(choices.RecentLap._fields))
    return frame.assign(started_at=pd.to_datetime(frame["started_at"], unit="us", utc=True))


def _task(one: Next, answer: Now, seen: _Seen, local: datetime) -> Task:
    """One person's task in the bench's words: `Next: case in, 12 of batch 041; about 36 min.`"""
    if one.activity == "done":
        return Task(one.worker, "", "", "", "", "", "", "done", None)
    batch = next((b for p, b, v, _ in seen.batches if (p, v) == (one.product, one.variant)), "")
    what = f"set up {one.operation}" if _sets_up(one) else f"{one.operation}, {one.pieces}"
    made = ", ".join(name for name in (one.product, one.variant) if name)
    named = f" of {made}" if made else ""
    minutes = max(1, round((one.ends_at - one.starts_at).total_seconds() / 60))
    about = f"about {minutes} min" if minutes < 100 else f"about {minutes / 60:.1f} h"
    if one.activity == "wait":
        when = _clock(one.starts_at, local)
        sentence = f"Nothing to do before {when}; then {what}{named} ({about})."
        return _of(one, batch, sentence, "", one.starts_at)
    sentence = f"Next: {what}{named} ({about})."
    return _of(one, batch, sentence, _dry(answer, local), one.ends_at)


def _sets_up(one: Next) -> bool:
    return one.pieces == 0


def _of(one: Next, batch: str, sentence: str, meanwhile: str, until: datetime) -> Task:
    return Task(one.worker, sentence, meanwhile, one.operation, one.product, one.variant, batch,
                one.activity, until)  # fmt: skip


def _dry(answer: Now, local: datetime) -> str:
    """What is ready next of all that dries or lies in a press."""
    if not answer.waiting:
        return ""
    first = answer.waiting[0]
    are = "are" if first.pieces > 1 else "is"
    return f"{first.pieces} from {first.operation} {are} ready at {_clock(first.until, local)}."


def _clock(when: datetime, local: datetime) -> str:
    """A time of day, with its day where that is another."""
    return f"{when:%H:%M}" if when.date() == local.date() else f"{when:%a %H:%M}"


def _told(task: Task | None, moment: datetime) -> dict:
    """The answer as the phone takes it."""
    at = moment.astimezone(UTC).isoformat(timespec="seconds")
    if task is None or not task.sentence:
        return {"sentence": "", "at": at}
    until = None if task.until is None else task.until.astimezone(UTC).isoformat("T", "seconds")
    return {
        "sentence": task.sentence, "meanwhile": task.meanwhile, "at": at, "worker": task.worker,
        "operation": task.operation, "product": task.product, "variant": task.variant,
        "batch": task.batch,
        "activity": task.activity, "until": until,
    }  # fmt: skip
