"""The shop as simulated weeks see it: lines of product, their steps, people, places, hours.

Plain frozen data, no calculation. Durations are seconds, chances are per piece, money is in the
shop's currency, weeks are counted from 0 at the Monday on which the simulation begins.

A *doubt* is the standard deviation of the logarithm of a figure that is not known for certain: one
draw of it holds for a whole run, so that runs differ as the truth may. Piece-to-piece and batch-
to-batch scatter (`piece_log_sd`, `batch_log_sd`) is drawn anew each time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

RELEASES = ("stock", "orders", "always")
CURVES = ("constant", "unit", "cumulative_average", "plateau", "prior")
SCATTERS = ("lognormal", "exponential", "none")
SEVEN_DAYS_ROUND = ((0.0, 604800.0),)
WEEK_SECONDS = 604800.0


@dataclass(frozen=True)
class Step:
    """One operation on the route of a line.

    before: (place of the step in `Line.steps` that must be complete, seconds its pieces wait after
    it) for each predecessor; all lie earlier in the list.
    station: a name in `ShopModel.stations`, "" where it needs none; a batch holds one of its places
    from the start of the setup to the end of the work, through the wait where
    `wait_holds_station`, and until the following step begins where `stays_until_taken`.
    wait_seconds: that the pieces stay in the station after the work (used for holding it only; what
    followers wait for stands in their `before`).
    workers: names of those who can do it; () is everybody.
    pieces_at_once: pieces done in one go; a skill's seconds are those of one go.
    setup_seconds attended, setup_wait_seconds unattended (a press warms up), once a batch.
    transport_seconds: walking with the batch, once a batch, before the work.
    rework_seconds: of one piece that needs rework, on the spot by the same person.
    time_factor: on every skill's seconds (a machine), with its doubt.
    """

    operation: str
    before: tuple[tuple[int, float], ...] = ()
    station: str = ""
    workers: tuple[str, ...] = ()
    pieces_at_once: int = 1
    setup_seconds: float = 0.0
    setup_wait_seconds: float = 0.0
    transport_seconds: float = 0.0
    wait_seconds: float = 0.0
    wait_holds_station: bool = False
    stays_until_taken: bool = False
    rework_chance: float = 0.0
    rework_seconds: float = 0.0
    scrap_chance: float = 0.0
    rework_doubt: float = 0.0
    scrap_doubt: float = 0.0
    setup_doubt: float = 0.0
    time_factor: float = 1.0
    time_factor_doubt: float = 0.0


@dataclass(frozen=True)
class Line:
    """One product and variant that is made in batches.

    release: "stock" begins a batch when stock and work under way cover less than `cover_weeks` of
    demand (looked at each morning); "orders" begins one when a customer's order comes, at random
    moments (Poisson), each for one batch; "always" has the next batch ready whenever one is taken
    up (what the shop could make at most).
    demand_spread: variance of a week's demand over its mean: 1 as of many independent customers
    (Poisson), 0 always the same.
    """

    product: str
    variant: str
    steps: tuple[Step, ...]
    batch_size: int = 25
    demand_per_week: float = 0.0
    demand_doubt: float = 0.0
    demand_spread: float = 1.0
    stock: float = 0.0
    price: float | None = None
    material_cost: float | None = None
    release: str = "stock"
    cover_weeks: float = 2.0


@dataclass(frozen=True)
class Skill:
    """How long one person takes for one go of one operation of one product.

    curve and its figures as in `study/curves.py`: first_unit_seconds is the mean of go 1, exponent
    b = log2(learning rate), plateau_seconds of curve "plateau", prior_pieces B of "prior".
    experience: goes done before the first week. retention_per_week: what a week away leaves of it,
    counted from the eighth day without this operation. restart_effect: log of how much slower the
    first piece after a start is; the k-th has restart 2^-(k-1) of it.
    level_doubt holds at the present experience, exponent_doubt (standard deviation of b itself)
    turns the curve about it, loss_doubt is the standard deviation of -log(retention).
    """

    first_unit_seconds: float
    curve: str = "constant"
    exponent: float = 0.0
    plateau_seconds: float = 0.0
    prior_pieces: float = 0.0
    experience: float = 0.0
    retention_per_week: float = 1.0
    restart_effect: float = 0.0
    piece_log_sd: float = 0.0
    batch_log_sd: float = 0.0
    level_doubt: float = 0.0
    exponent_doubt: float = 0.0
    loss_doubt: float = 0.0
    scatter: str = "lognormal"
    source: str = "measured"


@dataclass(frozen=True)
class Hand:
    """One person at the bench.

    hours_per_week: None is all the shop's hours; fewer are spread evenly over the open days, from
    opening time on. available: share of those hours at work in week 0, 1, … (1 after the last, and
    where empty): training, supervision, weeks off are taken away here; what is left lies at the end
    of each stretch of hours. operations: that they may do, None for all that the steps allow.
    cost_per_hour: None is an owner without a wage.
    """

    name: str
    hours_per_week: float | None = None
    cost_per_hour: float | None = None
    from_week: int = 0
    until_week: int | None = None
    available: tuple[float, ...] = ()
    operations: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Order:
    """A big order with a date: so many pieces more are asked for in that week.

    known_weeks_before: batches for it are begun from so many weeks before on. price: of each, None
    is the line's; they are taken to be the first that are sold in that week.
    """

    line: int
    week: int
    pieces: float
    known_weeks_before: int = 4
    price: float | None = None

    @property
    def begun_in_week(self) -> int:
        """The first week in which batches for it are begun."""
        return max(self.week - self.known_weeks_before, 0)


@dataclass(frozen=True)
class SharedDoubt:
    """One doubt that moves several figures at once: a stranger's pace, a machine not yet owned.

    figures: names of the figures as their own draws are named (`decisions/naming.py`); the draw of
    `name` times `doubt` is added to the log of each (to the exponent itself of a practice).
    """

    name: str
    doubt: float
    figures: frozenset[str]


@dataclass(frozen=True)
class ShopModel:
    """Everything the simulated weeks need.

    skills: (hand, product, operation) -> Skill; who has none for an operation cannot do it.
    stations: name -> places. open_seconds: (start, end) in seconds of the week from Monday 00:00,
    sorted, breaks being the gaps. closed: share of week 0, 1, … that is lost to all (a move, the
    year's closed weeks). weeks_closed_per_year: as told. weeks_logged: (weeks that the laps span,
    those of them without a lap).
    demand_factor: on every line's demand in week 0, 1, … (the last goes on; () is 1).
    delay_share: interruptions in seconds per second of work, as logged (delay_logged) or as allowed
    for; rest_share: personal and fatigue allowance likewise. Both lengthen the time at the bench.
    left_out: what the shop has and the model does not, in plain words.
    held: (name of a draw, z) of figures in doubt that every run has at the same value, z standard
    deviations up, instead of drawing them.
    """

    lines: tuple[Line, ...]
    skills: Mapping[tuple[str, str, str], Skill]
    hands: tuple[Hand, ...]
    stations: Mapping[str, int] = field(default_factory=dict)
    open_seconds: tuple[tuple[float, float], ...] = SEVEN_DAYS_ROUND
    closed: tuple[float, ...] = ()
    weeks_closed_per_year: int = 0
    weeks_logged: tuple[int, int] = (0, 0)
    demand_factor: tuple[float, ...] = ()
    orders: tuple[Order, ...] = ()
    delay_share: float = 0.0
    delay_doubt: float = 0.0
    delay_logged: bool = False
    rest_share: float = 0.0
    overhead_per_week: float = 0.0
    shared_doubts: tuple[SharedDoubt, ...] = ()
    left_out: tuple[str, ...] = ()
    held: tuple[tuple[str, float], ...] = ()
