"""What a phone may pick from: products and their routes, people, causes, open batches.

Worked out from the shop, its routing and the recent laps, as plain words and numbers ready to be
written as JSON. Nothing here asks a store or a clock. Laps are plain rows, newest first: a few
thousand of them are gone through faster than a frame is grouped.
"""

import math
import re
from collections import Counter
from collections.abc import Callable, Iterable
from statistics import median
from typing import NamedTuple

import pandas as pd

from analysis.records.routing import predecessors
from analysis.records.shop import Shop
from analysis.store.bench_batches import PhoneBatch
from analysis.study.route import topological

MADE = ("operation", "inspection")  # activities that bring a piece forward
USUAL_LAPS = 50  # laps of an operation, however long ago, whose median is the usual pace
MOST_CAUSES = 12
OPEN_MICROS = 30 * 86_400_000_000  # a batch nobody touched for 30 days is not offered


class RecentLap(NamedTuple):
    """The columns of a lap that matter here; started_at in microseconds of UTC."""

    started_at: int
    seconds: float
    product: str
    operation: str
    worker: str
    variant: str
    batch: str
    activity: str
    cause: str
    units: int
    scrap_units: int
    rework_units: int = 0

    @property
    def brings_forward(self) -> bool:
        """Whether its pieces are further along after it."""
        return self.activity in MADE


class Met(NamedTuple):
    """Names that stand together in laps on record, however long ago."""

    product: str
    variant: str
    operation: str
    worker: str
    activity: str
    first_day: int = 0  # days since 1970


class Step(NamedTuple):
    """One row of a route; seconds planned, NaN where nobody planned any."""

    operation: str
    variant: str = ""
    after: tuple[str, ...] = ()
    station: str = ""
    wait_seconds: float = 0.0
    seconds: float = math.nan


class LastOperation(NamedTuple):
    """What finishes a piece, where variants may end differently; "" where no route is known."""

    by_variant: dict[str, str]  # "": pieces of which nobody said the variant
    other: str  # a variant that has no step of its own

    def of(self, variant: str) -> str:
        """The operation that finishes a piece of this variant."""
        return self.by_variant.get(variant, self.other)


def routes(routing: pd.DataFrame | None) -> dict[str, list[Step]]:
    """The steps of each product in the order of the routing."""
    steps: dict[str, list[Step]] = {}
    if routing is None:
        return steps
    known = {name: set(rows.operation) for name, rows in routing.groupby("product")}
    for row in routing.itertuples(index=False):
        after = tuple(before for before, _ in predecessors(row.after, known[row.product]))
        step = Step(row.operation, row.variant, after, row.station, row.wait_seconds, row.seconds)
        steps.setdefault(row.product, []).append(step)
    return steps


def workers(shop: Shop, laps: list[RecentLap], met: Iterable[Met] = ()) -> list[str]:
    """The shop's people, then others who have logged laps; `maker` where nobody is named."""
    named = (
        [one.name for one in shop.workers],
        *([one.worker for one in all] for all in (laps, met)),
    )
    return _once(name for names in named for name in names) or ["maker"]


def causes(laps: list[RecentLap]) -> list[str]:
    """Causes given before, the most recent first."""
    return _once(lap.cause for lap in laps)[:MOST_CAUSES]


def products(
    shop: Shop,
    steps: dict[str, list[Step]],
    laps: list[RecentLap],
    present_seconds: dict[tuple[str, str], float],
    met: Iterable[Met] = (),
    rushed_below: dict[tuple[str, str], float] | None = None,
    last: list[RecentLap] | None = None,
) -> list[dict]:
    """Each product with its variants and its route; operations only laps know are listed last, but
    what finishes a piece (`last_operation`) stays what the routing says, as in `study.route`.

    `met`: the names of all laps on record; `laps` may leave old ones out, and add several up. Then
    `last` are the last laps of each operation one by one, newest first, and its very first.
    `present_seconds` maps (product, operation) to the normal seconds of a piece at the present
    level of practice; where it says nothing the planned seconds stand. `rushed_below` likewise
    maps to the seconds below which haste spoils more than it saves.
    """
    last = laps if last is None else last
    made, one_by_one = (
        _grouped((lap for lap in some if lap.brings_forward), lambda lap: lap.product)
        for some in (laps, last)
    )
    on_record = sorted((one for one in met if one.activity in MADE), key=lambda one: one.first_day)
    names = _once([*(row.name for row in shop.products), *steps, *made, *one_by_one,
                   *(one.product for one in on_record)])  # fmt: skip
    return [
        _product(
            name,
            shop,
            steps.get(name, []),
            (made.get(name, []), one_by_one.get(name, [])),
            (present_seconds, rushed_below or {}),
            [one for one in on_record if one.product == name],
        )
        for name in names
    ]


def _product(
    name: str,
    shop: Shop,
    planned: list[Step],
    made: tuple[list[RecentLap], list[RecentLap]],
    by_study: tuple[dict, dict],
    met: list[Met],
) -> dict:
    laps, last = made
    by_operation = _grouped(last, lambda lap: lap.operation)
    listed = {step.operation for step in planned}
    first_days = {one.operation: one.first_day for one in reversed(met)}
    unplanned = [operation for operation in {**by_operation, **first_days}
                 if operation not in listed]  # fmt: skip

    def first_met(operation: str) -> tuple[float, float]:
        first_read = by_operation[operation][-1].started_at if operation in by_operation else 0
        return first_days.get(operation, math.inf), first_read

    unplanned.sort(key=first_met)
    route = [*planned, *(Step(operation) for operation in unplanned)]
    variants = [row.variant for row in shop.products if row.name == name]
    variants += [step.variant for step in route] + [lap.variant for lap in (*laps, *last)]
    variants += [one.variant for one in met]
    operations = [
        _operation(step, by_operation.get(step.operation, []),
                   *(told.get((name, step.operation), math.nan) for told in by_study))
        for step in route
    ]  # fmt: skip
    ends = last_operation(planned or route)
    return {
        "product": name,
        "variants": _once(variants),
        "batch_size": shop.batch_size(name),
        "operations": operations,
        "last_operation": ends.other,
        "last_operations": ends.by_variant,
    }


def last_operation(route: list[Step]) -> LastOperation:
    """What finishes a piece: the last step in an order that keeps every `after`, whichever stands
    last in the file."""
    by_variant = {
        variant: _end(_on_route(route, variant)) for variant in {"", *(s.variant for s in route)}
    }
    for_all = [step for step in route if not step.variant]
    return LastOperation(by_variant, _end(for_all) or by_variant[""])


def _on_route(route: list[Step], variant: str) -> list[Step]:
    """The steps of one variant, its own before those for all; of "" each operation once.

    The rule of `route` in records/routing.py, on steps: lists are made after each lap, and cutting
    a frame for each variant is slow.
    """
    fitting = [step for step in route if not variant or step.variant in ("", variant)]
    nearest: dict[str, Step] = {}
    for step in sorted(fitting, key=lambda one: (one.variant != variant, one.variant)):
        nearest.setdefault(step.operation, step)
    return [step for step in fitting if nearest[step.operation] is step]


def _end(steps: list[Step]) -> str:
    names = [step.operation for step in steps]
    pairs = [(before, step.operation, 0.0) for step in steps for before in step.after
             if before in names]  # fmt: skip
    order = topological(names, pairs)
    return order[-1] if order else ""


def _operation(
    step: Step, laps: list[RecentLap], present: float, rushed_below: float = math.nan
) -> dict:
    recent = laps[:USUAL_LAPS]
    usual = median(lap.seconds / lap.units for lap in recent) if recent else math.nan
    return {
        "operation": step.operation,
        "variant": step.variant,
        "after": step.after,
        "station": step.station,
        "wait_seconds": step.wait_seconds,
        "seconds": _number(present if math.isfinite(present) else step.seconds),
        "usual_seconds": _number(usual),
        "activity_hint": _activity(step.operation, recent),
        "rushed_below_seconds": _number(rushed_below),
    }


def _activity(operation: str, recent: list[RecentLap]) -> str:
    """Inspection, where most laps said so; before the first one only the name can tell."""
    checks = sum(lap.activity == "inspection" for lap in recent)
    named_so = not recent and operation.casefold().startswith(("inspect", "check"))
    return "inspection" if named_so or 2 * checks > len(recent) else "operation"


def batches(
    laps: list[RecentLap],
    route_ends: dict[str, LastOperation],
    from_phones: dict[tuple[str, str], PhoneBatch],
    now: int,
    fixed: dict[tuple[str, str, str], int] | None = None,
) -> list[dict]:
    """Open batches, the latest touched first, with the pieces done by operation and variant.

    A batch is open until a phone closes it, or until as many pieces have passed what finishes them
    (`route_ends`, by product) as it has, those lost before left out. Where no phone said how many
    pieces it has (`told`), those are the most that any operation has seen.
    `fixed`: pieces put right within their lap, by product, batch and operation; they are not left
    to mend.
    """
    named = [lap for lap in laps if lap.batch and lap.product]
    own = _grouped((lap for lap in named if lap.brings_forward), _place)
    mended = _grouped((lap for lap in named if lap.activity == "rework"), _place)
    touched = {key: one.at for key, one in from_phones.items()}
    for key, its_laps in own.items():
        touched[key] = max(touched.get(key, 0), its_laps[0].started_at)
    recent = [key for key, at in touched.items() if now - at < OPEN_MICROS]
    recent.sort(key=touched.__getitem__, reverse=True)
    unknown = LastOperation({}, "")
    listed = (_batch(key, own.get(key, []), from_phones.get(key), route_ends.get(key[0], unknown))
              for key in recent)  # fmt: skip
    return [batch | _marks(own.get(key, []), mended.get(key, []), fixed or {})
            for batch in listed if batch["open"]
            for key in [(batch["product"], batch["batch"])]]  # fmt: skip


def _place(lap: RecentLap) -> tuple[str, str]:
    return lap.product, lap.batch


def _marks(laps: list[RecentLap], mended: list[RecentLap], fixed: dict) -> dict:
    """Pieces lost and pieces still to mend, by operation; a mending lap takes one off."""
    lost: Counter[str] = Counter()
    to_mend: Counter[str] = Counter()
    for lap in laps:
        lost[lap.operation] += lap.scrap_units
        to_mend[lap.operation] += lap.rework_units
    for operation in to_mend:
        to_mend[operation] -= fixed.get((*_place(laps[0]), operation), 0)
    for lap in mended:
        to_mend[lap.operation] -= lap.units
    return {"lost": dict(+lost), "to_mend": dict(+to_mend)}


def _batch(
    key: tuple[str, str], laps: list[RecentLap], told: PhoneBatch | None, last: LastOperation
) -> dict:
    done: dict[str, dict[str, int]] = {}
    for lap in laps:
        by_variant = done.setdefault(lap.operation, {})
        by_variant[lap.variant] = by_variant.get(lap.variant, 0) + lap.units
    quantities = told.quantities if told else _most_seen(done)
    finishes = _finishing(last, quantities)
    finished = sum(lap.units for lap in laps if finishes(lap))
    lost = sum(lap.scrap_units for lap in laps if not finishes(lap))
    is_finished = finished > 0 and finished >= sum(quantities.values()) - lost
    return {
        "product": key[0],
        "batch": key[1],
        "quantities": quantities,
        "told": told is not None,
        "done": {operation: sum(by_variant.values()) for operation, by_variant in done.items()},
        "done_by_variant": done,
        "open": (told is None or told.is_open) and not is_finished,
    }


def _finishing(last: LastOperation, quantities: dict[str, int]) -> Callable[[RecentLap], bool]:
    """Whether a lap finishes its pieces. A mixed stack ("") is of the batch's own variants: where
    they all end alike, it ends as they do."""
    ends = {last.of(variant) for variant, pieces in quantities.items() if variant and pieces}
    of_mixed = ends.pop() if len(ends) == 1 else last.of("")
    return lambda lap: lap.operation == (last.of(lap.variant) if lap.variant else of_mixed)


def _most_seen(done: dict[str, dict[str, int]]) -> dict[str, int]:
    """The most pieces of each variant that any operation has seen.

    Mixed stacks ("") hold the same pieces that others counted by variant: of them only what the
    variants do not account for is left.
    """
    seen: dict[str, int] = {}
    for by_variant in done.values():
        for variant, units in by_variant.items():
            seen[variant] = max(seen.get(variant, 0), units)
    size = max((sum(by_variant.values()) for by_variant in done.values()), default=0)
    mixed = size - sum(units for variant, units in seen.items() if variant)
    return {variant: units for variant, units in seen.items() if variant} | (
        {"": mixed} if mixed > 0 else {}
    )


def route_ends(listed: list[dict]) -> dict[str, LastOperation]:
    """What finishes a piece of each product, as `products` lists it."""
    return {
        one["product"]: LastOperation(one["last_operations"], one["last_operation"])
        for one in listed
    }


def next_batch(labels: Iterable[str]) -> str:
    """The number after the highest, as wide as it is written; "001" where there is none."""
    numbers = [label for label in labels if re.fullmatch(r"[0-9]{1,9}", label)]
    highest = max(numbers, key=int, default="000")
    return str(int(highest) + 1).zfill(len(highest))


def _grouped(laps: Iterable[RecentLap], key: Callable) -> dict:
    """The laps by a key, in the order in which each is first met."""
    groups: dict[object, list[RecentLap]] = {}
    for lap in laps:
        if any(named := key(lap)):
            groups.setdefault(named, []).append(lap)
    return groups


def _once(names: Iterable[str]) -> list[str]:
    """The different names in order, blank left out."""
    return [name for name in dict.fromkeys(names) if name]


def _number(value: float) -> float | None:
    return round(float(value), 2) if math.isfinite(value) else None
