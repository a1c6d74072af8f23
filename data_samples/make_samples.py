"""Make the bindery's files from known true values: `python data_samples/make_samples.py`.

Everything a test may ask back stands in `Truth` and is written to truth.json beside the files.
The seed is frozen: it was chosen before any result was seen and is not tuned.
The same numpy gives the same bytes.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
import json
import math
import pathlib
import sys
import zoneinfo
from collections import Counter, defaultdict

import numpy as np

FOLDER = pathlib.Path(__file__).parent
HOUR, DAY, WEEK = 3600, 86400, 7 * 86400


@dataclasses.dataclass(frozen=True)
class Operation:
    """One operation of a product: how it is learned, how it is timed, what follows it.

    `first_unit_seconds` is the maker's mean time of piece 1, `plateau_seconds` the part practice
    does not shorten (plateau curve only), `prior_pieces` the B of a (n + B)^b (prior only).
    """

    name: str
    curve: str
    first_unit_seconds: float
    learning_rate: float = 1.0
    plateau_seconds: float = 0.0
    prior_pieces: float = 0.0
    planned_seconds: float = 0.0
    pieces_per_lap: int = 5
    setup_seconds: float = 0.0
    setup_wait_seconds: float = 0.0
    wait_seconds: float = 0.0
    station: str = ""
    rack: str = ""
    rack_places: int = 0
    wait_holds_station: bool = False
    workers: tuple[str, ...] = ("maker", "helper")
    walk: bool = False
    batch_sd: float = 0.08
    activity: str = "operation"


@dataclasses.dataclass(frozen=True)
class Step:
    """One row of a product's routing: an operation, on which variants, after what."""

    operation: str
    after: str = ""
    variant: str = ""


@dataclasses.dataclass(frozen=True)
class Defect:
    """A fault that arises with a constant chance, a little alike within a batch (beta-binomial).

    Found in `operation`; `cause_operation` is the one that made it ("" = the same).
    """

    operation: str
    cause: str
    cause_operation: str
    rework_chance: float
    scrap_chance: float


def _operations(scale: float) -> tuple[Operation, ...]:
    """The operations of one product; a desk journal is the same work on larger sheets."""

    def scaled(name: str, curve: str, first: float, *, plateau: float = 0.0, **rest) -> Operation:
        return Operation(
            name, curve, round(first * scale, 1), plateau_seconds=round(plateau * scale, 1), **rest
        )

    return (
        scaled(
            "cut boards",
            "constant",
            38,
            planned_seconds=round(35 * scale),
            pieces_per_lap=25,
            setup_seconds=180,
            station="guillotine",
            workers=("maker",),
        ),
        scaled(
            "marble paper",
            "prior",
            120,
            learning_rate=0.88,
            prior_pieces=40,
            planned_seconds=round(100 * scale),
            setup_seconds=420,
            wait_seconds=4 * HOUR,
            station="marbling tray",
            rack="drying line",
            rack_places=60,
            workers=("maker",),
        ),
        scaled(
            "join cloth",
            "unit",
            80,
            learning_rate=0.94,
            planned_seconds=round(60 * scale),
            wait_seconds=1200,
        ),
        scaled(
            "fold sections",
            "plateau",
            260,
            learning_rate=0.80,
            plateau=115,
            planned_seconds=round(150 * scale),
        ),
        scaled(
            "punch",
            "constant",
            27,
            planned_seconds=round(25 * scale),
            pieces_per_lap=25,
            setup_seconds=90,
        ),
        scaled(
            "sew",
            "plateau",
            560,
            learning_rate=0.80,
            plateau=210,
            planned_seconds=round(300 * scale),
            pieces_per_lap=1,
            setup_seconds=150,
            station="sewing frame",
            workers=("maker",),
            batch_sd=0.15,
        ),
        scaled(
            "glue spine",
            "unit",
            52,
            learning_rate=0.96,
            planned_seconds=round(40 * scale),
            wait_seconds=1800,
            rack="drying rack",
            rack_places=60,
            batch_sd=0.22,
        ),
        scaled(
            "round corners",
            "constant",
            16,
            planned_seconds=round(15 * scale),
            pieces_per_lap=25,
            station="corner tool",
        ),
        scaled(
            "cover boards",
            "unit",
            240,
            learning_rate=0.93,
            planned_seconds=round(150 * scale),
            wait_seconds=HOUR,
            rack="drying rack",
            rack_places=60,
        ),
        scaled(
            "foil-stamp",
            "prior",
            75,
            learning_rate=0.86,
            prior_pieces=60,
            planned_seconds=round(60 * scale),
            setup_seconds=240,
            setup_wait_seconds=900,
            station="foil press",
            workers=("maker",),
        ),
        scaled(
            "case in",
            "plateau",
            210,
            learning_rate=0.78,
            plateau=95,
            planned_seconds=round(120 * scale),
            pieces_per_lap=2,
            wait_seconds=4 * HOUR,
            station="nipping press",
            wait_holds_station=True,
            workers=("maker",),
            walk=True,
        ),
        scaled(
            "attach boards",
            "unit",
            230,
            learning_rate=0.92,
            planned_seconds=round(160 * scale),
            pieces_per_lap=2,
            wait_seconds=2 * HOUR,
            workers=("maker",),
            walk=True,
        ),
        scaled(
            "trim",
            "unit",
            62,
            learning_rate=0.96,
            planned_seconds=round(45 * scale),
            station="guillotine",
            workers=("maker",),
            walk=True,
        ),
        scaled("inspect", "constant", 28, planned_seconds=round(30 * scale), activity="inspection"),
        scaled(
            "wrap", "cumulative_average", 66, learning_rate=0.94, planned_seconds=round(45 * scale)
        ),
    )


_BODY = (Step("fold sections"), Step("punch", "fold sections"), Step("sew", "punch"))
_POCKET = (
    Step("cut boards"),
    Step("marble paper", "", "marbled"),
    *_BODY,
    Step("glue spine", "sew"),
    Step("round corners", "glue spine"),
    Step("cover boards", "cut boards", "linen"),
    Step("cover boards", "cut boards|marble paper", "marbled"),
    Step("foil-stamp", "cover boards"),
    Step("case in", "round corners|foil-stamp"),
    Step("trim", "case in"),
    Step("inspect", "trim"),
    Step("wrap", "inspect"),
)
_JOURNAL = (
    Step("cut boards"),
    Step("marble paper", "", "marbled"),
    Step("join cloth", "cut boards", "quarter-cloth"),
    *_BODY,
    Step("glue spine", "sew"),
    Step("cover boards", "cut boards", "linen"),
    Step("cover boards", "cut boards|marble paper", "marbled"),
    Step("cover boards", "cut boards", "left-open"),
    Step("cover boards", "join cloth", "quarter-cloth"),
    Step("foil-stamp", "cover boards"),
    Step("case in", "glue spine|foil-stamp", "linen"),
    Step("case in", "glue spine|foil-stamp", "marbled"),
    Step("case in", "glue spine|foil-stamp", "quarter-cloth"),
    # Covering may go on while the spine dries hard; only the boards may not go on a wet spine.
    Step("attach boards", "glue spine:5400|foil-stamp", "left-open"),
    Step("trim", "case in", "linen"),
    Step("trim", "case in", "marbled"),
    Step("trim", "case in", "quarter-cloth"),
    Step("trim", "attach boards", "left-open"),
    Step("inspect", "trim"),
    Step("wrap", "inspect"),
)


@dataclasses.dataclass(frozen=True)
class Truth:
    """Every true value the demo is drawn from. Durations in seconds, chances per piece."""

    seed: int = 20261120
    timezone: str = "America/Chicago"
    first_monday: str = "2026-06-29"
    weeks: int = 21
    breaks: tuple[tuple[str, str], ...] = (
        ("2026-08-03", "2026-08-16"),
        ("2026-10-05", "2026-10-18"),
    )
    helper_starts: str = "2026-08-17"
    operations: dict[str, tuple[Operation, ...]] = dataclasses.field(
        default_factory=lambda: {
            "pocket notebook": _operations(1.0),
            "desk journal": _operations(1.5),
        }
    )
    routing: dict[str, tuple[Step, ...]] = dataclasses.field(
        default_factory=lambda: {"pocket notebook": _POCKET, "desk journal": _JOURNAL}
    )
    helper_first_unit_factor: float = 1.3
    retention_per_week: dict[str, float] = dataclasses.field(
        default_factory=lambda: {"maker": 0.88, "helper": 0.80}
    )
    restart_effect: float = 0.25
    piece_sd: float = 0.15
    rating_percent: dict[str, int] = dataclasses.field(
        default_factory=lambda: {"maker": 100, "helper": 95}
    )
    # Sewing spoils when rushed: chance = logistic(intercept + slope x), x the mean of
    # log(seconds / expected) over the up to `window` pieces sewn just before in the batch.
    sew_intercept: float = math.log(0.035 / 0.965)
    sew_slope: float = -6.0
    sew_window: int = 5
    sew_scrap_share: float = 0.3
    sew_spoiled_time_factor: float = 1.15
    # Careless gluing costs trimming: chance = logistic(intercept + slope x), x the log of the
    # batch's glue time over its expected glue time.
    glue_intercept: float = math.log(0.06 / 0.94)
    glue_slope: float = -4.0
    defects: tuple[Defect, ...] = (
        Defect("trim", "mis-folded section", "fold sections", 0.02, 0.0),
        Defect("cover boards", "air bubble", "", 0.02, 0.0),
        Defect("foil-stamp", "smudged foil", "", 0.0, 0.015),
        Defect("inspect", "loose thread", "sew", 0.02, 0.008),
    )
    batch_likeness: float = 0.04
    rework_seconds: dict[str, float] = dataclasses.field(
        default_factory=lambda: {
            "sew": 190.0,
            "trim": 85.0,
            "cover boards": 110.0,
            "inspect": 140.0,
        }
    )
    walk_seconds: float = 150.0
    delays_per_hour: float = 0.6
    delay_seconds: float = 240.0
    forgotten_stop_chance: float = 0.04
    errand_sd: float = 0.3


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


def mean_seconds(operation: Operation, worker: str, n: float, truth: Truth) -> float:
    """Mean time in seconds of the n-th piece, by the operation's curve (n may be fractional).

    unit a n^b; cumulative average n A(n) - (n-1) A(n-1) with A = a n^b; plateau c + (a-c) n^b;
    prior a ((n+B) / (1+B))^b, so that a is the time of piece 1. b = log2(learning rate).
    """
    factor = truth.helper_first_unit_factor if worker == "helper" else 1.0
    a, c = operation.first_unit_seconds * factor, operation.plateau_seconds * factor
    b, prior = math.log2(operation.learning_rate), operation.prior_pieces
    match operation.curve:
        case "constant":
            return a
        case "unit":
            return a * n**b
        case "cumulative_average":
            return a * (n ** (b + 1) - (n - 1) ** (b + 1))
        case "plateau":
            return c + (a - c) * n**b
        case "prior":
            return a * ((n + prior) / (1 + prior)) ** b
    raise ValueError(operation.curve)


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
    def _seconds_at(self, day: str) -> float:
        return (datetime.datetime.fromisoformat(day) - self.monday).total_seconds()

    def _open(self, day: float, worker: str) -> bool:
        closed = any(
            self._seconds_at(a) <= day <= self._seconds_at(b) for a, b in self.truth.breaks
        )
        hired = worker == "maker" or day >= self._seconds_at(self.truth.helper_starts)
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


LAP_COLUMNS = (
    "lap_id",
    "started_at",
    "seconds",
    "worker",
    "product",
    "variant",
    "batch",
    "operation",
    "activity",
    "units",
    "rework_units",
    "scrap_units",
    "cause",
    "cause_operation",
    "rating",
    "note",
)


def lap_rows(bindery: Bindery) -> list[dict]:
    """The laps in the order of their start, numbered, with a local time and its offset."""
    truth, zone = bindery.truth, zoneinfo.ZoneInfo(bindery.truth.timezone)
    order = sorted(range(len(bindery.laps)), key=lambda i: (bindery.laps[i]["start"], i))
    forgotten = set(bindery.forgotten)
    rows = []
    for number, i in enumerate(order, start=1):
        lap = bindery.laps[i]
        lap_id = f"lap-{number:05d}"
        if i in forgotten:
            bindery.forgotten_ids.append(lap_id)
        local = bindery.monday + datetime.timedelta(seconds=lap["start"])
        rating = truth.rating_percent[lap["worker"]]
        rows.append(
            {
                "units": 1,
                "rework_units": 0,
                "scrap_units": 0,
                "cause": "",
                "cause_operation": "",
                "note": "",
                **lap,
                "lap_id": lap_id,
                "started_at": local.replace(tzinfo=zone).isoformat(),
                "rating": "" if rating == 100 else rating,
            }
        )
    _add_notes(rows)
    return rows


def _add_notes(rows: list[dict]) -> None:
    """A few words as a maker leaves them: commas, quotes and an accent belong in the file."""
    rows[0]["note"] = "first day with the watch"
    previous = None
    for row in rows:
        day = datetime.date.fromisoformat(row["started_at"][:10])
        if previous and (day - previous).days > 10:
            row["note"] = "back at the bench, hands cold"
        previous = day
    for row in [r for r in rows if r["operation"] == "marble paper"][::40]:
        row["note"] = 'papier à la cuve, "size" a little thin'


def as_csv(columns: tuple[str, ...], rows: list[dict]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


ROUTING_COLUMNS = (
    "product",
    "operation",
    "variant",
    "after",
    "seconds",
    "setup_seconds",
    "wait_seconds",
    "setup_wait_seconds",
    "station",
    "skill",
    "pieces_at_once",
    "wait_holds_station",
    "rack",
    "rack_places",
    "max_wait_seconds",
)


def routing_rows(truth: Truth) -> list[dict]:
    rows = []
    for product, steps in truth.routing.items():
        operations = {o.name: o for o in truth.operations[product]}
        for step in steps:
            o = operations[step.operation]
            rows.append(
                {
                    "product": product,
                    "operation": o.name,
                    "variant": step.variant,
                    "after": step.after,
                    "seconds": int(o.planned_seconds),
                    "setup_seconds": int(o.setup_seconds),
                    "wait_seconds": int(o.wait_seconds),
                    "setup_wait_seconds": int(o.setup_wait_seconds),
                    "station": o.station,
                    "skill": "" if len(o.workers) == 2 else "|".join(o.workers),
                    "pieces_at_once": 1,
                    "wait_holds_station": "true" if o.wait_holds_station else "",
                    "rack": o.rack,
                    "rack_places": o.rack_places or "",
                }
            )
    return rows


def stock_rows(bindery: Bindery) -> list[dict]:
    """Counts, sales and put-aways of the last five weeks; the last wrapped batches still lie
    on the bench: packed but not put away."""
    truth = bindery.truth
    rng = np.random.default_rng(truth.seed + 1)
    zone = zoneinfo.ZoneInfo(truth.timezone)
    first = bindery._seconds_at(truth.breaks[-1][1])
    last_put_away = bindery._seconds_at("2026-11-19")
    events = [
        (first + 10 * HOUR, "count", product, variant, int(rng.integers(20, 45)))
        for product, variants in VARIANTS.items()
        for variant in variants
    ]
    stock = {(product, variant): pieces for _, _, product, variant, pieces in events}
    put_away = [
        (
            b.done_at["wrap"] // DAY * DAY + 16.5 * HOUR,
            "put_away",
            b.product,
            b.variant,
            int(b.whole.sum()),
        )
        for b in bindery.batches
        if first < b.done_at.get("wrap", 0) < last_put_away
    ]
    sales = [
        (
            first + week * WEEK + 5 * DAY + 15 * HOUR,
            "sale",
            product,
            variant,
            int(rng.poisson(pieces)),
        )
        for week in range(5)
        for (product, variant), pieces in WEEKLY_SALES.items()
    ]
    rows = []
    for at, kind, product, variant, pieces in events + sorted(put_away + sales):
        if kind == "sale":
            pieces = min(pieces, stock[product, variant])
        if kind != "count":
            stock[product, variant] += pieces if kind == "put_away" else -pieces
        local = bindery.monday + datetime.timedelta(seconds=at)
        rows.append(
            {
                "moved_at": local.replace(tzinfo=zone).isoformat(),
                "kind": kind,
                "product": product,
                "variant": variant,
                "pieces": pieces,
            }
        )
    return rows


STOCK_COLUMNS = ("moved_at", "kind", "product", "variant", "pieces")
WEEKLY_SALES = {
    ("pocket notebook", "linen"): 36,
    ("pocket notebook", "marbled"): 26,
    ("desk journal", "linen"): 14,
    ("desk journal", "marbled"): 12,
    ("desk journal", "left-open"): 10,
    ("desk journal", "quarter-cloth"): 8,
}

SHOP = """\
# The bindery's hours, people and products. Every key may be left out.

[shop]
name = "Garage bindery"
timezone = "America/Chicago"
currency = "USD"

[week]
Mon = "08:30-12:30, 13:15-16:15"
Tue = "08:30-12:30, 13:15-16:15"
Wed = "08:30-12:30, 13:15-16:15"
Thu = "08:30-12:30, 13:15-16:15"
Fri = "08:30-12:30, 13:15-16:15"

[allowance]
personal = 5
fatigue = 4
contingency = 5
convention = "of normal time"

[workers.maker]
cost_per_hour = 24.0
hours_per_week = 35

[workers.helper]
cost_per_hour = 18.0
hours_per_week = 10

[products."pocket notebook"]
demand_per_week = 62
batch_size = 50
price = 12.0
material_cost = 3.6
stock = 41

[products."pocket notebook".variants.linen]
demand_per_week = 36
stock = 29

[products."pocket notebook".variants.marbled]
demand_per_week = 26
batch_size = 25
price = 13.5
material_cost = 4.1
stock = 12

[products."desk journal"]
demand_per_week = 44
batch_size = 25
price = 27.0
material_cost = 8.9
stock = 35

[products."desk journal".variants.linen]
demand_per_week = 14
stock = 6

[products."desk journal".variants.marbled]
demand_per_week = 12
price = 30.0
material_cost = 9.8
stock = 14

[products."desk journal".variants.left-open]
demand_per_week = 10
price = 28.0
stock = 11

[products."desk journal".variants.quarter-cloth]
demand_per_week = 8
price = 28.0
material_cost = 9.2
stock = 4

[overhead]
per_week = 110.0
"""

# What a hurried hand writes. The checks name every fault; data_samples/README.md lists them.
MESSY = """\
lap_id,started_at,seconds,worker,product,variant,batch,operation,activity,units,\
rework_units,scrap_units,cause,cause_operation,rating,note,weather
a-1,2026-11-18T09:00:00-06:00,212.5,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,100,\
a good lap,dry
a-2,2026-11-18T09:04:00-06:00,three minutes,maker,pocket notebook,linen,001,sew,operation,1,0,0,\
,,100,seconds is not a number,dry
a-3,2026-11-18T09:08:00-06:00,,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,100,\
seconds is missing,dry
a-4,18/31/2026 9am,205,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,100,\
no such date,dry
a-5,2026-11-18T09:16:00-06:00,230,maker,pocket notebook,linen,001,sew,sewing,1,0,0,,,100,\
no such activity,dry
a-6,2026-11-18T09:20:00-06:00,640,maker,pocket notebook,linen,001,trim,operation,5,4,3,\
glue squeezed out,glue spine,100,4 + 3 of 5,dry
a-7,2026-11-18T09:32:00-06:00,198,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,300,\
rated 300 percent,dry
a-1,2026-11-18T09:36:00-06:00,150,maker,desk journal,marbled,002,wrap,operation,1,0,0,,,100,\
a-1 once more but another lap,dry
a-9,2026-11-18T09:40:00-06:00,-20,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,100,\
less than no time,dry
a-10,2026-11-18T09:44:00-06:00,90000,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,100,\
longer than a day,dry
a-11,2026-11-18T10:10:00-06:00,220,maker,,linen,001,sew,operation,1,0,0,,,100,\
no product and not a delay,dry
a-12,2026-11-18T10:14:00-06:00,300,maker,pocket notebook,linen,001,fold sections,operation,2.5,\
0,0,,,100,half a piece,dry
a-13,2026-11-18T10:20:00-06:00,180,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,100,\
=1+1,dry
a-14,2026-11-18T10:24:00-06:00,95,maker,,,,,delay,,,,telephone,,,a good delay,wet
a-15,2026-11-01T01:30:00,200,maker,pocket notebook,linen,001,sew,operation,1,0,0,,,100,\
half past one came twice that night,dry
"""


def cell_truths(bindery: Bindery) -> list[dict]:
    """Per worker, product and operation: the curve, and where practice stands at the end."""
    truth, cells = bindery.truth, []
    for (worker, product, name), made in sorted(bindery.pieces_made.items()):
        operation = next(o for o in truth.operations[product] if o.name == name)
        factor = truth.helper_first_unit_factor if worker == "helper" else 1.0
        experience = bindery.experience[worker, product, name]
        cells.append(
            {
                "worker": worker,
                "product": product,
                "operation": name,
                "curve": operation.curve,
                "first_unit_seconds": round(operation.first_unit_seconds * factor, 4),
                "learning_rate": operation.learning_rate,
                "plateau_seconds": round(operation.plateau_seconds * factor, 4) or None,
                "prior_pieces": operation.prior_pieces or None,
                "batch_sd": operation.batch_sd,
                "pieces_made": made,
                "experience_at_end": round(experience, 4),
                "mean_restart_multiple": round(
                    np.divide(*bindery.restart_seconds[worker, product, name]), 6
                ),
                "present_seconds": round(mean_seconds(operation, worker, experience + 1, truth), 4),
            }
        )
    return cells


def truth_json(bindery: Bindery) -> str:
    values = dataclasses.asdict(bindery.truth)
    values["cells"] = cell_truths(bindery)
    values["forgotten_stop_lap_ids"] = bindery.forgotten_ids
    return json.dumps(values, indent=1) + "\n"


def make_files(truth: Truth | None = None) -> dict[str, str]:
    """File name -> text of every sample file."""
    bindery = Bindery(truth or Truth())
    bindery.work()
    laps = lap_rows(bindery)
    return {
        "laps.csv": as_csv(LAP_COLUMNS, laps),
        "routing.csv": as_csv(ROUTING_COLUMNS, routing_rows(bindery.truth)),
        "shop.toml": SHOP,
        "stock_movements.csv": as_csv(STOCK_COLUMNS, stock_rows(bindery)),
        "messy_laps.csv": MESSY,
        "truth.json": truth_json(bindery),
    }


def main(folder: pathlib.Path = FOLDER) -> None:
    for name, text in make_files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
