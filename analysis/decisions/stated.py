"""What an answer rests on and how each is known; and what to look into that no figure shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from analysis.decisions.answer import ASSUMED, GIVEN, MEASURED, PUBLISHED, Assumption
from analysis.decisions.change import helper_hours, helper_operations
from analysis.decisions.money import NORMAL_95
from analysis.decisions.newcomer import newcomer_skills, shop_guess
from analysis.decisions.sentences import span
from analysis.decisions.shop_model import Order as ModelOrder
from analysis.decisions.shop_model import ShopModel
from analysis.records.figures import figure
from analysis.records.scenario import Equipment, Estimate, Helper, Move, Scenario, sure


def assumptions(
    now: ShopModel, model: ShopModel, scenario: Scenario, currency: str = ""
) -> tuple[Assumption, ...]:
    """Everything the answer rests on; now: the shop of today; model: the shop before, which has the
    demand that comes either way."""
    return (
        *_of_shop(now),
        *_of_demand(now, scenario, currency),
        *(_of_helper(model, scenario.helper, currency) if scenario.helper else ()),
        *(
            line
            for machine in scenario.equipment
            for line in _of_machine(machine, scenario, currency)
        ),
        *(_of_move(scenario.move, currency) if scenario.move else ()),
        *_of_reckoning(scenario),
    )


def _of_shop(model: ShopModel) -> Iterator[Assumption]:
    yield Assumption("Demand now", f"{figure(_asked(model), 3)} pieces a week", GIVEN)
    shelf = sum(line.stock for line in model.lines)
    yield Assumption("On the shelf at the start", f"{figure(shelf, 3)} pieces", GIVEN)
    sources = [skill.source for skill in model.skills.values()]
    yield Assumption(
        "Times, practice and faults", _measured_words(sources),
        MEASURED if "measured" in sources else ASSUMED,
    )  # fmt: skip
    yield _rests(model)
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
    yield _weeks_closed(model)
    yield Assumption(
        "What is not made in time is not sold", "unmet demand is lost, and does not wait", ASSUMED
    )
    if len(model.hands) > 1:
        yield Assumption(
            "Work left half done",
            "when somebody goes home, somebody still there takes it over where that ends it sooner",
            ASSUMED,
        )


def _rests(model: ShopModel) -> Assumption:
    """How much longer rest and interruptions make the work, and how each is known."""
    rest = f"{figure(100 * model.rest_share)} % of the work for rest, the shop's allowances"
    share = f"{figure(100 * model.delay_share)} % for interruptions"
    if model.delay_logged:
        return Assumption("Rest and interruptions", f"{rest}; {share}, as noted", MEASURED)
    none_noted = "the allowance, since none are noted"
    return Assumption("Rest and interruptions", f"{rest}; {share}, {none_noted}", ASSUMED)


def _weeks_closed(model: ShopModel) -> Assumption:
    """In how many weeks of a year nobody is there, and in how many of those logged nobody was."""
    logged, without = model.weeks_logged
    seen = f"; {without} of the {logged} weeks logged have no lap" if without else ""
    closed = model.weeks_closed_per_year
    if not closed:
        return Assumption("Weeks closed in a year", f"none (set on Shop){seen}", ASSUMED)
    return Assumption(
        "Weeks closed in a year",
        f"{closed}, spread evenly; buyers go on asking and are served from the shelf, for which no "
        f"more is made beforehand; rent and wages go on{seen}",
        GIVEN,
    )


def _asked(model: ShopModel, products: tuple[str, ...] = ()) -> float:
    """Pieces asked for in a week, of some products (all where none is named)."""
    return sum(
        line.demand_per_week for line in model.lines if not products or line.product in products
    )


def _measured_words(sources: list[str]) -> str:
    """How the times of each person, product and operation are known, by the skills' sources."""
    measured, of_others = sources.count("measured"), sources.count("assumed")
    if measured == len(sources):
        return "timed at the bench, for every person, product and operation"
    planned = len(sources) - measured - of_others
    if planned == len(sources):
        return "none timed at the bench so far: all from the route"
    parts = [f"timed at the bench for {measured or 'none'} of {len(sources)} (person, product and "
             "operation)"]  # fmt: skip
    if of_others:
        parts.append(f"{of_others} as somebody else timed there began")
    if planned:
        parts.append(f"{planned} from the route")
    return ", ".join(parts)


def _of_demand(now: ShopModel, scenario: Scenario, currency: str) -> Iterator[Assumption]:
    demand = scenario.demand
    if not demand:
        return
    way = "with or without the change" if demand.either_way else "only with the change"
    if demand.factor.low != 1 or demand.factor.is_range:
        whose = ", ".join(demand.factor_products) or "all products"
        asked = _asked(now, demand.factor_products)
        pieces = Estimate(demand.factor.low * asked, demand.factor.high * asked)
        yield Assumption(
            "Demand will be",
            f"{_between(pieces)} pieces a week{in_the_middle(pieces)}, "
            f"{_percent(demand.factor)} % of today's, {whose}, {way}",
            GIVEN,
        )
    for product, per_week in demand.products:
        yield Assumption(
            f"Demand for the {product} will be", f"{figure(per_week, 4)} a week, {way}", GIVEN
        )
    if demand.growth_per_year != sure(0.0):
        yield Assumption(
            "Demand grows by", f"{_growth(demand.growth_per_year)} % a year, {way}", GIVEN
        )
    if demand.season:
        months = ", ".join(figure(factor) for factor in demand.season)
        yield Assumption("Season", f"January to December times {months}", GIVEN)
    for order in demand.orders:
        own = f"{_money(sure(order.price or 0.0), currency, 4)} each"
        price = "the usual price" if order.price is None else own
        yield Assumption(
            "An order",
            f"{order.pieces} of the {order.product} {order.variant}".rstrip()
            + f", due in week {order.week}, at {price}; batches for it are begun from week "
            f"{ModelOrder(0, order.week - 1, 0.0).begun_in_week + 1} on",
            GIVEN,
        )


def _of_helper(model: ShopModel, helper: Helper, currency: str) -> Iterator[Assumption]:
    hours = helper_hours(model, helper)
    kept = "" if hours == helper.hours_per_week else ", as long as the shop is open"
    yield Assumption(
        f"The {helper.name}",
        f"{figure(hours)} hours a week{kept} at "
        f"{_money(sure(helper.cost_per_hour), currency)} an hour, paid with work or without",
        GIVEN,
    )
    yield Assumption(
        "Their first pieces",
        f"take {_times(helper.first_unit_factor)} the first of the shop's own people did; "
        + ("" if helper.first_unit_factor.is_range else "people differ by about a fifth, and ")
        + "in the middle of the runs nobody gets faster than the quickest in the shop is now",
        GIVEN if helper.first_unit_factor.is_range else PUBLISHED,
    )
    yield _learning_rate(model, helper)
    yield Assumption(
        "Their faults",
        "as those of the people there now; a newcomer may spoil more, until laps tell", ASSUMED,
    )  # fmt: skip
    yield Assumption(
        "Finding and parting",
        "what it costs to find them, and pay during notice, are not counted; contract and local "
        "law decide", ASSUMED,
    )  # fmt: skip
    yield Assumption(
        "Teaching",
        f"{counted(helper.training_hours, 'hour')} at the start in which neither makes pieces; "
        + _minding(model, helper),
        GIVEN if helper.training_hours != Helper.training_hours else ASSUMED,
    )
    source = GIVEN if helper.operations else ASSUMED
    yield Assumption("They may do", ", ".join(helper_operations(model, helper)), source)


def _learning_rate(model: ShopModel, helper: Helper) -> Assumption:
    """How fast a helper gets quicker: as given, or by the shop's curves and published studies."""
    what = "They get quicker (learning rate)"
    whole = replace(helper, operations=helper_operations(model, helper))
    skills = newcomer_skills(model, whole, helper.name).values()
    if all(skill.curve == "constant" for skill in skills):
        never = (
            "not at all: their first pieces take no longer than the quickest in the shop does now"
        )
        return Assumption(what, never, ASSUMED)
    if helper.learning_rate:
        rate = "each time their pieces have doubled, one takes "
        rate += f"{_between(helper.learning_rate, 100)} % of the time before"
        rate += in_the_middle(helper.learning_rate, 100)
    else:
        guess = shop_guess(model.skills)
        low, high = (
            100 * 2 ** min(guess.exponent + step * guess.deviation, 0.0)
            for step in (-NORMAL_95, NORMAL_95)
        )
        rate = (
            "each time their pieces have doubled, one takes "
            f"{100 * 2 ** min(guess.exponent, 0):.0f} % of the time before "
            f"({low:.0f} to {high:.0f} %), from {guess.cells} learning curves of the shop and "
            "published studies"
        )
    return Assumption(what, rate, GIVEN if helper.learning_rate else PUBLISHED)


def _minding(model: ShopModel, helper: Helper) -> str:
    """What looking after the helper takes later."""
    if not helper.supervision_share or not model.hands:
        return "none later"
    minutes = figure(60 * helper.supervision_share)
    return f"later {minutes} minutes of {model.hands[0].name}'s time for each hour of theirs"


def _of_machine(machine: Equipment, scenario: Scenario, currency: str) -> Iterator[Assumption]:
    if machine.seconds:
        time = f"{_between(machine.seconds)} s a go{in_the_middle(machine.seconds)}"
    elif machine.time_factor:
        time = f"{_between(machine.time_factor, 100)} % of the present time"
        time += in_the_middle(machine.time_factor, 100)
    else:
        time = "as quick as now"
    how = "a guess or a supplier's word until timed" if _is_range(machine) else "taken as sure"
    yield Assumption(f"{machine.name}: time", f"{time}; {how}", GIVEN)
    yield Assumption(
        f"{machine.name}: practice",
        "does not count, the machine sets the time"
        if machine.seconds
        else "what hands have learned so far carries over to it",
        ASSUMED,
    )
    yield _faults_of_machine(machine)
    sold_after = min(machine.life_weeks or scenario.horizon_weeks, scenario.horizon_weeks)
    yield Assumption(
        f"{machine.name}: money",
        f"{_money(machine.price, currency)} at the start, "
        f"{_money(machine.running_cost_per_week, currency)} a week for power and upkeep, sold for "
        f"{_money(machine.resale, currency)} after {span(sold_after)}; not bought again",
        GIVEN,
    )
    if machine.attended_share.low < 1:
        yield Assumption(
            f"{machine.name}: alone",
            f"{100 * (1 - machine.attended_share.typical):.0f} % of its time nobody stands by",
            GIVEN,
        )


def _faults_of_machine(machine: Equipment) -> Assumption:
    """How often its pieces are spoiled, as given or as now; that it never stands still."""
    faults = machine.faults_factor
    much = "as many as by hand, until laps tell"
    if faults != sure(1.0):
        much = f"{_between(faults, 100)} % of today's{in_the_middle(faults, 100)}"
    return Assumption(
        f"{machine.name}: faults and standstills",
        f"faults: {much}; no breakdowns, no hours of upkeep",
        ASSUMED if faults == sure(1.0) else GIVEN,
    )


def _is_range(machine: Equipment) -> bool:
    given = (machine.seconds, machine.time_factor)
    return any(estimate is not None and estimate.is_range for estimate in given)


def _of_move(move: Move, currency: str) -> Iterator[Assumption]:
    yield Assumption(
        "The move",
        f"{_money(move.rent_per_week, currency)} more rent a week, "
        f"{_money(move.fit_out, currency)} to fit it out, "
        f"{counted(move.lost_days, 'day')} without work",
        GIVEN,
    )
    if move.deposit != sure(0.0):
        yield Assumption("Deposit", f"{_money(move.deposit, currency)}, back at the end", GIVEN)
    if move.lease_weeks or move.notice_weeks:
        yield Assumption("Rent is owed", _owed(move, currency), GIVEN)
    if move.transport_factor != 1:
        yield Assumption("Walks", f"{figure(100 * move.transport_factor)} % of today's", GIVEN)
    for station, places in move.added_stations:
        where = station or "where it is fullest"
        yield Assumption("More places", f"{places} at the {where}".replace("the where", "where"),
                         GIVEN)  # fmt: skip
    for product, size in move.batch_size:
        yield Assumption("Batches", f"{size} of {product or 'every product'}", GIVEN)
    if move.commute_hours_per_week != sure(0.0):
        yield Assumption(
            "The way there",
            f"{counted(move.commute_hours_per_week, 'hour')} a week less at the bench",
            GIVEN,
        )


def _owed(move: Move, currency: str) -> str:
    parts = []
    if move.lease_weeks:
        parts.append(f"for {move.lease_weeks} weeks at least")
    if move.notice_weeks:
        parts.append(f"{move.notice_weeks} weeks after giving notice")
    said = ", and ".join(parts)
    if move.whole_rent_per_week is None:
        return f"{said}; only what is added to the present rent is reckoned as owed"
    return f"{said}: {_money(sure(move.whole_rent_per_week), currency)} a week"


def _of_reckoning(scenario: Scenario) -> Iterator[Assumption]:
    if _has_ranges(scenario):
        yield Assumption("A figure given as a range", RANGES, ASSUMED)
    yield Assumption(
        "Money later is worth less",
        f"by {figure(100 * scenario.discount_rate_per_year)} % a year beyond inflation: prices, "
        "wages and rent stay at today's",
        GIVEN if scenario.discount_rate_per_year != Scenario.discount_rate_per_year else ASSUMED,
    )
    yield Assumption(
        "Material", "counts when a piece is sold or spoiled; stock left over is neither gain "
        "nor loss", ASSUMED,
    )  # fmt: skip
    yield Assumption(
        "Loans, taxes and subsidies", "are left out: money is before interest and repayment",
        ASSUMED,
    )  # fmt: skip


RANGES = (
    "nine of ten runs draw it from between its ends: money, hours and days as far above the middle "
    "as below it; times, shares and demand as many times above as below"
)


def _has_ranges(scenario: Scenario) -> bool:
    """Whether any figure of it is given as a range."""
    parts = (scenario.helper, *scenario.equipment, scenario.move, scenario.demand)
    return any(
        isinstance(figure_, Estimate) and figure_.is_range
        for part in parts
        if part
        for figure_ in vars(part).values()
    )


def _times(factor: Estimate) -> str:
    """`as long as`, `1.2 times as long as`, `1 to 1.4 times (1.18 in the middle) as long as`."""
    if factor == sure(1.0):
        return "as long as"
    return f"{_between(factor)} times{in_the_middle(factor)} as long as"


def counted(estimate: Estimate, unit: str) -> str:
    """Hours or days: `1 day`, `2 to 12 hours (7 on average)`."""
    named = unit if estimate == sure(1.0) else f"{unit}s"
    return f"{_between(estimate)} {named}{on_average(estimate)}"


def _money(estimate: Estimate, currency: str, digits: int = 3) -> str:
    """`2,300 to 2,900 USD (2,600 on average)`."""
    ends = f"{_between(estimate, digits=digits)} {currency}".rstrip()
    return f"{ends}{on_average(estimate)}"


def _between(estimate: Estimate, scale: float = 1.0, digits: int = 3) -> str:
    ends = (figure(scale * end, digits) for end in (estimate.low, estimate.high))
    return " to ".join(dict.fromkeys(ends))


def on_average(estimate: Estimate) -> str:
    """What a range that is added up counts as: ` (1,200 on average)`; nothing of a sure figure."""
    return f" ({figure(estimate.middle, 3)} on average)" if estimate.is_range else ""


def in_the_middle(estimate: Estimate, scale: float = 1.0) -> str:
    """What a range that multiplies counts as: ` (56 % in the middle)`, the sign where it is told in
    hundredths; nothing of a sure figure."""
    if not estimate.is_range:
        return ""
    percent = " %" if scale == 100 else ""
    return f" ({figure(scale * estimate.typical, 3)}{percent} in the middle)"


def _growth(rate: Estimate) -> str:
    """`-10 to 20 (3.9 in the middle)`: percent a year, of what is left of 1 year after year."""
    left = Estimate(1 + rate.low, 1 + rate.high)
    if not rate.is_range:
        return _percent(rate)
    return f"{_percent(rate)} ({figure(100 * (left.typical - 1), 3)} in the middle)"


def _percent(rate: Estimate) -> str:
    ends = dict.fromkeys(figure(100 * end, 3) for end in (rate.low, rate.high))
    return " to ".join(ends)


HELPER_CAUTION = (
    "Employing somebody: employment law where the shop is decides on contract, wage, hours, "
    "insurance, tax and safety briefing, also for a few hours a week; ask those licensed to "
    "advise. Whoever is timed must know it."
)
MACHINE_CAUTION = (
    "A machine: guards, emergency stop, wiring, fire protection, dust extraction, ventilation and "
    "noise as its manual and the local codes say; licensed people do the electrical work, and "
    "whoever uses it is instructed first."
)
MOVE_CAUTION = (
    "Another room: local codes and licensed practice decide on permitted use, fire exits, "
    "electrical wiring, ventilation for glues and solvents, floor load and the lease itself."
)
LEASE_CAUTION = (
    "The lease runs longer than is looked ahead here: rent of the weeks after that is owed too, "
    "and is in none of these figures but those of giving up. Look as far ahead as the lease runs."
)
PACE_CAUTION = (
    "More work in the same hours: breaks and a change of task come first; haste at blades, "
    "needles and presses hurts people."
)
MONEY_CAUTION = (
    "The ranges say what the timed work and the figures given can bear, no more. Before anything "
    "is signed, somebody licensed to advise should see the page."
)


def cautions(scenario: Scenario) -> tuple[str, ...]:
    """What no simulation sees; local codes and licensed practice decide."""
    parts = (
        (scenario.helper, HELPER_CAUTION),
        (scenario.equipment, MACHINE_CAUTION),
        (scenario.move, MOVE_CAUTION),
        (scenario.move and scenario.move.lease_weeks > scenario.horizon_weeks, LEASE_CAUTION),
        (scenario.demand, PACE_CAUTION),
        (True, MONEY_CAUTION),
    )
    return tuple(caution for given, caution in parts if given)


def before_signing(scenario: Scenario) -> str:
    """The heading of the cautions: `Before anything is signed or the machine is in use`."""
    parts = [
        "the helper is at work" if scenario.helper else "",
        "the machine is in use" if scenario.equipment else "",
        "the room is moved into" if scenario.move else "",
    ]
    steps = ["anything is signed", *filter(None, parts)]
    if len(steps) == 1:
        steps.append("more work is promised")
    return f"Before {', '.join(steps[:-1])} or {steps[-1]}"


def mean_demand(model: ShopModel, weeks: int) -> float:
    """Pieces asked for in an average week of the horizon, dated orders among them."""
    factor = np.ones(weeks)
    if model.demand_factor:
        given = np.array(model.demand_factor)
        factor = given[np.minimum(np.arange(weeks), len(given) - 1)]
    orders = sum(order.pieces for order in model.orders if order.week < weeks)
    asked = sum(line.demand_per_week for line in model.lines)
    return float(asked * factor.mean() + orders / weeks)
