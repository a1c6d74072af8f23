"""The shop after a change: `changed(model, scenario)` applies a scenario, part by part.

Order: demand, move, equipment, helper, so that the helper learns on the new machine. Factors
multiply. Nothing is calculated here that the simulated weeks do not need; the money is elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from analysis.decisions.money import doubt_of
from analysis.decisions.naming import demand_name, step_name
from analysis.decisions.newcomer import present_seconds, skilled
from analysis.decisions.shop_model import (
    Hand,
    Line,
    Order,
    SharedDoubt,
    ShopModel,
    Skill,
    Step,
)
from analysis.records.scenario import (
    Demand,
    Equipment,
    Estimate,
    Helper,
    Move,
    Scenario,
    check_names,
)
from analysis.records.scenario import Order as DatedOrder
from analysis.records.shop import WEEKS_PER_YEAR

DEMAND_DOUBT = "demand factor"
HOUR = 3600
DAY = 24 * HOUR


def expected(model: ShopModel, scenario: Scenario) -> ShopModel:
    """The shop before: as it is, but with the demand that comes either way."""
    if scenario.demand and scenario.demand.either_way:
        return with_demand(model, scenario.demand, scenario)
    return model


def changed(model: ShopModel, scenario: Scenario) -> ShopModel:
    """The shop after: each part applied. BadInput where it names unknown things."""
    check_against(model, scenario)
    if scenario.demand:
        model = with_demand(model, scenario.demand, scenario)
    if scenario.move:
        model = with_move(model, scenario.move, scenario.horizon_weeks)
    for machine in scenario.equipment:
        model = with_equipment(model, machine)
    if scenario.helper:
        model = with_helper(model, scenario.helper, scenario)
    return model


def check_against(model: ShopModel, scenario: Scenario) -> None:
    """Raise BadInput where the scenario names an operation, product or station that is not here."""
    products: dict[str, set[str]] = {}
    for line in model.lines:
        products.setdefault(line.product, {""}).add(line.variant)
    operations = {step.operation for line in model.lines for step in line.steps}
    check_names(scenario, operations, products, set(model.stations))


def with_demand(model: ShopModel, demand: Demand, scenario: Scenario) -> ShopModel:
    """Demand by the week: factor, new weekly pieces, growth, season, dated orders."""
    pieces = dict(demand.products)
    lines = tuple(_line_with_demand(model, line, demand, pieces) for line in model.lines)
    weeks = np.arange(scenario.horizon_weeks)
    factor = (1 + _yearly(demand)) ** (weeks / WEEKS_PER_YEAR)
    if demand.season:
        months = [scenario.month_of_week(int(week)) - 1 for week in weeks]
        factor = factor * np.array(demand.season)[months]
    present = _by_week(model.demand_factor, len(weeks))
    orders = tuple(part for order in demand.orders for part in _order_parts(lines, order))
    moved = [demand_name(line.product, line.variant) for line in lines if _factored(line, demand)]
    model = replace(
        model,
        lines=lines,
        demand_factor=tuple((present * factor).tolist()),
        orders=model.orders + orders,
    )
    return _with_doubt(model, DEMAND_DOUBT, doubt_of(demand.factor), moved)


def _yearly(demand: Demand) -> float:
    """Growth a year; of a range its middle, taken of 1 + growth, which is above 0."""
    growth = demand.growth_per_year
    return Estimate(1 + growth.low, 1 + growth.high).typical - 1 if growth.is_range else growth.low


def _with_doubt(model: ShopModel, name: str, doubt: float, figures: Iterable[str]) -> ShopModel:
    """One more doubt that several figures share, if there is any."""
    figures = frozenset(figures)
    if not doubt or not figures:
        return model
    shared = SharedDoubt(name, doubt, figures)
    return replace(model, shared_doubts=(*model.shared_doubts, shared))


def _factored(line: Line, demand: Demand) -> bool:
    return not demand.factor_products or line.product in demand.factor_products


def _line_with_demand(
    model: ShopModel, line: Line, demand: Demand, pieces: dict[str, float]
) -> Line:
    per_week = line.demand_per_week
    if line.product in pieces:
        own = [other for other in model.lines if other.product == line.product]
        total = sum(other.demand_per_week for other in own)
        share = line.demand_per_week / total if total else 1 / len(own)
        per_week = pieces[line.product] * share
    if _factored(line, demand):
        per_week *= demand.factor.typical
    return replace(line, demand_per_week=per_week)


def _order_parts(lines: tuple[Line, ...], order: DatedOrder) -> list[Order]:
    """A dated order as orders of lines: of one variant, or shared out as variants are asked for."""
    own = [
        (place, line.demand_per_week)
        for place, line in enumerate(lines)
        if line.product == order.product and order.variant in ("", line.variant)
    ]
    total = sum(share for _, share in own)
    shares = [share / total if total else 1 / len(own) for _, share in own]
    ends = np.rint(np.cumsum(shares) * order.pieces)
    return [
        Order(place, order.week - 1, float(pieces), price=order.price)
        for (place, _), pieces in zip(own, np.diff(ends, prepend=0), strict=True)
        if pieces
    ]


def with_move(model: ShopModel, move: Move, weeks: int) -> ShopModel:
    """Walks, places, batches, days without work, and the way there and back."""
    sizes = dict(move.batch_size)
    lines = tuple(_moved_line(line, move, sizes) for line in model.lines)
    model = replace(model, lines=lines, closed=_closed(model, move.lost_days.middle))
    for station, places in move.added_stations:
        model = _with_places(model, station, places)
    commute = move.commute_hours_per_week.middle
    if not commute or not model.hands:
        return model
    maker, *others = model.hands
    lost = commute * HOUR / hand_seconds(model, maker)
    return replace(model, hands=(_less(maker, np.full(weeks, lost)), *others))


def _moved_line(line: Line, move: Move, sizes: dict[str, int]) -> Line:
    steps = tuple(
        replace(step, transport_seconds=step.transport_seconds * move.transport_factor)
        for step in line.steps
    )
    size = sizes.get(line.product, sizes.get("", line.batch_size))
    return replace(line, steps=steps, batch_size=size)


def _closed(model: ShopModel, lost_days: float) -> tuple[float, ...]:
    """The share of each week lost: the first `lost_days` open days of the horizon, closed weeks
    being none of them."""
    open_days = len({int(start // DAY) for start, _ in model.open_seconds}) or 1
    closed, left, week = list(model.closed), lost_days / open_days, 0
    while left > 0:
        if week == len(closed):
            closed.append(0.0)
        lost = min(left, 1 - closed[week])
        closed[week] += lost
        left, week = left - lost, week + 1
    return tuple(closed)


def _with_places(model: ShopModel, station: str, places: int) -> ShopModel:
    """More places at a station; one by one at the fullest where none is named."""
    stations = dict(model.stations)
    if station:
        stations[station] = stations.get(station, 0) + places
        return replace(model, stations=stations)
    load = station_seconds(model)
    for _ in range(places if load else 0):
        fullest = max(sorted(load), key=lambda name: load[name] / stations[name])
        stations[fullest] += 1
    return replace(model, stations=stations)


def station_seconds(model: ShopModel) -> dict[str, float]:
    """Seconds a week for which demand holds each station, at present times (a rough load)."""
    load = dict.fromkeys((name for name, places in model.stations.items() if places), 0.0)
    for line in model.lines:
        batches = line.demand_per_week / line.batch_size
        for step in line.steps:
            if step.station in load:
                load[step.station] += batches * _held_seconds(model, line, step)
    return load


def _held_seconds(model: ShopModel, line: Line, step: Step) -> float:
    goes = math.ceil(line.batch_size / step.pieces_at_once)
    times = [
        present_seconds(skill)
        for (_, product, operation), skill in model.skills.items()
        if (product, operation) == (line.product, step.operation)
    ]
    work = goes * step.time_factor * (min(times) if times else 0.0)
    waiting = step.wait_seconds if step.wait_holds_station else 0.0
    return step.setup_seconds + step.setup_wait_seconds + work + waiting


def with_equipment(model: ShopModel, machine: Equipment) -> ShopModel:
    """Every step of its operations done on the machine: its times, setup, loads and place."""
    stations = dict(model.stations)
    here = {
        step.station
        for line in model.lines
        for step in line.steps
        if step.operation in machine.operations and step.station
    }
    if isinstance(machine.new_station, str):
        stations.setdefault(machine.new_station, 1)
    elif machine.new_station:
        stations |= {station: stations[station] + 1 for station in here}
    lines = tuple(replace(line, steps=_machine_steps(model, line, machine)) for line in model.lines)
    skills = {
        key: _machine_paced(skill, machine.seconds)
        if machine.seconds and key[2] in machine.operations
        else skill
        for key, skill in model.skills.items()
    }
    return _with_machine_doubts(
        replace(model, stations=stations, lines=lines, skills=skills), machine
    )


def _with_machine_doubts(model: ShopModel, machine: Equipment) -> ShopModel:
    """Ranges of its time, setup and faults: one draw a run for all pieces that go through it. What
    it does alone stays at the middle of its time in all runs, since waits are drawn nowhere."""
    time, setup, rework, scrap = (
        [
            step_name(kind, operation, product)
            for operation in machine.operations
            for product in {line.product for line in model.lines}
        ]
        for kind in ("machine", "setup", "rework", "scrap")
    )
    ranges = (machine.time_factor, machine.seconds, machine.attended_share)
    doubt = math.hypot(*(doubt_of(estimate) for estimate in ranges if estimate))
    model = _with_doubt(model, f"time of {machine.name}", doubt, time)
    doubt = doubt_of(machine.setup_seconds) if machine.setup_seconds else 0.0
    model = _with_doubt(model, f"setup of {machine.name}", doubt, setup)
    doubt = doubt_of(machine.faults_factor)
    return _with_doubt(model, f"faults of {machine.name}", doubt, [*rework, *scrap])


def _machine_paced(skill: Skill, seconds: Estimate) -> Skill:
    """The machine sets the time: no practice, no doubt of a person; the scatter stays."""
    return Skill(
        first_unit_seconds=seconds.typical,
        piece_log_sd=skill.piece_log_sd,
        batch_log_sd=skill.batch_log_sd,
        scatter=skill.scatter,
        source="given",
    )


def _machine_steps(model: ShopModel, line: Line, machine: Equipment) -> tuple[Step, ...]:
    """The route with the machine; what follows a step waits for its unattended time as well, for
    which the pieces hold their station. What they then wait elsewhere (to dry) holds none, but for
    the last step of a route, whose one wait is both."""
    steps = [
        _machine_step(step, machine) if step.operation in machine.operations else step
        for step in line.steps
    ]
    alone = [
        _unattended_seconds(model, line, step, machine)
        if step.operation in machine.operations
        else 0.0
        for step in steps
    ]
    if not any(alone):
        return tuple(steps)
    followed = {place for step in steps for place, _ in step.before}
    elsewhere = [
        own > 0 and place in followed and not step.wait_holds_station
        for place, (step, own) in enumerate(zip(steps, alone, strict=True))
    ]
    return tuple(
        replace(
            step,
            before=tuple((place, wait + alone[place]) for place, wait in step.before),
            wait_seconds=own if is_elsewhere else step.wait_seconds + own,
            wait_holds_station=step.wait_holds_station or own > 0,
        )
        for step, own, is_elsewhere in zip(steps, alone, elsewhere, strict=True)
    )


def _machine_step(step: Step, machine: Equipment) -> Step:
    factor = machine.attended_share.typical
    if machine.seconds is None:
        factor *= step.time_factor
    if machine.time_factor:
        factor *= machine.time_factor.typical
    step = replace(step, time_factor=factor)
    if machine.pieces_at_once:
        step = replace(step, pieces_at_once=machine.pieces_at_once)
    if machine.setup_seconds:
        step = replace(step, setup_seconds=machine.setup_seconds.typical, setup_doubt=0.0)
    faults = machine.faults_factor.typical
    step = replace(
        step,
        rework_chance=_at_odds(step.rework_chance, faults),
        scrap_chance=_at_odds(step.scrap_chance, faults),
    )
    if isinstance(machine.new_station, str):
        step = replace(step, station=machine.new_station)
    return step


def _at_odds(chance: float, factor: float) -> float:
    """The chance whose odds are `factor` times those of `chance`: p f / (1 - p + p f)."""
    return chance * factor / (1 - chance + chance * factor)


def _unattended_seconds(model: ShopModel, line: Line, step: Step, machine: Equipment) -> float:
    """Machine time of a batch in which nobody stands by, lying together after the attended work.

    goes x seconds of one go x (1 - attended share)
    """
    attended = machine.attended_share.typical
    times = [
        machine.seconds.typical if machine.seconds else present_seconds(skill)
        for (_, product, operation), skill in model.skills.items()
        if (product, operation) == (line.product, step.operation)
    ]
    whole = step.time_factor / attended * float(np.mean(times or [0.0]))
    return math.ceil(line.batch_size / step.pieces_at_once) * whole * (1 - attended)


def with_helper(model: ShopModel, helper: Helper, scenario: Scenario) -> ShopModel:
    """One more pair of hands who begins at piece 1, and the worker who teaches them.

    Training: in its first hours neither makes pieces. Supervision: a share of each of the helper's
    hours is an hour of the first worker's; what is more than that worker's hours in a week is taken
    from the next weeks. Weeks off cost nothing. Where nobody is at the bench, closed or lost to a
    move, nobody is taught.
    """
    taken = {hand.name for hand in model.hands}
    name = helper.name if helper.name not in taken else f"{helper.name} (new)"
    helper = replace(helper, operations=helper_operations(model, helper))
    hours = helper_hours(model, helper)
    there = helper_weeks(helper, scenario)
    is_open = _open_shares(model, scenario.horizon_weeks)
    present = hours * there * is_open
    training = _training_hours(helper, present)
    share = there * (1 - training / np.maximum(present, 1 / HOUR))
    hand = Hand(
        name=name,
        hours_per_week=hours,
        cost_per_hour=helper.cost_per_hour,
        available=tuple(share.tolist()),
        operations=helper.operations,
    )
    hands = (*model.hands, hand)
    if model.hands:
        teacher = model.hands[0]
        taught = training + helper.supervision_share * (present - training)
        of_teacher = hand_seconds(model, teacher) / HOUR * is_open
        hands = (_less_taught(teacher, taught, of_teacher), *hands[1:])
    lines = tuple(_line_open_to(line, name, helper.operations) for line in model.lines)
    return replace(skilled(model, helper, name), hands=hands, lines=lines)


def _open_shares(model: ShopModel, weeks: int) -> np.ndarray:
    """The share of each week in which the shop is open: 1, less what is closed or lost."""
    lost = np.zeros(weeks)
    closed = model.closed[:weeks]
    lost[: len(closed)] = closed
    return 1 - lost


def helper_weeks(helper: Helper, scenario: Scenario) -> np.ndarray:
    """1 in each week of the horizon in which the helper is there, else 0."""
    last = helper.until_week or scenario.horizon_weeks
    return np.array([
        float(
            helper.from_week <= week + 1 <= last
            and (not helper.months or scenario.month_of_week(week) in helper.months)
        )
        for week in range(scenario.horizon_weeks)
    ])  # fmt: skip


def helper_operations(model: ShopModel, helper: Helper) -> tuple[str, ...]:
    """What the helper may do: as given, else what the routing keeps for nobody, else everything."""
    steps = [step for line in model.lines for step in line.steps]
    open_to_all = [step.operation for step in steps if not step.workers]
    everything = [step.operation for step in steps]
    return helper.operations or tuple(dict.fromkeys(open_to_all or everything))


def helper_hours(model: ShopModel, helper: Helper) -> float:
    """Hours a week of the helper, worked and paid: as given, but no more than the shop is open."""
    open_hours = sum(end - start for start, end in model.open_seconds) / HOUR
    return min(helper.hours_per_week, open_hours)


def _training_hours(helper: Helper, present: np.ndarray) -> np.ndarray:
    """Training hours in each week: all of the helper's first hours until they are used up."""
    before = np.cumsum(present) - present
    return np.clip(helper.training_hours.middle - before, 0, present)


def _line_open_to(line: Line, name: str, operations: tuple[str, ...]) -> Line:
    """Steps that only named workers may do also take the helper, where they may do it."""
    steps = tuple(
        replace(step, workers=(*step.workers, name))
        if step.workers and step.operation in operations
        else step
        for step in line.steps
    )
    return replace(line, steps=steps)


def hand_seconds(model: ShopModel, hand: Hand) -> float:
    """Seconds at the bench of one person in an ordinary week: as agreed, as long as the shop is
    open; at least one second."""
    whole = sum(end - start for start, end in model.open_seconds)
    agreed = whole if hand.hours_per_week is None else hand.hours_per_week * HOUR
    return max(min(agreed, whole), 1.0)


def paid_seconds(model: ShopModel, hand: Hand) -> float:
    """Seconds of one person that are paid in a week: as agreed, else those at the bench."""
    if hand.hours_per_week is not None:
        return hand.hours_per_week * HOUR
    return hand_seconds(model, hand)


def _less(hand: Hand, share: np.ndarray) -> Hand:
    """The hand with a share of each week's hours taken away."""
    present = _present(hand, len(share))
    present[: len(share)] -= share
    return replace(hand, available=tuple(np.maximum(present, 0.0).tolist()))


def _less_taught(teacher: Hand, taught: np.ndarray, hours: np.ndarray) -> Hand:
    """The teacher without the hours taught; `hours` are those of each whole week, 0 where nobody is
    there. What does not fit into a week is owed to the next."""
    present, owed = _present(teacher, len(hours)), 0.0
    for week, whole in enumerate(hours):
        owed += taught[week]
        given = min(owed, present[week] * whole)
        owed -= given
        present[week] -= given / whole if whole else 0.0
    return replace(teacher, available=tuple(present.tolist()))


def _present(hand: Hand, weeks: int) -> np.ndarray:
    """The share of each week that a hand is there, for `weeks` at least; all of it unless said."""
    present = np.ones(max(weeks, len(hand.available)))
    present[: len(hand.available)] = hand.available
    return present


def _by_week(values: tuple[float, ...], weeks: int) -> np.ndarray:
    """The values week by week, the last going on; 1 where there are none."""
    given = np.asarray(values or (1.0,), float)
    return np.asarray(given[np.minimum(np.arange(weeks), len(given) - 1)])
