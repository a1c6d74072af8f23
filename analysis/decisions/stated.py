"""What an answer rests on and how each is known; and what to look into that no figure shows."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.decisions.answer import ASSUMED, GIVEN, MEASURED, PUBLISHED, Assumption
from analysis.decisions.change import helper_hours, helper_operations
from analysis.decisions.doubts import curve_words
from analysis.decisions.money import NORMAL_95
from analysis.decisions.newcomer import shop_spread
from analysis.decisions.shop_model import ShopModel
from analysis.records.figures import figure
from analysis.records.scenario import Equipment, Estimate, Helper, Move, Scenario, sure


def assumptions(model: ShopModel, scenario: Scenario) -> tuple[Assumption, ...]:
    """Everything the answer rests on; model: the shop before."""
    return (
        *_of_shop(model),
        *_of_demand(scenario),
        *(_of_helper(model, scenario.helper) if scenario.helper else ()),
        *(line for machine in scenario.equipment for line in _of_machine(machine, scenario)),
        *(_of_move(scenario.move) if scenario.move else ()),
        *_of_reckoning(scenario),
    )


def _of_shop(model: ShopModel) -> Iterator[Assumption]:
    asked = sum(line.demand_per_week for line in model.lines)
    yield Assumption("Demand now", f"{figure(asked, 3)} pieces a week", GIVEN)
    sources = [skill.source for skill in model.skills.values()]
    measured = sum(source == "measured" for source in sources)
    yield Assumption(
        "Times, practice, faults and interruptions",
        f"from your laps for {measured} of {len(sources)} operations by product and person, "
        "the others from the routing",
        MEASURED,
    )
    unpaid = [hand.name for hand in model.hands if not hand.cost_per_hour]
    if unpaid:
        yield Assumption(
            "Hours without a wage", f"those of {', '.join(unpaid)} are no cash", ASSUMED
        )
    no_cost = {line.product for line in model.lines if line.material_cost is None}
    if no_cost:
        yield Assumption(
            "Material", f"not known for the {', '.join(sorted(no_cost))}, counted as 0", ASSUMED
        )
    for left_out in model.left_out:
        yield Assumption("Left out", left_out, ASSUMED)
    yield Assumption(
        "What is not made in time is not sold", "unmet demand is lost, and does not wait", ASSUMED
    )
    if len(model.hands) > 1:
        yield Assumption(
            "Work left half done",
            "by who goes home is taken over by who is there, if that ends it sooner",
            ASSUMED,
        )


def _of_demand(scenario: Scenario) -> Iterator[Assumption]:
    demand = scenario.demand
    if not demand:
        return
    way = "with or without the change" if demand.either_way else "only with the change"
    if demand.factor.low != 1 or demand.factor.is_range:
        whose = ", ".join(demand.factor_products) or "all products"
        yield Assumption(
            "Demand will be", f"{_shown(demand.factor)} times today's, {whose}, {way}", GIVEN
        )
    for product, pieces in demand.products:
        yield Assumption(
            f"Demand for the {product} will be", f"{figure(pieces)} a week, {way}", GIVEN
        )
    if demand.growth_per_year:
        yield Assumption(
            "Demand grows by", f"{figure(100 * demand.growth_per_year)} % a year, {way}", GIVEN
        )
    if demand.season:
        months = ", ".join(figure(factor) for factor in demand.season)
        yield Assumption("Season", f"January to December times {months}", GIVEN)
    for order in demand.orders:
        price = "the usual price" if order.price is None else f"{figure(order.price, 4)} each"
        yield Assumption(
            "An order",
            f"{order.pieces} of the {order.product} {order.variant}".rstrip()
            + f", due in week {order.week}, at {price}",
            GIVEN,
        )


def _of_helper(model: ShopModel, helper: Helper) -> Iterator[Assumption]:
    hours = helper_hours(model, helper)
    kept = "" if hours == helper.hours_per_week else ", as long as the shop is open"
    yield Assumption(
        f"The {helper.name}",
        f"{figure(hours)} hours a week{kept} at {figure(helper.cost_per_hour, 3)} an hour, paid "
        "with work or without",
        GIVEN,
    )
    yield Assumption(
        "Their first pieces",
        f"take {_times(helper.first_unit_factor)} the shop's own people's first did; "
        "people differ by about a fifth, and nobody is taken to become faster than the quickest "
        "in the shop is now",
        GIVEN if helper.first_unit_factor.is_range else PUBLISHED,
    )
    if helper.learning_rate:
        rate = f"along a {_percent(helper.learning_rate)} % curve"
    else:
        spread = shop_spread(model.skills)
        low, high = (
            100 * 2 ** min(spread.exponent + step * spread.deviation, 0.0)
            for step in (-NORMAL_95, NORMAL_95)
        )
        rate = (
            f"along {curve_words(spread.exponent)} ({low:.0f} to {high:.0f} %), from "
            f"{spread.cells} curves of the shop and published studies"
        )
    yield Assumption("They get quicker", rate, GIVEN if helper.learning_rate else PUBLISHED)
    yield Assumption(
        "Teaching",
        f"{figure(helper.training_hours)} hours of both at the start, then "
        f"{figure(100 * helper.supervision_share)} % of each of their hours is one of "
        f"{model.hands[0].name if model.hands else 'nobody'}'s",
        GIVEN,
    )
    source = GIVEN if helper.operations else ASSUMED
    yield Assumption("They may do", ", ".join(helper_operations(model, helper)), source)


def _of_machine(machine: Equipment, scenario: Scenario) -> Iterator[Assumption]:
    if machine.seconds:
        time = f"{_shown(machine.seconds)} s a go"
    elif machine.time_factor:
        time = f"{_shown(machine.time_factor)} of the present time"
    else:
        time = "as quick as now"
    how = "a guess or a supplier's word until timed" if _is_range(machine) else "taken as sure"
    yield Assumption(f"{machine.name}: time", f"{time}; {how}", GIVEN)
    yield Assumption(
        f"{machine.name}: practice",
        "is set aside, the machine gives the time" if machine.seconds else "carries over to it",
        ASSUMED,
    )
    sold_after = min(machine.life_weeks or scenario.horizon_weeks, scenario.horizon_weeks)
    yield Assumption(
        f"{machine.name}: money",
        f"{_shown(machine.price)} at the start, {_shown(machine.running_cost_per_week)} a week, "
        f"sold for {_shown(machine.resale)} after {sold_after} weeks; not bought again",
        GIVEN,
    )
    if machine.attended_share.low < 1:
        yield Assumption(
            f"{machine.name}: alone",
            f"{100 * (1 - machine.attended_share.middle):.0f} % of its time nobody stands by",
            GIVEN,
        )


def _is_range(machine: Equipment) -> bool:
    given = (machine.seconds, machine.time_factor)
    return any(estimate is not None and estimate.is_range for estimate in given)


def _of_move(move: Move) -> Iterator[Assumption]:
    yield Assumption(
        "The move",
        f"{_shown(move.rent_per_week)} more rent a week, {_shown(move.fit_out)} to fit out, "
        f"{figure(move.lost_days)} days without work",
        GIVEN,
    )
    if move.transport_factor != 1:
        yield Assumption("Walks", f"{figure(move.transport_factor)} of today's", GIVEN)
    for station, places in move.added_stations:
        where = station or "where it is fullest"
        yield Assumption("More places", f"{places} at the {where}".replace("the where", "where"),
                         GIVEN)  # fmt: skip
    for product, size in move.batch_size:
        yield Assumption("Batches", f"{size} of {product or 'every product'}", GIVEN)
    if move.commute_hours_per_week:
        yield Assumption(
            "The way there",
            f"{figure(move.commute_hours_per_week)} hours a week less at the bench",
            GIVEN,
        )


def _of_reckoning(scenario: Scenario) -> Iterator[Assumption]:
    yield Assumption(
        "Money later is worth less",
        f"by {figure(100 * scenario.discount_rate_per_year)} % a year",
        GIVEN,
    )
    yield Assumption(
        "Material", "counts when a piece is sold or spoiled; stock left over is neither gain "
        "nor loss", ASSUMED,
    )  # fmt: skip
    yield Assumption("Taxes and subsidies", "are left out", ASSUMED)


def _times(factor: Estimate) -> str:
    """`as long as`, `1.2 times as long as`."""
    return "as long as" if factor == sure(1.0) else f"{_shown(factor)} times as long as"


def _shown(estimate: Estimate) -> str:
    if estimate.is_range:
        return f"{figure(estimate.low, 3)} to {figure(estimate.high, 3)}"
    return figure(estimate.low, 3)


def _percent(rate: Estimate) -> str:
    ends = dict.fromkeys(f"{100 * end:.0f}" for end in (rate.low, rate.high))
    return " to ".join(ends)


HELPER_CAUTION = (
    "Employing somebody: contract, wage, hours, insurance, tax and safety briefing follow the law "
    "of your place; ask those licensed to advise. What is timed must be known to who is timed."
)
MACHINE_CAUTION = (
    "A machine: guards, emergency stop, wiring, dust and noise as its manual and the local codes "
    "say; let licensed people do the electrical work and instruct whoever uses it."
)
MOVE_CAUTION = (
    "Another room: permitted use, fire exits, ventilation for glues and solvents, floor load, "
    "wiring and the lease itself are for local codes and licensed practice."
)
PACE_CAUTION = (
    "More work in the same hours: breaks and a change of task come first; haste at blades, "
    "needles and presses hurts people."
)
MONEY_CAUTION = (
    "The ranges say what laps and your figures can bear, no more. Before signing, show the page to "
    "somebody licensed to advise you."
)


def cautions(scenario: Scenario) -> tuple[str, ...]:
    """What no simulation sees; local codes and licensed practice decide."""
    parts = (
        (scenario.helper, HELPER_CAUTION),
        (scenario.equipment, MACHINE_CAUTION),
        (scenario.move, MOVE_CAUTION),
        (scenario.demand, PACE_CAUTION),
        (True, MONEY_CAUTION),
    )
    return tuple(caution for given, caution in parts if given)


def mean_demand(model: ShopModel, weeks: int) -> float:
    """Pieces asked for in an average week of the horizon, dated orders among them."""
    factor = np.ones(weeks)
    if model.demand_factor:
        given = np.array(model.demand_factor)
        factor = given[np.minimum(np.arange(weeks), len(given) - 1)]
    orders = sum(order.pieces for order in model.orders if order.week < weeks)
    return sum(line.demand_per_week for line in model.lines) * factor.mean() + orders / weeks
