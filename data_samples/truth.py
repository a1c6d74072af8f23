"""The true values behind the demo: operations, routes, faults, and the time of the n-th piece."""

from __future__ import annotations

import dataclasses
import math

HOUR = 3600


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

    def timed(name: str, curve: str, first: float, plateau: float = 0.0, **rest) -> Operation:
        planned = round(rest.pop("planned") * scale)
        first, plateau = round(first * scale, 1), round(plateau * scale, 1)
        return Operation(
            name, curve, first, plateau_seconds=plateau, planned_seconds=planned, **rest
        )

    alone = {"workers": ("maker",)}
    drying = {"rack": "drying rack", "rack_places": 60}
    # fmt: off
    return (
        timed("cut boards", "constant", 38, planned=35, pieces_per_lap=25, setup_seconds=180,
              station="guillotine", **alone),
        timed("marble paper", "prior", 120, planned=100, learning_rate=0.88, prior_pieces=40,
              setup_seconds=420, wait_seconds=4 * HOUR, station="marbling tray",
              rack="drying line", rack_places=60, **alone),
        timed("join cloth", "unit", 80, planned=60, learning_rate=0.94, wait_seconds=1200),
        timed("fold sections", "plateau", 260, 115, planned=150, learning_rate=0.80),
        timed("punch", "constant", 27, planned=25, pieces_per_lap=25, setup_seconds=90),
        timed("sew", "plateau", 560, 210, planned=300, learning_rate=0.80, pieces_per_lap=1,
              setup_seconds=150, station="sewing frame", batch_sd=0.15, **alone),
        timed("glue spine", "unit", 52, planned=40, learning_rate=0.96, wait_seconds=1800,
              batch_sd=0.22, **drying),
        timed("round corners", "constant", 16, planned=15, pieces_per_lap=25,
              station="corner tool"),
        timed("cover boards", "unit", 240, planned=150, learning_rate=0.93, wait_seconds=HOUR,
              **drying),
        timed("foil-stamp", "prior", 75, planned=60, learning_rate=0.86, prior_pieces=60,
              setup_seconds=240, setup_wait_seconds=900, station="foil press", **alone),
        timed("case in", "plateau", 210, 95, planned=120, learning_rate=0.78, pieces_per_lap=2,
              wait_seconds=4 * HOUR, station="nipping press", wait_holds_station=True,
              rack_places=60, walk=True, **alone),
        timed("attach boards", "unit", 230, planned=160, learning_rate=0.92, pieces_per_lap=2,
              wait_seconds=2 * HOUR, walk=True, **alone),
        timed("trim", "unit", 62, planned=45, learning_rate=0.96, station="guillotine", walk=True,
              **alone),
        timed("inspect", "constant", 28, planned=30, activity="inspection"),
        timed("wrap", "cumulative_average", 66, planned=45, learning_rate=0.94),
    )
    # fmt: on


# fmt: off
_BODY = (Step("fold sections"), Step("punch", "fold sections"), Step("sew", "punch"))
_POCKET = (
    Step("cut boards"), Step("marble paper", "", "marbled"), *_BODY,
    Step("glue spine", "sew"), Step("round corners", "glue spine"),
    Step("cover boards", "cut boards", "linen"),
    Step("cover boards", "cut boards|marble paper", "marbled"),
    Step("foil-stamp", "cover boards"), Step("case in", "round corners|foil-stamp"),
    Step("trim", "case in"), Step("inspect", "trim"), Step("wrap", "inspect"),
)
_JOURNAL = (
    Step("cut boards"), Step("marble paper", "", "marbled"),
    Step("join cloth", "cut boards", "quarter-cloth"), *_BODY,
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
    Step("trim", "case in", "linen"), Step("trim", "case in", "marbled"),
    Step("trim", "case in", "quarter-cloth"), Step("trim", "attach boards", "left-open"),
    Step("inspect", "trim"), Step("wrap", "inspect"),
)
# fmt: on


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
