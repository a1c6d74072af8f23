"""The fields of a scenario's form: what each asks, in which unit, and its place in the TOML.

What is typed becomes the value the TOML would have; what cannot be read stays as typed, and the
reader of scenarios says beside the field what is wrong. Percent stand for the file's shares.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, TypeAlias

from analysis.records.figures import figure, manner, marked

Value: TypeAlias = Any  # as a scenario's file may hold it, right or wrong

RANGE, NUMBER, WHOLE, TEXT, TOGGLE = "range", "number", "whole", "text", "toggle"
OPERATIONS, STATIONS, MONTHS, FACTORS = "operations", "stations", "months", "factors"
PRODUCT = "product"
TYPED = (RANGE, TEXT, FACTORS)
MONTH_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
EVERYWHERE = ""  # a place more where the shop is fullest
A_RANGE = "A number, or a range such as 40 to 60 where you do not know it for certain."


@dataclass(frozen=True)
class Field:
    """One field. `scale`: what is shown for 1 in the file (100: percent). `needed`: the form asks
    for it even where the file has a default, since nobody but the maker can know it. `more`: only
    on request. `fault`: what to do where it is wrong, in the form's own units."""

    key: str
    label: str
    kind: str = NUMBER
    scale: float = 1.0
    blank: str = ""  # what stands in its place while nothing is typed
    needed: str = ""
    more: bool = False
    help: str | None = None
    remedy: str = ""


def fields_of(part: str, money: str) -> tuple[Field, ...]:
    """The fields of a part of a scenario, money in the shop's currency."""
    return {
        "helper": _helper(money),
        "equipment": _machine(money),
        "move": _move(money),
        "demand": DEMAND,
        "orders": _order(money),
        "scenario": SCENARIO,
    }[part]


def _helper(money: str) -> tuple[Field, ...]:
    return (
        Field("hours_per_week", "Hours a week", remedy="Give more than 0 hours, at most 168."),
        Field(
            "cost_per_hour", f"Cost of an hour ({money})", blank="not filled in",
            help="What you pay in all: wage, employer's contributions, paid holidays. 0 if unpaid.",
            remedy="Give the wage with all that is paid on it; 0 if unpaid.",
        ),
        Field(
            "operations", "May do (operations)", OPERATIONS, blank="whatever the route leaves open",
            help="Left blank: every operation that the route keeps for nobody.",
        ),
        Field(
            "first_unit_factor", "First pieces take, % of your people's first ones", RANGE, 100,
            blank="100, give or take a fifth", help=A_RANGE,
            remedy="Give percent, such as 120, or a range, 100 to 140.",
        ),
        Field(
            "training_hours", "Teaching at the start (hours of both)", RANGE, blank="8",
            help=f"Neither makes pieces meanwhile. 8 is common practice, no source. {A_RANGE}",
            remedy="Give hours, or a range such as 8 to 20, low first.",
        ),
        Field("name", "Called", TEXT, blank="new helper", more=True),
        Field(
            "supervision_share", "Minding them later, % of each of their hours", NUMBER, 100,
            blank="0", more=True, remedy="Give percent, 0 to 100.",
        ),
        Field(
            "learning_rate", "After twice the pieces a piece takes, % of before", RANGE, 100,
            blank="from your laps and published studies", more=True,
            help=f"The trade's learning rate: 80 takes a fifth off with each doubling. {A_RANGE}",
            remedy="Give percent from 50 to 100, or a range, 80 to 95.",
        ),
        Field("from_week", "From week", WHOLE, blank="1", more=True),
        Field("until_week", "Until week", WHOLE, blank="the end", more=True),
        Field("months", "Only in these months", MONTHS, blank="all year", more=True),
    )  # fmt: skip


def _machine(money: str) -> tuple[Field, ...]:
    return (
        Field("operation", "For (operations)", OPERATIONS, blank="choose one or more"),
        Field(
            "time_factor", "A piece then takes, % of the present time", RANGE, 100, blank="100",
            help=f"From a trial or the supplier's word: 50 is twice as fast. {A_RANGE}",
            remedy="Give percent of the present time, such as 60, or a range, 45 to 70.",
        ),
        Field(
            "price", f"Price ({money})", RANGE, blank="not filled in",
            needed="Give what it costs, or a range such as 2300 to 2900; 0 if nothing.",
            help=A_RANGE, remedy="Give 0 or more, or a range such as 2300 to 2900, low first.",
        ),
        Field(
            "running_cost_per_week", f"Power and upkeep ({money} a week)", RANGE, blank="0",
            help=A_RANGE, remedy="Give 0 or more, or a range, low first.",
        ),
        Field("life_weeks", "Lasts (weeks)", WHOLE, blank="as long as is looked ahead",
              help="After that the work is done as before. A year has 52 weeks."),
        *_rarer_of_machine(money),
    )  # fmt: skip


def _rarer_of_machine(money: str) -> tuple[Field, ...]:
    return (
        Field("name", "Called", TEXT, blank="as its operation", more=True),
        Field(
            "seconds", "Or: seconds of one piece on it", RANGE, blank="see percent", more=True,
            help=f"Instead of the percent, where the machine sets the time. {A_RANGE}",
            remedy="Give seconds or percent of the present time, not both.",
        ),
        Field(
            "setup_seconds", "Setting up for a batch (seconds)", RANGE, blank="as now", more=True,
            help=A_RANGE, remedy="Give seconds, or a range that begins above 0.",
        ),
        Field(
            "faults_factor", "Faults on it, % of today's", RANGE, 100, blank="100", more=True,
            help=f"200 is about twice as many pieces put right or lost. {A_RANGE}",
            remedy="Give percent of today's faults, such as 150, or a range, 80 to 200.",
        ),
        Field(
            "attended_share", "Somebody must stand by, % of its time", RANGE, 100, blank="100",
            more=True, help=A_RANGE, remedy="Give percent from 1 to 100.",
        ),
        Field("pieces_at_once", "Pieces at once", WHOLE, blank="as now", more=True),
        Field(
            "resale", f"Sold again for ({money})", RANGE, blank="0", more=True, help=A_RANGE,
            remedy="Give 0 or more, or a range, low first.",
        ),
        Field("new_station", "Stands beside the old one, as one more place", TOGGLE, more=True),
    )  # fmt: skip


def _move(money: str) -> tuple[Field, ...]:
    return (
        Field(
            "rent_per_week", f"More rent than now ({money} a week)", RANGE, blank="not filled in",
            needed="Give what is added to the present rent, or a range; 0 if nothing.",
            help=f"With heating, power and insurance. {A_RANGE}",
            remedy="Give 0 or more, or a range such as 50 to 70, low first.",
        ),
        Field(
            "fit_out", f"Fitting it out ({money})", RANGE, blank="0", help=A_RANGE,
            remedy="Give 0 or more, or a range, low first.",
        ),
        Field("lost_days", "Working days lost", RANGE, blank="0", help=A_RANGE,
              remedy="Give days, or a range such as 2 to 5, low first."),
        Field("transport_factor", "Walking left, % of now", NUMBER, 100, blank="100"),
        Field("added_stations", "One more place at", STATIONS, blank="none"),
        Field("commute_hours_per_week", "On the way there (hours a week)", RANGE, blank="0",
              help=f"Taken off the first person's hours at the bench. {A_RANGE}",
              remedy="Give hours, or a range such as 1 to 3, low first."),
        Field("batch_size", "Batches of (pieces, all products)", WHOLE, blank="as now", more=True),
        Field(
            "whole_rent_per_week", f"Whole rent of the new room ({money} a week)", NUMBER,
            blank="as above", more=True,
            help="Owed where you give it up too early, beside the old room's rent.",
            remedy="Give 0 or more.",
        ),
        Field("lease_weeks", "Shortest term of the lease (weeks)", WHOLE, blank="0", more=True,
              help="Rent is owed so long, also where you give up before. A year has 52 weeks."),
        Field("notice_weeks", "Notice (weeks)", WHOLE, blank="0", more=True,
              help="Rent goes on so long after you say that you leave."),
        Field(
            "deposit", f"Deposit, back at the end ({money})", RANGE, blank="0", more=True,
            help=A_RANGE, remedy="Give 0 or more, or a range, low first.",
        ),
    )  # fmt: skip


DEMAND = (
    Field(
        "factor", "Asked for, % of today", RANGE, 100, blank="100", help=A_RANGE,
        remedy="Give percent above 0, such as 120, or a range, 115 to 150.",
    ),
    Field(
        "either_way", "Comes whether or not the rest is done", TOGGLE,
        help="On: before and after are both reckoned with it. Off: it comes only with the change.",
    ),
    Field(
        "growth_per_year", "Then grows, % a year", RANGE, 100, blank="0", more=True, help=A_RANGE,
        remedy="Give percent from -90 to 1000, or a range such as 0 to 15.",
    ),
    Field(
        "season", "Season: 12 factors, January first", FACTORS, blank="none", more=True,
        help="1 is an ordinary month, 1.5 half as much again: 1 1 1 1 1 0.8 0.8 1 1 1.2 1.6 2",
        remedy="Write 12 numbers, January first.",
    ),
)  # fmt: skip


def _order(money: str) -> tuple[Field, ...]:
    return (
        Field("product", "A large order: of", PRODUCT),
        Field("pieces", "Pieces", WHOLE),
        Field("week", "Due at the end of week", WHOLE),
        Field("price", f"Price ({money} a piece)", blank="the usual one"),
    )


SCENARIO = (
    Field("name", "Called", TEXT),
    Field("horizon_weeks", "Looked ahead (weeks)", WHOLE, blank="104",
          help="What it costs and brings is added up so long. 104 weeks are two years."),
    Field(
        "discount_rate_per_year", "Money could earn elsewhere, % a year", NUMBER, 100, blank="5",
        help="What you would get for it in a bank, or pay for a loan.",
        remedy="Give percent, such as 5, at most 100.",
    ),
    Field("starts_in_month", "Begins in month (1 to 12)", WHOLE, blank="1",
          help="Where a season, or a helper's months, begin to count."),
)  # fmt: skip

_NUMBER = r"[-+]?[\d.,'\s]*\d"
_APART = re.compile(rf"^({_NUMBER})\s*(?:to|–|—|-|bis|\.\.\.?|…)\s*({_NUMBER})$", re.IGNORECASE)


def shown(field: Field, value: Value) -> Value:
    """The value of a file as the field's widget shows it; None where nothing is given."""
    if field.kind == RANGE:
        return _range_text(value, field.scale)
    if field.kind == FACTORS:
        return " ".join(figure(one, 6) for one in value) if isinstance(value, list) else value
    if field.kind in (NUMBER, WHOLE):
        return _scaled(value, field.scale) if _is_number(value) else None
    if field.kind == OPERATIONS:
        return [value] if isinstance(value, str) else list(value or ())
    if field.kind == STATIONS:
        if _is_number(value):
            return [EVERYWHERE]
        return list(dict.fromkeys(value or ()))
    if field.kind == TOGGLE:
        return bool(value)
    return value


def taken(field: Field, typed: Value, before: Value = None) -> Value:
    """What is typed as the value of a file; None where the key is to be left out."""
    if typed is None or typed is False or typed == "" or typed == []:
        return None  # 0 is a figure
    if field.kind == RANGE:
        return _read_range(str(typed), field.scale)
    if field.kind == FACTORS:
        numbers = [_number(part) for part in re.split(r"[\s;|]+", str(typed).strip())]
        return str(typed) if None in numbers else numbers
    if field.kind == NUMBER:
        return _unscaled(typed, field.scale)
    if field.kind == WHOLE:
        return int(typed)
    if field.kind == STATIONS:
        kept = before if isinstance(before, dict) else {}
        return {name: kept.get(name, 1) for name in typed}
    return typed


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _scaled(value: float, scale: float) -> float:
    return float(f"{value * scale:.12g}")


def _unscaled(value: float, scale: float) -> float:
    return float(f"{value / scale:.12g}")


def _range_text(value: Value, scale: float) -> str | None:
    """`0.5` of scale 100 as `50`, `[0.45, 0.7]` as `45 to 70`; what is no number as typed."""
    if value is None or isinstance(value, str):
        return value
    ends = value if isinstance(value, list) else [value]
    return " to ".join(marked(f"{_scaled(end, scale):.12g}") for end in ends)


def _read_range(text: str, scale: float) -> float | list[float] | str:
    """`45 to 70`, `45-70` as two numbers, `45` as one; what is neither as it was typed."""
    text = text.strip().removesuffix("%").strip()
    alone = _number(text)
    if alone is not None:
        return _unscaled(alone, scale)
    parts = _APART.match(text)
    ends = [_number(part) for part in parts.groups()] if parts else []
    known = [_unscaled(end, scale) for end in ends if end is not None]
    return known if known and len(known) == len(ends) else text


def _number(text: str) -> float | None:
    """`2300`, `2,300`, `2 300`, `0,5`: a mark before three digits stands for thousands where the
    reader writes thousands so, and for decimals everywhere else."""
    text = re.sub(r"(?<=\d)[\s'](?=\d{3}\b)", "", text.strip())
    thousands, decimal = (".", ",") if manner().marks else (",", ".")
    grouped = rf"[-+]?\d{{1,3}}(\{thousands}\d{{3}})+(\{decimal}\d+)?"
    if re.fullmatch(grouped, text):
        text = text.replace(thousands, "")
    text = text.replace(",", ".")
    return float(text) if re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)", text) else None
