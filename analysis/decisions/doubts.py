"""What each run draws anew, in words: how far it may lie, how it is known, what would settle it.

Keys are the names of the draws (`decisions/naming.py`, or of a shared doubt).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from analysis.decisions.answer import ASSUMED, GIVEN, MEASURED, PUBLISHED
from analysis.decisions.change import DEMAND_DOUBT
from analysis.decisions.naming import (
    INTERRUPTIONS,
    demand_name,
    forgetting_name,
    learning_name,
    pace_name,
    skill_name,
    step_name,
)
from analysis.decisions.shop_model import ShopModel, Skill
from analysis.decisions.varied import GROWTH, LOST_DAYS, TEACHING, WAY_THERE, ranges, value
from analysis.records.figures import figure
from analysis.records.scenario import Equipment, Estimate, Helper, Scenario
from analysis.study.rates import Z95

DEMAND = "demand"
LAPS = 20  # that a maker would time to settle something
TENTH = 0.1
Z_TOLD = Z95 + 0.8416  # a test at 5 % that finds four of five changes of that size
FEWEST_WEEKS, MOST_WEEKS = 4, 26


@dataclass(frozen=True)
class Doubt:
    """One figure in doubt. words(z): its value z standard deviations up, as text.

    told_by_laps: the share of its standard deviation that LAPS more laps would clear up.
    """

    name: str
    words: Callable[[float], str]
    source: str
    settled_by: str
    told_by_laps: float = 1.0


def doubts_of(model: ShopModel, scenario: Scenario) -> dict[str, Doubt]:
    """Every figure in doubt of the shop after the change, by the name of its draw."""
    return dict(
        [*_of_skills(model), *_of_steps(model), *_of_lines(model), *_of_scenario(model, scenario)]
    )


def weeks_to_count(per_week: float) -> int:
    """Weeks of counting orders after which a tenth more or less shows: n = z^2 / (.1^2 rate) where
    orders come one by one (Poisson) and the test is of 5 % and finds four of five (Cochran,
    Sampling Techniques, from memory); at least a month, at most half a year."""
    weeks = math.ceil(Z_TOLD**2 / (TENTH**2 * max(per_week, 1e-9)))
    return min(max(weeks, FEWEST_WEEKS), MOST_WEEKS)


def count_demand(per_week: float) -> str:
    """What to count, and how long, where so many pieces a week are asked for."""
    weeks = weeks_to_count(per_week)
    return (
        f"count what is asked for over {weeks} weeks, what is turned away included, and set it "
        "beside the same weeks of last year"
    )


def told_by_counting(deviation: float, per_week: float) -> float:
    """The share of a demand's standard deviation (of its log) that this count clears up."""
    return _told(deviation, 1.0, max(per_week, 1e-9) * weeks_to_count(per_week))


def _of_skills(model: ShopModel) -> Iterator[tuple[str, Doubt]]:
    for key, skill in model.skills.items():
        hand, product, operation = key
        what = f"{operation} ({product}) by {hand}"
        laps = f"time {LAPS} more laps of {operation} ({product}) by {hand}"
        told = _told(skill.level_doubt, math.hypot(skill.piece_log_sd, skill.batch_log_sd))
        source = MEASURED if skill.source == "measured" else ASSUMED
        yield (
            skill_name("time", key),
            Doubt(f"time of {what}", _percent(skill.level_doubt), source, laps, told),
        )
        yield (
            skill_name("practice", key),
            Doubt(
                learning_words(f"{operation}, {product}, {hand}"), _rate(skill), source, laps, told
            ),
        )
        yield forgetting_name(hand), Doubt(
            f"practice that {hand} loses in a week away", _lost(skill), source,
            f"time the first {LAPS} laps after a break",
        )  # fmt: skip


def _told(doubt: float, noise: float, times: float = LAPS) -> float:
    """sqrt(d^2 / (d^2 + s^2 / n)): of a normal doubt d, by n laps (or orders) of scatter s."""
    return math.sqrt(doubt**2 / (doubt**2 + noise**2 / times)) if doubt else 0.0


def _percent(deviation: float) -> Callable[[float], str]:
    def words(z: float) -> str:
        percent = 100 * math.expm1(z * deviation)
        return f"{figure(abs(percent))} % {'more' if percent > 0 else 'less'} than now reckoned"

    return words


def _lost(skill: Skill) -> Callable[[float], str]:
    """1 - retention exp(-doubt z), at least nothing: the doubt is of -log(retention)."""

    def words(z: float) -> str:
        kept = min(skill.retention_per_week * math.exp(-z * skill.loss_doubt), 1.0)
        return f"{100 * (1 - kept):.0f} %"

    return words


def _rate(skill: Skill) -> Callable[[float], str]:
    return lambda z: curve_words(skill.exponent + z * skill.exponent_doubt)


def learning_words(what: str) -> str:
    """A learning curve by what it does: the form asks for it in the same words."""
    return f"time of a piece after twice as many ({what})"


def curve_words(exponent: float) -> str:
    """`92 % of before`: the learning rate."""
    return f"{100 * 2 ** min(exponent, 0):.0f} % of before"


def _of_steps(model: ShopModel) -> Iterator[tuple[str, Doubt]]:
    kinds = {
        "rework": ("putting right in", "note what is put right in the next four batches"),
        "scrap": ("pieces lost in", "note what is lost in the next four batches"),
        "setup": ("setting up", "time the next few setups"),
        "machine": ("machine time of", f"time {LAPS} laps on it"),
    }
    for line in model.lines:
        for step in line.steps:
            for kind, (words, question) in kinds.items():
                doubt = getattr(step, "time_factor_doubt" if kind == "machine" else f"{kind}_doubt")
                name = step_name(kind, step.operation, line.product)
                what = f"{words} {step.operation} ({line.product})"
                yield name, Doubt(what, _percent(doubt), MEASURED, question)


def _of_lines(model: ShopModel) -> Iterator[tuple[str, Doubt]]:
    for line in model.lines:
        what = f"{line.product} {line.variant}".rstrip()
        name = demand_name(line.product, line.variant)
        asked = line.demand_per_week
        yield name, Doubt(
            f"demand for {what}", _percent(line.demand_doubt), GIVEN, count_demand(asked),
            told_by_counting(line.demand_doubt, asked),
        )  # fmt: skip
    yield (
        INTERRUPTIONS,
        Doubt("interruptions", _percent(model.delay_doubt), MEASURED, "keep noting interruptions"),
    )


def _of_scenario(model: ShopModel, scenario: Scenario) -> Iterator[tuple[str, Doubt]]:
    deviation = {shared.name: shared.doubt for shared in model.shared_doubts}
    if scenario.demand and DEMAND_DOUBT in deviation:
        middle, doubt = 100 * scenario.demand.factor.typical, deviation[DEMAND_DOUBT]
        only = scenario.demand.factor_products
        asked = sum(
            line.demand_per_week for line in model.lines if not only or line.product in only
        )
        unit = " % of today's" + "".join(f", {product}" for product in only)
        yield DEMAND_DOUBT, Doubt(
            DEMAND, _value(middle, doubt, unit), GIVEN, count_demand(asked),
            told_by_counting(doubt, asked),
        )  # fmt: skip
    yield from _of_calendar(scenario)
    for machine in scenario.equipment:
        yield from _of_machine(machine, deviation)
    if scenario.helper:
        yield from _of_helper(model, scenario.helper, deviation)


def _of_calendar(scenario: Scenario) -> Iterator[tuple[str, Doubt]]:
    """Ranges of what shapes hours and demand by the week (`varied.py`)."""
    told = {
        TEACHING: (1, " hours", "agree on what is to be taught, and time one session of it"),
        LOST_DAYS: (1, " days", "plan the move day by day"),
        WAY_THERE: (1, " a week", "drive there once in a working week"),
        GROWTH: (100, " % a year", "compare what was asked for with the same months a year ago"),
    }
    for name, given in ranges(scenario).items():
        scale, unit, question = told[name]

        def words(
            z: float,
            name: str = name,
            given: Estimate = given,
            scale: float = scale,
            unit: str = unit,
        ) -> str:
            return figure(scale * value(name, given, z), 3) + unit

        yield name, Doubt(name, words, GIVEN, question)


def _of_machine(machine: Equipment, deviation: dict[str, float]) -> Iterator[tuple[str, Doubt]]:
    trial = f"time {LAPS} laps on a borrowed, rented or demonstrated one"
    time, setup = f"time of {machine.name}", f"setup of {machine.name}"
    if time in deviation:
        given = machine.seconds or machine.time_factor
        unit, scale = (" s", 1) if machine.seconds else (" % of the present time", 100)
        middle = scale * (given.typical if given else 1.0)
        yield time, Doubt(time, _value(middle, deviation[time], unit), GIVEN, trial)
    if setup in deviation and machine.setup_seconds:
        words = _value(machine.setup_seconds.typical, deviation[setup], " s")
        yield setup, Doubt(setup, words, GIVEN, trial)
    faults = f"faults of {machine.name}"
    if faults in deviation:
        middle = 100 * machine.faults_factor.typical
        yield faults, Doubt(
            faults, _value(middle, deviation[faults], " % of today's"), GIVEN,
            "make some batches on a borrowed, rented or demonstrated one and count faults",
        )  # fmt: skip


def _of_helper(
    model: ShopModel, helper: Helper, deviation: dict[str, float]
) -> Iterator[tuple[str, Doubt]]:
    name = model.hands[-1].name
    pace, learning = pace_name(name), learning_name(name)
    if pace in deviation:
        first, d = helper.first_unit_factor, deviation[pace]
        yield pace, Doubt(
            f"time of the first pieces of the {name}",
            _value(100 * first.typical, d, " % of the shop's own"),
            GIVEN if first.is_range else PUBLISHED,
            f"agree on a paid trial and time {LAPS} laps of the {name}",
        )  # fmt: skip
    if learning in deviation:
        d = deviation[learning]
        exponents = [s.exponent for key, s in model.skills.items() if key[0] == name and s.exponent]
        middle = sum(exponents) / len(exponents)
        yield (
            learning,
            Doubt(
                learning_words(name),
                lambda z: curve_words(middle + z * d),
                GIVEN if helper.learning_rate else PUBLISHED,
                f"agree on a trial of two weeks and time the {name}'s laps at its start and end",
            ),
        )


def _value(middle: float, deviation: float, unit: str = "") -> Callable[[float], str]:
    return lambda z: figure(middle * math.exp(z * deviation), 3) + unit
