"""Search: many dispatching rules tried in turn, the best kept and changed a little.

Every draw comes from one generator that starts the same each time, and the search counts rules,
not seconds: the same work gives the same plan on any machine.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from analysis.flow.bounds import tails_of
from analysis.flow.dispatch import Rule, Stuck, dispatch, overruns
from analysis.flow.plan import Block, count_changes, makespan
from analysis.flow.work import Work

FAR = 1e12
SHARES = 4  # into how many parts a batch's ranks are cut while searching


@dataclass(frozen=True)
class Found:
    """A plan and what it is judged by: elapsed ticks, then changes of task, then the blocks."""

    span: int
    changes: int
    blocks: tuple[Block, ...]

    def score(self, change_worth: int = 0) -> tuple[int, int]:
        """(elapsed ticks and `change_worth` for each change of task, changes): the least is
        best."""
        return self.span + change_worth * self.changes, self.changes


def found(work: Work, blocks: list[Block]) -> Found:
    """The plan of these blocks, with its elapsed ticks and changes of task."""
    return Found(makespan(blocks), count_changes(work, blocks), tuple(sorted(blocks)))


def attempt(work: Work, rule: Rule) -> Found | None:
    """The plan of a rule, where it leads to one that may be carried out."""
    try:
        blocks = dispatch(work, rule)
    except Stuck:
        return None
    if any(o.max_wait is not None for o in work.operations) and overruns(work, blocks):
        return None
    return found(work, blocks)


def simple_rules(work: Work) -> dict[str, Rule]:
    """Rules of thumb by name (common practice, no source), each with long and short runs."""
    tails = tails_of(work)
    count = len(work.operations)
    ranks = {
        "longest way to go": [-tail for tail in tails],
        "as listed": list(range(count)),
        "furthest along": [-place for place in range(count)],
        "longest wait first": [-operation.wait for operation in work.operations],
        "most work first": [-operation.load for operation in work.operations],
        "quickest first": [operation.duration for operation in work.operations],
    }
    most = max((o.units for o in work.operations), default=1)
    runs = {"whole batch": most, "five": 5, "one": 1}
    return {
        f"{name}, {length} in a row": Rule(
            tuple((float(x),) for x in rank), (run,) * count, work.change if run > 1 else 0
        )
        for name, rank in ranks.items()
        for length, run in runs.items()
        if length == "whole batch" or run < most
    }


def waves(work: Work) -> list[Rule]:
    """Rules that bring the first pieces of a batch into what holds them (a press) before the rest
    is begun, so that they lie there while it is made; what comes behind is left to the last."""
    held = [i for i, operation in enumerate(work.operations) if operation.holds > 1]
    if not held:
        return []
    behind = _behind(work, set(held))
    tails, units = tails_of(work), max(operation.units for operation in work.operations)
    group = [o.holds or o.pieces_at_once for o in work.operations]
    rules = []
    for first in range(max(1, units // 4), units, max(1, units // 50)):
        rank = tuple(
            _wave_rank(-tails[i], own.units, own.units * first // units, i in behind)
            for i, own in enumerate(work.operations)
        )
        for index in held:
            group[index] = min(work.operations[index].holds, first)
        wave = tuple(own.units * first // units for own in work.operations)
        for run in (units, max(1, first // 2)):  # in halves, what is glued first dries meanwhile
            rules.append(Rule(rank, (run,) * len(tails), work.change, tuple(group), wave))
    return rules


def _wave_rank(rank: float, units: int, first: int, behind: bool) -> tuple[float, ...]:
    if behind:
        return (rank + 2 * FAR,)
    return tuple(rank + (FAR if piece >= first else 0.0) for piece in range(units))


def _behind(work: Work, start: set[int]) -> set[int]:
    """The operations that come after any of these."""
    reached = set(start)
    for index, operation in enumerate(work.operations):
        if any(before in reached for before, _ in operation.before):
            reached.add(index)
    return reached - start


class RulesTried:
    """The simple rules and waves of some work, each with the plan it leads to (None: to none that
    may be carried out); tried once, however often they are asked for."""

    def __init__(self, work: Work):
        self._work = work
        self._rules = (*simple_rules(work).values(), *waves(work))
        self._plans: list[Found | None] = []

    def __iter__(self) -> Iterator[tuple[Rule, Found | None]]:
        for place, rule in enumerate(self._rules):
            if place == len(self._plans):
                self._plans.append(attempt(self._work, rule))
            yield rule, self._plans[place]


def improve(
    work: Work,
    tries: int,
    bound: int,
    *,
    rules: RulesTried | None = None,
    stop: Callable[[], bool] = lambda: False,
    report: Callable[[Found], None] = lambda _: None,
    seen: Callable[[Found], None] = lambda _: None,
    change_worth: int = 0,
) -> Found | None:
    """The best plan among the simple rules and `tries` changes of them.

    Ends early where a plan reaches the bound with no change left to save. rules: those of this
    work, where they are wanted again. seen: told every plan met. change_worth: elapsed ticks that
    one change of task less is worth (0: elapsed time first).
    """
    score = partial(Found.score, change_worth=change_worth)
    draw = random.Random(0)  # the same draws for the same work: an answer must not change by itself
    best, rule = _best_rule(rules or RulesTried(work), score, stop, report, seen)
    fewest = least_changes(work)
    current, own = best, _spread(work, rule or next(iter(simple_rules(work).values())))
    for count in range(tries):
        if stop() or (best and best.span <= bound and best.changes <= fewest):
            break
        candidate = _changed(work, own, draw)
        plan = attempt(work, candidate)
        if plan is None:
            continue
        seen(plan)
        # Late acceptance: a plan slightly worse than the one in hand may lead on, less so later.
        slack = 0.01 * (1 - count / tries) * draw.random()
        if current is None or score(plan)[0] <= score(current)[0] * (1 + slack):
            current, own = plan, candidate
        if best is None or score(plan) < score(best):
            best, current, own = plan, plan, candidate
            report(best)
        elif count % 60 == 59:
            current, own = best, own if current is best else candidate
    return best


def _best_rule(
    rules: RulesTried,
    score: Callable[[Found], tuple[int, int]],
    stop: Callable[[], bool],
    report: Callable[[Found], None],
    seen: Callable[[Found], None],
) -> tuple[Found | None, Rule | None]:
    """The best plan of the simple rules and the rule it came from; None where none led to one."""
    best, rule = None, None
    for candidate, plan in rules:
        if plan:
            seen(plan)
        if plan and (best is None or score(plan) < score(best)):
            best, rule = plan, candidate
            report(best)
        if best and stop():
            break
    return best, rule


def least_changes(work: Work) -> int:
    """Changes no plan can do without: every task once, less one a worker."""
    return max(0, len({o.task for o in work.operations}) - len(work.workers))


def _spread(work: Work, rule: Rule) -> Rule:
    """The rule with a rank for each share of a batch, and groups written out."""
    order = sorted(range(len(rule.rank)), key=lambda index: rule.rank[index])
    place = {index: float(position) for position, index in enumerate(order)}
    return replace(
        rule,
        rank=tuple(
            (place[index],) * max(1, min(SHARES, operation.units))
            for index, operation in enumerate(work.operations)
        ),
        group=tuple(o.holds or o.pieces_at_once for o in work.operations),
    )


def _changed(work: Work, rule: Rule, draw: random.Random) -> Rule:
    """The rule with one or two things about it changed."""
    for _ in range(draw.choice((1, 1, 2, 3))):
        index = draw.randrange(len(work.operations))
        kind = draw.random()
        if kind < 0.35:
            rule = _with(rule, "rank", index, _moved(rule.rank[index], len(rule.rank), draw))
        elif kind < 0.6:
            rule = _swapped(rule, index, draw.randrange(len(work.operations)))
        elif kind < 0.85:
            rule = _with(rule, "run", index, _length(work.operations[index].units, draw))
        elif kind < 0.93 or not any(o.holds > 1 for o in work.operations):
            rule = replace(rule, patience=draw.choice((0, 0, work.change, 6000, 30000, 120000)))
        else:
            held = draw.choice([i for i, o in enumerate(work.operations) if o.holds > 1])
            rule = _with(rule, "group", held, draw.randint(1, work.operations[held].holds))
    return rule


def _with(rule: Rule, name: str, index: int, value: int | tuple[float, ...]) -> Rule:
    values = list(getattr(rule, name))
    values[index] = value
    changed: dict[str, Any] = {name: tuple(values)}
    return replace(rule, **changed)


def _moved(ranks: tuple[float, ...], count: int, draw: random.Random) -> tuple[float, ...]:
    """New rank for all shares, or for those before or behind a point."""
    new = draw.uniform(-1, count)
    cut = draw.randrange(len(ranks) + 1)
    if cut in (0, len(ranks)):
        return (new,) * len(ranks)
    if draw.random() < 0.5:
        return (new,) * cut + ranks[cut:]
    return ranks[:cut] + (new,) * (len(ranks) - cut)


def _swapped(rule: Rule, one: int, other: int) -> Rule:
    first, second = rule.rank[one][0], rule.rank[other][0]
    swapped = _with(rule, "rank", one, (second,) * len(rule.rank[one]))
    return _with(swapped, "rank", other, (first,) * len(rule.rank[other]))


def _length(units: int, draw: random.Random) -> int:
    units = max(units, 1)  # of a replanned session an operation may have no pieces left
    return draw.choice((units, units, draw.randint(1, units), max(1, units // 2), 1))
