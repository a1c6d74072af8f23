"""The bindery at work: batches, hours, practice and forgetting, faults, and the laps they leave."""

from __future__ import annotations

import datetime
import math
from collections import Counter, defaultdict

import numpy as np

from data_samples.truth import HOUR, Defect, Operation, Truth, mean_seconds

DAY, WEEK = 24 * HOUR, 7 * 24 * HOUR
VARIANTS = {
    "pocket notebook": ("linen", "marbled"),
    "desk journal": ("linen", "marbled", "left-open", "quarter-cloth"),
}
# What is started next, over and over; a batch is 25 or 50 pieces.
BATCH_CYCLE = (
    ("pocket notebook", "linen", 50),
    ("desk journal", "linen", 25),
    ("pocket notebook", "marbled", 25),
    ("desk journal", "marbled", 25),
    ("pocket notebook", "linen", 25),
    ("desk journal", "left-open", 25),
    ("pocket notebook", "marbled", 50),
    ("desk journal", "quarter-cloth", 25),
)
# Seconds of the day at the bench, inside the shop's hours; the helper's by weekday, Monday 0.
MAKER_HOURS = ((31200, 44400), (48600, 58500))
HELPER_HOURS = {1: ((32400, 45000),), 3: ((32400, 45000), (47700, 58500))}


def logistic(x: float) -> float:
    return 1 / (1 + math.exp(-x))


class Batch:
    """Pieces on their way: which are still whole, which have been through which operation."""

    def __init__(self, number: int, product: str, variant: str, size: int, truth: Truth):
        self.name, self.product, self.variant = f"{number:03d}", product, variant
        self.size = size
        self.whole = np.ones(size, bool)
        self.operations = {o.name: o for o in truth.operations[product]}
        self.steps = {s.operation: s for s in truth.routing[product] if s.variant in ("", variant)}
        self.through = {name: np.zeros(size, bool) for name in self.steps}
        self.done_at: dict[str, float] = {}
        self.setup_ready_at: dict[str, float] = {}
        self.busy_until: dict[str, float] = defaultdict(float)
        self.walked: set[str] = set()
        self.to_mend: dict[str, Counter] = defaultdict(Counter)
        self.chance: dict[str, tuple[float, float]] = {}
        self.sewing_pace: list[float] = []
        self.glue_seconds = self.glue_expected = 0.0

    def left(self, operation: str) -> np.ndarray:
        """Indices of the whole pieces this operation has not had yet."""
        return np.flatnonzero(self.whole & ~self.through[operation])

    def ready_at(self, operation: str) -> float:
        """When every predecessor is through and its wait is over; inf while one is not."""
        ready = self.setup_ready_at.get(operation, 0.0)
        for name in filter(None, self.steps[operation].after.split("|")):
            before, _, own_wait = name.partition(":")
            wait = float(own_wait) if own_wait else self.operations[before].wait_seconds
            ready = max(ready, self.done_at.get(before, math.inf) + wait)
        return ready

    @property
    def finished(self) -> bool:
        return len(self.done_at) == len(self.steps)


class Bindery:
    """The garage at work: who stands where when, and the laps that come of it."""

    def __init__(self, truth: Truth):
        self.truth, self.rng = truth, np.random.default_rng(truth.seed)
        self.monday = datetime.datetime.fromisoformat(truth.first_monday)
        self.sessions = {worker: self._hours(worker) for worker in ("maker", "helper")}
        self.clock = {worker: hours[0][0] for worker, hours in self.sessions.items()}
        self.batches: list[Batch] = []
        self.experience: dict[tuple, float] = defaultdict(float)
        self.pieces_made: Counter = Counter()
        self.restart_seconds: dict[tuple, list[float]] = defaultdict(lambda: [0.0, 0.0])
        self.last_end: dict[tuple, float] = {}
        self.spell = dict.fromkeys(self.clock, (None, 0, 0.0))
        self.laps: list[dict] = []
        self.forgotten: list[int] = []
        self.forgotten_ids: list[str] = []
        self.worked_seconds = 0.0

    # -- the calendar -------------------------------------------------------------------
    def seconds_at(self, day: str) -> float:
        return (datetime.datetime.fromisoformat(day) - self.monday).total_seconds()

    def _open(self, day: float, worker: str) -> bool:
        closed = any(self.seconds_at(a) <= day <= self.seconds_at(b) for a, b in self.truth.breaks)
        hired = worker == "maker" or day >= self.seconds_at(self.truth.helper_starts)
        return hired and not closed

    def _hours(self, worker: str) -> list[tuple[float, float]]:
        hours = dict.fromkeys(range(5), MAKER_HOURS) if worker == "maker" else HELPER_HOURS
        return [
            (day * DAY + start, day * DAY + end)
            for day in range(self.truth.weeks * 7)
            if self._open(day * DAY, worker)
            for start, end in hours.get(day % 7, ())
        ]

    def _session_end(self, worker: str) -> float | None:
        """The end of the hours the worker stands in, or None; moves the clock to the next."""
        hours = self.sessions[worker]
        while hours and self.clock[worker] >= hours[0][1] - 60:
            hours.pop(0)
            if hours:
                self.clock[worker] = max(self.clock[worker], hours[0][0])
        return hours[0][1] if hours else None

    # -- what to do next ----------------------------------------------------------------
    def work(self) -> None:
        while True:
            open_workers = [w for w in self.clock if self._session_end(w) is not None]
            if not open_workers:
                return
            worker = min(open_workers, key=self.clock.__getitem__)
            job = self._choose(worker)
            if job is None:
                self.clock[worker] += 600
            else:
                self._stretch(worker, *job)

    def _choose(self, worker: str) -> tuple[Batch, str] | None:
        """The step furthest along in the oldest batch that is ready; else a new batch.

        The maker leaves to the helper, once there is one, what the helper can do, and takes it
        up only when nothing else is ready.
        """
        ready = self._ready_steps(worker)
        if worker == "maker" and self._open(self.clock[worker], "helper"):
            ready.sort(key=lambda step: len(step[0].operations[step[1]].workers))
        if ready:
            return ready[0]
        if sum(not b.finished for b in self.batches) >= 6:
            return None
        product, variant, size = BATCH_CYCLE[len(self.batches) % len(BATCH_CYCLE)]
        self.batches.append(Batch(len(self.batches) + 1, product, variant, size, self.truth))
        return self._choose(worker)

    def _ready_steps(self, worker: str) -> list[tuple[Batch, str]]:
        now = self.clock[worker]
        flying = [b for b in self.batches if not b.finished]
        taken = {
            b.operations[name].station
            for b in flying
            for name, until in b.busy_until.items()
            if until > now
        } - {""}
        return [
            (batch, name)
            for batch in flying
            for name in reversed(batch.steps)
            if worker in batch.operations[name].workers
            and name not in batch.done_at
            and batch.ready_at(name) <= now
            and batch.busy_until[name] <= now
            and batch.operations[name].station not in taken
        ]

    # -- one stretch at one step --------------------------------------------------------
    def _stretch(self, worker: str, batch: Batch, name: str) -> None:
        """Set up, walk, then lap after lap until the batch is through or the hours end."""
        operation, end = batch.operations[name], self.sessions[worker][0][1]
        if operation.setup_seconds and name not in batch.setup_ready_at:
            self._errand(worker, batch, name, "setup", operation.setup_seconds)
            batch.setup_ready_at[name] = self.clock[worker] + operation.setup_wait_seconds
            if operation.setup_wait_seconds:
                return
        if operation.walk and name not in batch.walked:
            self._errand(
                worker,
                batch,
                name,
                "transport",
                self.truth.walk_seconds,
                units=len(batch.left(name)),
            )
            batch.walked.add(name)
        sd = operation.batch_sd
        session_pace = self.rng.normal(-sd * sd / 2, sd)
        while len(batch.left(name)) and self.clock[worker] < end - 60:
            self._lap(worker, batch, operation, session_pace)
            self._maybe_delay(worker, batch, operation)
        self._mend(worker, batch, name)
        batch.busy_until[name] = self.clock[worker]
        if not len(batch.left(name)):
            batch.done_at[name] = self.clock[worker]

    def _lap(self, worker: str, batch: Batch, operation: Operation, session_pace: float) -> None:
        truth, rng = self.truth, self.rng
        pieces = batch.left(operation.name)[: operation.pieces_per_lap]
        expected = self._expected_seconds(worker, batch, operation, len(pieces))
        sd = truth.piece_sd / math.sqrt(len(pieces))
        seconds = expected * math.exp(session_pace + rng.normal(-sd * sd / 2, sd))
        to_mend, lost, cause, cause_operation = self._faults(batch, operation, len(pieces))
        if operation.name == "sew":
            seconds *= truth.sew_spoiled_time_factor if to_mend or lost else 1.0
            batch.sewing_pace.append(math.log(seconds / expected))
        if operation.name == "glue spine":
            batch.glue_seconds += seconds
            batch.glue_expected += expected
        batch.through[operation.name][pieces] = True
        batch.whole[pieces[:lost]] = False
        self._write(
            worker,
            batch,
            operation.name,
            operation.activity,
            seconds,
            units=len(pieces),
            rework_units=to_mend,
            scrap_units=lost,
            cause=cause,
            cause_operation=cause_operation,
        )
        cell, done, _ = self.spell[worker]
        self.spell[worker] = (cell, done, self.clock[worker])
        self.last_end[cell] = self.clock[worker]
        self.worked_seconds = seconds
        end = self.sessions[worker][0][1]
        if self.clock[worker] >= end - 60 and rng.random() < truth.forgotten_stop_chance:
            self._forget_to_stop(worker)

    def _expected_seconds(self, worker: str, batch: Batch, operation: Operation, k: int) -> float:
        """Mean seconds of the next k pieces: forgetting, then practice, then the restart."""
        truth, cell = self.truth, (worker, batch.product, operation.name)
        now, last = self.clock[worker], self.last_end.get(cell, self.clock[worker])
        if now - last > WEEK:
            self.experience[cell] *= truth.retention_per_week[worker] ** ((now - last) / WEEK)
        spell_cell, done, spell_end = self.spell[worker]
        if spell_cell != cell or now - spell_end > 1800:
            done = 0
        first = self.experience[cell] + 1
        plain = [mean_seconds(operation, worker, first + i, truth) for i in range(k)]
        total = sum(
            seconds * math.exp(truth.restart_effect * 2.0 ** -(done + i))
            for i, seconds in enumerate(plain)
        )
        self.restart_seconds[cell][0] += total
        self.restart_seconds[cell][1] += sum(plain)
        self.experience[cell] += k
        self.pieces_made[cell] += k
        self.spell[worker] = (cell, done + k, now)
        return total

    def _faults(self, batch: Batch, operation: Operation, k: int) -> tuple[int, int, str, str]:
        """Of k pieces: how many must be mended, how many are lost, and the (last) cause."""
        to_mend, lost, cause, origin = 0, 0, "", ""
        for label, source, mend_chance, scrap_chance in self._chances(batch, operation):
            spoiled = self.rng.binomial(k - to_mend - lost, mend_chance + scrap_chance)
            scrapped = self.rng.binomial(spoiled, scrap_chance / (mend_chance + scrap_chance or 1))
            if spoiled:
                cause, origin = label, source
            if spoiled > scrapped:
                batch.to_mend[operation.name][label, source] += int(spoiled - scrapped)
            to_mend, lost = to_mend + int(spoiled - scrapped), lost + int(scrapped)
        return to_mend, lost, cause, origin

    def _chances(self, batch: Batch, operation: Operation) -> list[tuple[str, str, float, float]]:
        """(cause, cause_operation, rework chance, scrap chance) of one piece, here and now."""
        truth, found = self.truth, []
        if operation.name == "sew":
            before = batch.sewing_pace[-truth.sew_window :]
            x = float(np.mean(before)) if before else 0.0
            chance = logistic(truth.sew_intercept + truth.sew_slope * x)
            scrap = chance * truth.sew_scrap_share
            found.append(("torn section", "", chance - scrap, scrap))
        if operation.name == "trim":
            x = math.log(batch.glue_seconds / batch.glue_expected)
            chance = logistic(truth.glue_intercept + truth.glue_slope * x)
            found.append(("glue squeezed out", "glue spine", chance, 0.0))
        for defect in truth.defects:
            if defect.operation == operation.name:
                mend, scrap = self._batch_chance(batch, defect)
                found.append((defect.cause, defect.cause_operation, mend, scrap))
        return found

    def _batch_chance(self, batch: Batch, defect: Defect) -> tuple[float, float]:
        """The defect's chance in this batch: beta around its mean, likeness rho = 1/(a+b+1)."""
        mean = defect.rework_chance + defect.scrap_chance
        if defect.cause not in batch.chance:
            strength = 1 / self.truth.batch_likeness - 1
            chance = self.rng.beta(mean * strength, (1 - mean) * strength)
            batch.chance[defect.cause] = (
                chance * defect.rework_chance / mean,
                chance * defect.scrap_chance / mean,
            )
        return batch.chance[defect.cause]

    def _mend(self, worker: str, batch: Batch, name: str) -> None:
        for (cause, origin), pieces in sorted(batch.to_mend.pop(name, {}).items()):
            self._errand(
                worker,
                batch,
                name,
                "rework",
                pieces * self.truth.rework_seconds[name],
                units=pieces,
                cause=cause,
                cause_operation=origin,
            )

    def _errand(
        self, worker: str, batch: Batch, name: str, activity: str, mean: float, **columns
    ) -> None:
        """A setup, a walk or a mending: lognormal about its mean.

        Setting up or mending at another operation breaks the spell; a walk does not.
        """
        sd = self.truth.errand_sd
        seconds = mean * math.exp(self.rng.normal(-sd * sd / 2, sd))
        self._write(worker, batch, name, activity, seconds, **columns)
        cell = (worker, batch.product, name)
        if activity != "transport" and self.spell[worker][0] != cell:
            self.spell[worker] = (None, 0, 0.0)

    def _maybe_delay(self, worker: str, batch: Batch, operation: Operation) -> None:
        truth, rng = self.truth, self.rng
        if rng.random() < math.exp(-truth.delays_per_hour * self.worked_seconds / HOUR):
            return
        seconds = truth.delay_seconds * math.exp(rng.normal(-0.32, 0.8))
        cause = str(
            rng.choice(
                ["telephone", "parcel at the door", "looking for a tool", "neighbour"],
                p=[0.4, 0.2, 0.3, 0.1],
            )
        )
        known = cause == "looking for a tool"
        self._write(
            worker,
            batch if known else None,
            operation.name if known else "",
            "delay",
            seconds,
            cause=cause,
        )

    def _forget_to_stop(self, worker: str) -> None:
        """The watch ran on into the break: the lap is longer than the work was."""
        lap = self.laps[-1]
        over = float(self.rng.uniform(1500, 2600))
        lap["seconds"] = round(lap["seconds"] + over, 1)
        self.clock[worker] += math.ceil(over)
        self.forgotten.append(len(self.laps) - 1)

    def _write(
        self,
        worker: str,
        batch: Batch | None,
        operation: str,
        activity: str,
        seconds: float,
        **columns,
    ) -> None:
        start = self.clock[worker]
        lap = {
            "start": start,
            "seconds": max(round(seconds, 1), 1.0),
            "worker": worker,
            "product": batch.product if batch else "",
            "variant": batch.variant if batch else "",
            "batch": batch.name if batch else "",
            "operation": operation,
            "activity": activity,
            **columns,
        }
        self.laps.append(lap)
        self.clock[worker] = math.ceil(start + lap["seconds"]) + int(self.rng.integers(1, 4))
