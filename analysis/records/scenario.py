"""A scenario: what would change in the shop (a helper, a machine, a move, demand), read from TOML.

A figure marked * may be a range `[low, high]`: in nine of ten cases it would lie between them (a
machine not yet owned: a trial, a supplier's figures). A plain number is taken as sure. What is
added up (money, hours, days) is as likely as far above the middle of a range as below it; what
multiplies (a factor, seconds of a piece, a share, a rate) as many times above as below: `Estimate`.

| key | default | meaning |
|---|---|---|
| scenario.name | "Scenario" | printed on pages |
| scenario.horizon_weeks | 104 | how far ahead is looked, in weeks |
| scenario.discount_rate_per_year | 0.05 | what money tied up could earn elsewhere: 0.05 is 5 % |
| scenario.starts_in_month | 1 | 1 January … 12: where `season` and `months` begin |
| helper.hours_per_week, cost_per_hour | needed | paid whether there is work or not; 0 = unpaid |
| helper.name | "new helper" | |
| helper.first_unit_factor* | 1 | time of the very first piece, in those of the shop's own people |
| helper.learning_rate* | pooled: the shop's own and published | 0.8 = an 80 % curve |
| helper.training_hours* | 8 | hours in which both teach and learn, and neither makes pieces |
| helper.supervision_share | 0 | of a worker's hour, for each hour of the helper |
| helper.operations | all that the routing keeps for nobody | what the helper may do |
| helper.from_week, until_week | 1, the horizon | weeks in which the helper is there |
| helper.months | all | only in these months: [10, 11, 12] |
| equipment.operation | needed | one operation, or a list |
| equipment.name | the operation | |
| equipment.time_factor* | 1 | of the present time: 0.5 is twice as fast |
| equipment.seconds* | | instead: seconds of one piece (of one load, with pieces_at_once) |
| equipment.attended_share* | 1 | of its time in which a worker must stand by |
| equipment.pieces_at_once | as now | a press or tray takes so many in one go |
| equipment.setup_seconds* | as now | once per batch |
| equipment.faults_factor* | 1 | of the present faults: 2 is about twice as many (by odds) |
| equipment.price*, resale* | 0 | paid at the start; got back at its end or the horizon's |
| equipment.life_weeks | the horizon | after it the work is done as before |
| equipment.running_cost_per_week* | 0 | power, upkeep |
| equipment.new_station | none | true: one more place there; text: a station of its own |
| move.rent_per_week* | 0 | what is added to the present rent |
| move.fit_out*, lost_days* | 0 | money before the first day; working days without work |
| move.lease_weeks, notice_weeks | 0 | rent is owed at least so long; so long after giving it up |
| move.whole_rent_per_week | rent_per_week | of the new room: what is owed where it is given up |
| move.deposit* | 0 | paid before the first day, back at the end |
| move.transport_factor | 1 | of the present walks: 0 is none |
| move.added_stations | none | {press = 1}, ["press"], or a number of places where most needed |
| move.batch_size | as now | for all products, or {"desk journal" = 50} |
| move.commute_hours_per_week* | 0 | off the first worker's hours at the bench |
| demand.factor* | 1 | of the present demand (of `products`, where that is a list) |
| demand.products | | {"desk journal" = 60}: pieces a week from now on |
| demand.growth_per_year* | 0 | 0.1 is 10 % a year, week by week |
| demand.season | none | 12 factors, January first |
| demand.orders | none | [[demand.orders]] product, variant, pieces, week (due), price |
| demand.either_way | false | true: this demand comes with or without the rest of the scenario |

[equipment] may be repeated as [[equipment]]. The default horizon, rate and training hours are
common practice, no source.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import overload

from analysis.problems import BadInput
from analysis.records.figures import figure
from analysis.records.shop import WEEKS_PER_YEAR
from analysis.records.source import Source, read_source
from analysis.records.toml import MOST, Path, Reader, numbered, parsed

KIND = "scenario file"
LONGEST_WEEKS = 1040
MONTHS = 12


@dataclass(frozen=True)
class Estimate:
    """A figure, or the range it lies in in nine of ten cases; low == high is taken as sure."""

    low: float
    high: float

    @property
    def is_range(self) -> bool:
        """Whether it is in doubt."""
        return self.low < self.high

    @property
    def middle(self) -> float:
        """Of what is added up (money, hours, days): (low + high) / 2, its median and its mean.

        Where only two limits are known, the best estimate is half-way between them, and a range
        said to hold nine of ten is taken as that of a normal distribution (Guide to the Expression
        of Uncertainty in Measurement, JCGM 100:2008, 4.3.4 and 4.3.5, from memory). A sum of money
        is expected at its mean, so 800 to 1,600 counts as 1,200 and not as their geometric mean.
        """
        return (self.low + self.high) / 2

    @property
    def typical(self) -> float:
        """Of what multiplies (a factor, seconds of a piece, a share): sqrt(low x high), its median.

        Log-normal: half as long is as likely as twice as long, and nothing falls below 0. The mean
        of its logarithm is half-way between those of the ends (the same guide, of the logarithm).
        """
        if self.low > 0:
            return math.sqrt(self.low * self.high) if self.is_range else self.low
        return self.middle


def sure(value: float) -> Estimate:
    """A figure without doubt."""
    return Estimate(value, value)


@dataclass(frozen=True)
class Helper:
    """One more pair of hands. `learning_rate` None: pooled; `operations` (): those open to all."""

    hours_per_week: float
    cost_per_hour: float
    name: str = "new helper"
    first_unit_factor: Estimate = sure(1.0)
    learning_rate: Estimate | None = None
    training_hours: Estimate = sure(8.0)
    supervision_share: float = 0.0
    operations: tuple[str, ...] = ()
    from_week: int = 1
    until_week: int | None = None
    months: tuple[int, ...] = ()


@dataclass(frozen=True)
class Equipment:
    """A machine or tool for some operations; None is "as now"."""

    operations: tuple[str, ...]
    name: str = ""
    time_factor: Estimate | None = None
    seconds: Estimate | None = None
    attended_share: Estimate = sure(1.0)
    pieces_at_once: int | None = None
    setup_seconds: Estimate | None = None
    faults_factor: Estimate = sure(1.0)
    price: Estimate = sure(0.0)
    life_weeks: int | None = None
    resale: Estimate = sure(0.0)
    running_cost_per_week: Estimate = sure(0.0)
    new_station: bool | str = False


@dataclass(frozen=True)
class Move:
    """Another room. `added_stations` maps a station to places, "" standing for where needed."""

    rent_per_week: Estimate = sure(0.0)
    fit_out: Estimate = sure(0.0)
    lost_days: Estimate = sure(0.0)
    transport_factor: float = 1.0
    added_stations: tuple[tuple[str, int], ...] = ()
    batch_size: tuple[tuple[str, int], ...] = ()  # product ("" = all), pieces
    commute_hours_per_week: Estimate = sure(0.0)
    whole_rent_per_week: float | None = None
    lease_weeks: int = 0
    notice_weeks: int = 0
    deposit: Estimate = sure(0.0)


@dataclass(frozen=True)
class Order:
    """A dated order: `pieces` due at the end of week `week`; price None is the usual one."""

    product: str
    pieces: int
    week: int
    variant: str = ""
    price: float | None = None


@dataclass(frozen=True)
class Demand:
    """What is asked for. `products`: pieces a week; `factor_products` (): the factor is for all."""

    factor: Estimate = sure(1.0)
    products: tuple[tuple[str, float], ...] = ()
    factor_products: tuple[str, ...] = ()
    growth_per_year: Estimate = sure(0.0)
    season: tuple[float, ...] = ()
    orders: tuple[Order, ...] = ()
    either_way: bool = False


@dataclass(frozen=True)
class Origin:
    """Where a scenario was written: the file, and the line of each table and key."""

    file: str = "the scenario"
    lines: dict[Path, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Scenario:
    """What would change, over how many weeks it is looked at, and what money costs."""

    name: str = "Scenario"
    horizon_weeks: int = 104
    discount_rate_per_year: float = 0.05
    starts_in_month: int = 1
    helper: Helper | None = None
    equipment: tuple[Equipment, ...] = ()
    move: Move | None = None
    demand: Demand | None = None
    origin: Origin = field(default_factory=Origin, compare=False, repr=False)

    def month_of_week(self, week: int) -> int:
        """The month, 1 to 12, in which week `week` (0 first) begins."""
        return (self.starts_in_month - 1 + week * MONTHS // WEEKS_PER_YEAR) % MONTHS + 1


def read_scenario(source: Source, name: str = "") -> Scenario:
    """The scenario in a TOML file (path, bytes or open file); BadInput lists every fault."""
    text = read_source(source, name)
    return scenario_of(parsed(text.name, text.text, KIND), text.name, text.text)


def scenario_of(tables: dict, name: str = "the scenario", text: str = "") -> Scenario:
    """The scenario of parsed tables, as of a form; `text`, where there is one, gives the lines."""
    reader = _Reader(name, text, KIND)
    scenario = _scenario(reader, tables)
    if reader.faults:
        raise BadInput(sorted(reader.faults, key=lambda fault: fault.row))
    return scenario


def check_names(
    scenario: Scenario, operations: set[str], products: dict[str, set[str]], stations: set[str]
) -> None:
    """Raise BadInput where the scenario names what the shop does not have.

    products: the variants of each product ("" among them).
    """
    reader = _Reader(scenario.origin.file, "", KIND)
    reader.lines = scenario.origin.lines
    for path, asked in _operations_named(scenario):
        for name in asked:
            _known(reader, path, "operation", name, operations)
    for path, product in _products_named(scenario):
        _known(reader, path, "product", product, set(products))
    for place, order in enumerate(scenario.demand.orders if scenario.demand else (), 1):
        if order.variant and order.product in products:
            path = ("demand", numbered("orders", place), "variant")
            _known(reader, path, "variant", order.variant, products[order.product])
    for station, _ in scenario.move.added_stations if scenario.move else ():
        if station:
            _known(reader, ("move", "added_stations"), "station", station, stations)
    if reader.faults:
        raise BadInput(sorted(reader.faults, key=lambda fault: fault.row))


def _operations_named(scenario: Scenario) -> Iterator[tuple[Path, tuple[str, ...]]]:
    if scenario.helper:
        yield ("helper", "operations"), scenario.helper.operations
    for place, machine in enumerate(scenario.equipment, 1):
        yield (numbered("equipment", place), "operation"), machine.operations


def _products_named(scenario: Scenario) -> Iterator[tuple[Path, str]]:
    demand, move = scenario.demand or Demand(), scenario.move or Move()
    for name, _ in demand.products:
        yield ("demand", "products"), name
    for name in demand.factor_products:
        yield ("demand", "products"), name
    for place, order in enumerate(demand.orders, 1):
        yield ("demand", numbered("orders", place), "product"), order.product
    for name, _ in move.batch_size:
        if name:
            yield ("move", "batch_size"), name


def _known(reader: "_Reader", path: Path, what: str, name: str, names: set[str]) -> None:
    if name not in names:
        there = ", ".join(sorted(name for name in names if name)) or "none"
        remedy = f"there are: {there}"
        if what == "product":
            remedy += "; one that nobody asks for yet needs its demand_per_week in the shop first"
        reader.fault(path, f"names no {what} of the shop", name, remedy)


def _scenario(reader: "_Reader", tables: dict) -> Scenario:
    reader.known((), tables, ("scenario", "helper", "equipment", "move", "demand"))
    keys = ("name", "horizon_weeks", "discount_rate_per_year", "starts_in_month")
    own, path = reader.table((), tables, "scenario", keys), ("scenario",)
    horizon = reader.whole(path, own, "horizon_weeks", 1, LONGEST_WEEKS, Scenario.horizon_weeks)
    return Scenario(
        name=reader.text(path, own, "name", Scenario.name),
        horizon_weeks=horizon,
        discount_rate_per_year=_rate(reader, own),
        starts_in_month=reader.whole(path, own, "starts_in_month", 1, MONTHS, 1),
        helper=_helper(reader, tables, horizon),
        equipment=_equipment(reader, tables),
        move=_move(reader, tables),
        demand=_demand(reader, tables, horizon),
        origin=Origin(reader.file, reader.lines),
    )


def _rate(reader: "_Reader", own: dict) -> float:
    path = ("scenario",)
    rate = reader.amount(path, own, "discount_rate_per_year", Scenario.discount_rate_per_year)
    if rate <= 1:
        return rate
    reader.fault(path + ("discount_rate_per_year",), "is more than 1", rate, "write 5 % as 0.05")
    return Scenario.discount_rate_per_year


HELPER_KEYS = (
    "name", "hours_per_week", "cost_per_hour", "first_unit_factor", "learning_rate",
    "training_hours", "supervision_share", "operations", "from_week", "until_week", "months",
)  # fmt: skip


def _helper(reader: "_Reader", tables: dict, horizon: int) -> Helper | None:
    if "helper" not in tables:
        return None
    path, table = ("helper",), reader.table((), tables, "helper", HELPER_KEYS)
    hours = reader.needed(path, table, "hours_per_week", "say the hours at the bench in a week")
    if hours == 0:
        reader.fault(path + ("hours_per_week",), "leaves no hours to work", 0, "give more than 0")
    first = reader.whole(path, table, "from_week", 1, horizon, 1)
    last = reader.whole(path, table, "until_week", 1, horizon, None)
    if last is not None and last < first:
        reader.fault(path + ("until_week",), "is before from_week", last, f"give {first} or more")
    return Helper(
        hours_per_week=reader.below(path + ("hours_per_week",), hours, 168, 1),
        cost_per_hour=reader.needed(
            path, table, "cost_per_hour", "give the wage with all that is paid on it; 0 if unpaid"
        ),
        name=reader.text(path, table, "name", Helper.name),
        first_unit_factor=reader.estimate(path, table, "first_unit_factor", 0.05, 20, 1.0),
        learning_rate=reader.estimate(path, table, "learning_rate", 0.5, 1, None),
        training_hours=reader.estimate(path, table, "training_hours", 0, 10_000, 8.0),
        supervision_share=reader.number(path, table, "supervision_share", 0, 1, 0.0),
        operations=reader.names(path, table, "operations", "helper may do no operation"),
        from_week=first,
        until_week=last,
        months=_months(reader, table),
    )


def _months(reader: "_Reader", table: dict) -> tuple[int, ...]:
    months = table.get("months", [])
    if isinstance(months, list) and all(
        type(month) is int and 1 <= month <= MONTHS for month in months
    ):
        return tuple(sorted(set(months)))
    reader.fault(("helper", "months"), "are no months", months, "write [10, 11, 12]")
    return ()


EQUIPMENT_KEYS = (
    "name", "operation", "time_factor", "seconds", "attended_share", "pieces_at_once",
    "setup_seconds", "faults_factor", "price", "life_weeks", "resale", "running_cost_per_week",
    "new_station",
)  # fmt: skip


def _equipment(reader: "_Reader", tables: dict) -> tuple[Equipment, ...]:
    given = tables.get("equipment", [])
    machines = given if isinstance(given, list) else [given]
    names = [numbered("equipment", place) for place in range(1, len(machines) + 1)]
    return tuple(
        _machine(reader, (name,), reader.table((), {name: machine}, name, EQUIPMENT_KEYS))
        for name, machine in zip(names, machines, strict=True)
    )


def _machine(reader: "_Reader", path: Path, table: dict) -> Equipment:
    operations = reader.names(path, table, "operation", "equipment is for no operation")
    if "operation" not in table:
        reader.fault(path, "is for no operation", "", 'give operation = "…"')
    if "time_factor" in table and "seconds" in table:
        reader.fault(
            path + ("seconds",), "stands beside time_factor", table["seconds"], "give one of them"
        )
    life = reader.whole(path, table, "life_weeks", 1, 100_000, None)
    return Equipment(
        operations=operations,
        name=reader.text(path, table, "name", " and ".join(operations) or "equipment"),
        time_factor=reader.estimate(path, table, "time_factor", 0.001, 100, None),
        seconds=reader.estimate(path, table, "seconds", 0.01, 86400, None),
        attended_share=reader.estimate(path, table, "attended_share", 0.01, 1, 1.0),
        pieces_at_once=reader.whole(path, table, "pieces_at_once", 1, 1_000_000, None),
        setup_seconds=reader.estimate(path, table, "setup_seconds", 0, 86400, None),
        faults_factor=reader.estimate(path, table, "faults_factor", 0.01, 100, 1.0),
        price=reader.money(path, table, "price"),
        life_weeks=life,
        resale=reader.money(path, table, "resale"),
        running_cost_per_week=reader.money(path, table, "running_cost_per_week"),
        new_station=_new_station(reader, path, table),
    )


def _new_station(reader: "_Reader", path: Path, table: dict) -> bool | str:
    value = table.get("new_station", False)
    if isinstance(value, bool):
        return value
    return reader.text(path, table, "new_station", "")


MOVE_KEYS = (
    "rent_per_week", "fit_out", "lost_days", "transport_factor", "added_stations", "batch_size",
    "commute_hours_per_week", "whole_rent_per_week", "lease_weeks", "notice_weeks", "deposit",
)  # fmt: skip


def _move(reader: "_Reader", tables: dict) -> Move | None:
    if "move" not in tables:
        return None
    path, table = ("move",), reader.table((), tables, "move", MOVE_KEYS)
    rent = reader.money(path, table, "rent_per_week")
    whole = reader.amount(path, table, "whole_rent_per_week")
    if whole is not None and whole < rent.high:
        reader.fault(path + ("whole_rent_per_week",), "is less than the rent it adds", whole,
                     f"give {figure(rent.high, 15)} or more, or leave it out")  # fmt: skip
    return Move(
        rent_per_week=rent,
        fit_out=reader.money(path, table, "fit_out"),
        lost_days=reader.estimate(path, table, "lost_days", 0, 3650, 0.0),
        transport_factor=reader.number(path, table, "transport_factor", 0, 100, 1.0),
        added_stations=_added_stations(reader, table),
        batch_size=reader.by_name(path, table, "batch_size", 1, 1_000_000),
        commute_hours_per_week=reader.estimate(path, table, "commute_hours_per_week", 0, 168, 0.0),
        whole_rent_per_week=whole,
        lease_weeks=reader.whole(path, table, "lease_weeks", 0, LONGEST_WEEKS, 0),
        notice_weeks=reader.whole(path, table, "notice_weeks", 0, LONGEST_WEEKS, 0),
        deposit=reader.money(path, table, "deposit"),
    )


def _added_stations(reader: "_Reader", table: dict) -> tuple[tuple[str, int], ...]:
    value = table.get("added_stations", {})
    if isinstance(value, list):
        names = reader.names(("move",), table, "added_stations", "")
        return tuple((name, names.count(name)) for name in dict.fromkeys(names))
    return tuple(
        (name, places)
        for name, places in reader.by_name(("move",), table, "added_stations", 0, 1000)
        if places
    )


DEMAND_KEYS = ("factor", "products", "growth_per_year", "season", "orders", "either_way")
ORDER_KEYS = ("product", "variant", "pieces", "week", "price")


def _demand(reader: "_Reader", tables: dict, horizon: int) -> Demand | None:
    if "demand" not in tables:
        return None
    path, table = ("demand",), reader.table((), tables, "demand", DEMAND_KEYS)
    factor = reader.estimate(path, table, "factor", 0, 1000, 1.0)
    if factor.low == 0:
        reader.fault(
            path + ("factor",), "leaves nothing to sell", table["factor"], "give more than 0"
        )
    products, only = _products(reader, table)
    either_way = table.get("either_way", False)
    if not isinstance(either_way, bool):
        reader.fault(path + ("either_way",), "is not true or false", either_way, "write true")
    return Demand(
        factor=factor,
        products=products,
        factor_products=only,
        growth_per_year=reader.estimate(path, table, "growth_per_year", -0.9, 10, 0.0),
        season=_season(reader, table),
        orders=_orders(reader, table, horizon),
        either_way=either_way is True,
    )


def _products(
    reader: "_Reader", table: dict
) -> tuple[tuple[tuple[str, float], ...], tuple[str, ...]]:
    """(pieces a week by product, products the factor is for)."""
    given = table.get("products", {})
    if isinstance(given, list):
        return (), reader.names(("demand",), table, "products", "factor is for no product")
    goods = reader.table(("demand",), table, "products", None)
    path = ("demand", "products")
    pairs = tuple((name.strip(), reader.amount(path, goods, name, 0.0)) for name in goods)
    if pairs and not any(pieces for _, pieces in pairs):
        reader.fault(path, "leave nothing to sell", 0, "give pieces a week, more than 0")
    return pairs, ()


def _season(reader: "_Reader", table: dict) -> tuple[float, ...]:
    season = table.get("season", [])
    good = isinstance(season, list) and all(
        type(factor) in (int, float) and 0 <= factor <= 1000 for factor in season
    )
    if good and len(season) in (0, MONTHS) and (any(season) or not season):
        return tuple(map(float, season))
    reader.fault(("demand", "season"), "is not 12 factors", season, "write one for each month")
    return ()


def _orders(reader: "_Reader", table: dict, horizon: int) -> tuple[Order, ...]:
    given, path = table.get("orders", []), ("demand", "orders")
    if not isinstance(given, list) or not all(isinstance(order, dict) for order in given):
        reader.fault(path, "is no list of orders", given, "write [[demand.orders]] for each")
        return ()
    return tuple(
        _order(reader, ("demand", numbered("orders", place)), order, horizon)
        for place, order in enumerate(given, 1)
    )


def _order(reader: "_Reader", path: Path, table: dict, horizon: int) -> Order:
    reader.known(path, table, ORDER_KEYS)
    for key in ("product", "pieces", "week"):
        if key not in table:
            reader.fault(path, f"has no {key}", "", f"give {key} = …")
    return Order(
        product=reader.text(path, table, "product", "-"),
        pieces=reader.whole(path, table, "pieces", 1, 1_000_000, 1),
        week=reader.whole(path, table, "week", 1, horizon, 1),
        variant=reader.text(path, table, "variant", "-") if table.get("variant") else "",
        price=reader.amount(path, table, "price"),
    )


class _Reader(Reader):
    """Takes the kinds of value that only scenarios have."""

    def needed(self, path: Path, table: dict, key: str, remedy: str) -> float:
        """An amount without a default."""
        if key not in table:
            self.fault(path, f"has no {key}", "", remedy)
        return self.amount(path, table, key, 1.0)

    def number(
        self, path: Path, table: dict, key: str, least: float, most: float, default: float
    ) -> float:
        """A number from least to most; no range, since one figure holds for all runs."""
        value = table.get(key, default)
        remedy = f"give one number from {figure(least, 15)} to {figure(most, 15)}"
        if type(value) not in (int, float):
            self.fault(path + (key,), "is not a number", value, remedy)
        elif not least <= value <= most:
            self.fault(path + (key,), _out_of_bounds(value, least), value, remedy)
        else:
            return float(value)
        return default

    @overload
    def estimate(
        self, path: Path, table: dict, key: str, least: float, most: float, default: float
    ) -> Estimate: ...

    @overload
    def estimate(
        self, path: Path, table: dict, key: str, least: float, most: float, default: None
    ) -> Estimate | None: ...

    def estimate(
        self, path: Path, table: dict, key: str, least: float, most: float, default: float | None
    ) -> Estimate | None:
        """A number or a range of two, from least to most; a plain default becomes sure."""
        value = table.get(key)
        if value is None:
            return default if default is None else sure(default)
        ends = value if isinstance(value, list) else [value, value]
        bounds = f"{figure(least, 15)} to {figure(most, 15)}"
        remedy = f"give a number from {bounds}, or a range [low, high] of two"
        if len(ends) != 2 or any(type(end) not in (int, float) for end in ends):
            self.fault(path + (key,), "is not a number or a range", value, remedy)
        elif not all(least <= end <= most for end in ends):
            self.fault(path + (key,), _out_of_bounds(min(ends), least), value, remedy)
        elif ends[0] > ends[1]:
            words = "has its higher end first"
            self.fault(path + (key,), words, value, "write the lower end first")
        elif key == "setup_seconds" and ends[0] == 0 < ends[1]:
            self.fault(path + (key,), "is a range from 0", value, "give a low above 0")
        else:
            return Estimate(float(ends[0]), float(ends[1]))
        return sure(max(default or 0.0, least))

    def money(self, path: Path, table: dict, key: str) -> Estimate:
        """Money of 0 or more, or a range."""
        return self.estimate(path, table, key, 0, MOST, 0.0)

    def names(self, path: Path, table: dict, key: str, empty: str) -> tuple[str, ...]:
        """A name or a list of names; `empty` says what is wrong where the list has none."""
        value = table.get(key)
        if value is None:
            return ()
        items = value if isinstance(value, list) else [value]
        if not all(isinstance(item, str) and item.strip() for item in items):
            self.fault(path + (key,), "is no list of names", value, 'write ["sew", "trim"]')
            return ()
        if not items and empty:
            self.fault(path + (key,), f"is empty: the {empty}", "[]", "name some, or drop the key")
        return tuple(item.strip() for item in items)

    def by_name(
        self, path: Path, table: dict, key: str, least: int, most: int
    ) -> tuple[tuple[str, int], ...]:
        """A whole number for all (name ""), or a table of them by name."""
        value = table.get(key, {})
        if not isinstance(value, dict):
            number = self.whole(path, table, key, least, most, None)
            return () if number is None else (("", number),)
        pairs = ((n.strip(), self.whole(path + (key,), value, n, least, most, None)) for n in value)
        return tuple((name, number) for name, number in pairs if number is not None)


def _out_of_bounds(value: float, least: float) -> str:
    return "is less than nothing" if value < 0 == least else "is out of bounds"
