"""Batch size: elapsed time, worker minutes and money per good piece for batches of 1 to 200.

    worker minutes  = (setups + attended work, practice within the batch in it) / good pieces
    money           = worker hours x cost + material / good share + what lies tied up + rack places
    tied up         = (material + labour) x yearly rate x years from start to sale,
                      years = lead time + half the time in which the batch sells (cycle stock)

Large batches share a setup and keep the hand in practice; small ones tie up less and lie less. The
curve is flat near its minimum (as the classical lot-size formula, Harris 1913), so the answer is
the region within `flat_share` of the least, not one number.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.flow.bounds import lower_bound
from analysis.flow.dispatch import piece_times
from analysis.flow.listed import as_listed
from analysis.flow.plan import Block, makespan
from analysis.flow.search import Found, attempt, simple_rules
from analysis.flow.work import TICKS, Batch, Work, work_of
from analysis.records.shop import WEEKS_PER_YEAR
from analysis.study.learning import LearningResult

SIZES = (*range(1, 11), 12, 15, 18, 20, 22, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 120, 140,
         160, 180, 200)  # fmt: skip
FLAT_SHARE = 0.02  # common practice, no source: what a maker would not notice
COLUMNS = (
    "units", "good_pieces", "elapsed_seconds", "lower_bound_seconds", "elapsed_seconds_per_piece",
    "worker_minutes", "setup_minutes", "labour", "material", "tied_up", "rack", "money",
    "most_waiting", "fits", "in_flat_region",
)  # fmt: skip

Seconds = Mapping[tuple[str, str], float]


@dataclass(frozen=True)
class Costs:
    """What a piece and an hour cost; None where not known (then money is NaN).

    good_share: of the pieces started that come out good. rate_per_year: what tied-up money costs.
    rack_cost_per_place_week: rent of the place one waiting piece takes.
    """

    cost_per_hour: float | None = None
    material_cost: float | None = None
    good_share: float = 1.0
    demand_per_week: float | None = None
    rate_per_year: float = 0.10
    rack_cost_per_place_week: float = 0.0
    working_seconds_per_week: float = 144_000.0


@dataclass(frozen=True)
class BatchSizes:
    """table: COLUMNS, one row a size; per good piece: worker_minutes to money. most_waiting: pieces
    that wait at once; fits: whether racks and presses take the batch in one go.

    best_units and flat (low, high): least money, or least worker minutes where money is not known.
    """

    table: pd.DataFrame
    judged_by: str  # money, worker_minutes
    best_units: int
    flat: tuple[int, int]


def batch_sizes(
    routing: pd.DataFrame,
    product: str,
    variant: str = "",
    workers: int = 1,
    costs: Costs | None = None,
    *,
    seconds: Callable[[int], Seconds] | None = None,
    sizes: Sequence[int] = SIZES,
    change_seconds: float = 0.0,
    flat_share: float = FLAT_SHARE,
    file: str = "routing",
) -> BatchSizes:
    """The figures of each size. `seconds` gives the mean seconds per piece in a batch of so many
    (practice: see `practice_in_batch`); left out, the planned seconds hold at every size. flat: the
    sizes that cost at most `flat_share` more than the best. Raises BadInput as `work_of` does."""
    costs = costs or Costs()
    rows = []
    for units in sizes:
        own = seconds(units) if seconds else None
        work = work_of(routing, [Batch(product, units, variant)], workers, change_seconds,
                       seconds=own, file=file)  # fmt: skip
        rows.append(_row(work, units, costs))
    table = pd.DataFrame(rows)
    judged = "money" if table["money"].notna().all() else "worker_minutes"
    values = table[judged].to_numpy(float)
    flat = values <= values.min() * (1 + flat_share)
    table["in_flat_region"] = flat
    inside = table["units"][flat]
    best = int(table["units"].iloc[int(values.argmin())])
    return BatchSizes(table[list(COLUMNS)], judged, best, (int(inside.min()), int(inside.max())))


def _row(work: Work, units: int, costs: Costs) -> dict:
    blocks = _quick(work)
    span = makespan(blocks) / TICKS
    good = units * costs.good_share
    attended = work.attended / TICKS
    setups = sum(setup.duration for setup in work.setups) / TICKS
    waiting = _most_waiting(work, blocks)
    money = _money(costs, attended, span, units, waiting)
    return {
        "units": units, "good_pieces": good, "elapsed_seconds": span,
        "lower_bound_seconds": lower_bound(work) / TICKS,
        "elapsed_seconds_per_piece": span / good,
        "worker_minutes": attended / 60 / good, "setup_minutes": setups / 60 / good,
        **money, "most_waiting": waiting, "fits": _fits(work),
    }  # fmt: skip


def _quick(work: Work) -> list[Block]:
    """The best of the simple rules: sizes are compared by like with like."""
    plans = [
        plan
        for name, rule in simple_rules(work).items()
        if "whole batch" in name and (plan := attempt(work, rule))
    ]
    if not plans:
        return as_listed(work)[0]
    return list(min(plans, key=Found.score).blocks)


def _money(costs: Costs, attended: float, span: float, units: int, waiting: int) -> dict:
    """Money per good piece, by kind; NaN where a price is not known."""
    good = units * costs.good_share
    labour = np.nan if costs.cost_per_hour is None else attended / 3600 * costs.cost_per_hour / good
    material = np.nan if costs.material_cost is None else costs.material_cost / costs.good_share
    lead_weeks = span / costs.working_seconds_per_week
    selling = good / costs.demand_per_week / 2 if costs.demand_per_week else 0.0
    tied = (labour + material) * costs.rate_per_year * (lead_weeks + selling) / WEEKS_PER_YEAR
    rack = waiting * costs.rack_cost_per_place_week * lead_weeks / good
    return {"labour": labour, "material": material, "tied_up": tied, "rack": rack,
            "money": labour + material + tied + rack}  # fmt: skip


def _most_waiting(work: Work, blocks: list[Block]) -> int:
    """The most pieces that lie waiting at one time."""
    times = piece_times(work, blocks)
    moments = [
        (moment, step)
        for operation, row in zip(work.operations, times, strict=True)
        if operation.wait
        for _, left in row
        for moment, step in ((left, 1), (left + operation.wait, -1))
    ]
    there = most = 0
    for _, step in sorted(moments):
        there += step
        most = max(most, there)
    return most


def _fits(work: Work) -> bool:
    """Whether each rack and press takes the whole batch at once."""
    racks = all(
        o.rack < 0 or not o.wait or o.units <= work.rack_places[o.rack] for o in work.operations
    )
    return racks and all(not o.holds or o.units <= o.holds for o in work.operations)


def practice_in_batch(
    learning: LearningResult, product: str
) -> Callable[[int], dict[tuple[str, str], float]]:
    """Mean seconds per piece of the next batch of so many pieces, from fitted curves.

    The first pieces after the start are slower (the restart effect) and practice goes on within
    the batch. Several workers: weighted by the pieces they have made.
    """
    from analysis.study.forecast import next_batch

    cells = learning.cells
    own = (cells["product"] == product).to_numpy()

    def seconds(units: int) -> dict[tuple[str, str], float]:
        if learning.fits is None:
            return {}
        per_piece = next_batch(learning.fits, units)[0] / units
        rows = cells.assign(per_piece=per_piece)[own & np.isfinite(per_piece)]
        return {
            (product, str(operation)): float(
                np.average(group["per_piece"], weights=group["pieces_made"].clip(lower=1))
            )
            for operation, group in rows.groupby("operation", observed=True)
        }

    return seconds
