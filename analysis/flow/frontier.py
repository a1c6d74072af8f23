"""The frontier: how few blocks a plan can do with, and what fewer blocks cost in elapsed time.

Rules are searched again with a change of task made worth more and more elapsed time; every plan
met is timed as it is. Kept is what no other plan met beats in both blocks and elapsed time.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from analysis.flow.bounds import lower_bound
from analysis.flow.by_hand import by_turns, runs
from analysis.flow.listed import as_listed
from analysis.flow.plan import Plan, make_plan, makespan
from analysis.flow.search import Found, RulesTried, improve
from analysis.flow.work import TICKS, Work

WORTH_SECONDS = (0, 20, 120, 600, 3600)
TRIES = 120


@dataclass(frozen=True)
class Point:
    """The quickest plan met with so many blocks (runs of one operation by one worker; going to and
    fro between two operations counts as one)."""

    blocks: int
    changes: int
    makespan_seconds: float
    plan: Plan


def frontier(
    work: Work, plan: Plan | None = None, *, tries: int = TRIES,
    worth_seconds: Sequence[int] = WORTH_SECONDS, rules: RulesTried | None = None,
    stop: Callable[[], bool] | None = None,
) -> tuple[Point, ...]:  # fmt: skip
    """The frontier, fewest blocks first; `plan` (from `order`) is its quick end where given.

    worth_seconds: the elapsed time one change of task less is worth, one search for each.
    rules: those of this work, where they are tried already.
    """
    best: dict[int, Found] = {}

    def seen(found: Found) -> None:
        if found.changes not in best or found.span < best[found.changes].span:
            best[found.changes] = found

    bound, rules = lower_bound(work), rules or RulesTried(work)
    for worth in worth_seconds:
        improve(work, tries, bound, rules=rules, stop=stop or (lambda: False), seen=seen,
                change_worth=worth * TICKS)  # fmt: skip
    listed, possible = as_listed(work)
    plans = [
        make_plan(work, list(found.blocks), bound, makespan(listed), as_listed_possible=possible)
        for found in best.values()
    ]
    return undominated(plans + ([plan] if plan else []))


def undominated(plans: Sequence[Plan]) -> tuple[Point, ...]:
    """Of these plans, those that no other beats in both blocks and elapsed time."""
    points = [
        Point(len(by_turns(runs(plan))), plan.changes, plan.makespan_seconds, plan)
        for plan in plans
    ]
    kept: list[Point] = []
    for point in sorted(points, key=lambda p: (p.blocks, p.makespan_seconds)):
        if not kept or point.makespan_seconds < kept[-1].makespan_seconds:
            kept.append(point)
    return tuple(kept)
