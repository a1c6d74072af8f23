"""Figures that the program proposed and nobody has set: an answer says so wherever it uses them.

A scenario does not know who wrote a figure; who asks does. So the answer is the same, and only what
it says of how a figure is known differs.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from analysis.decisions.answer import GIVEN, PROPOSED, Answer
from analysis.decisions.doubts import DEMAND
from analysis.records.scenario import Scenario

Path = tuple[str | int, ...]  # of keys, and of places in the list of machines: ("demand", "factor")


def with_proposed(answer: Answer, scenario: Scenario, proposed: Collection[Path]) -> Answer:
    """The answer with what rests on proposed figures marked as PROPOSED instead of GIVEN."""
    names = {name for path in proposed for name in _names(scenario, path)}
    if not names:
        return answer
    return replace(
        answer,
        assumptions=tuple(
            replace(line, source=PROPOSED) if line.what in names and line.source == GIVEN else line
            for line in answer.assumptions
        ),
        movers=tuple(
            replace(mover, source=PROPOSED)
            if mover.name in names and mover.source == GIVEN
            else mover
            for mover in answer.movers
        ),
    )


def _names(scenario: Scenario, path: Path) -> Iterator[str]:
    """By which names an answer lists the figure of a path (`stated.py`, `doubts.py`, ledger)."""
    if path[0] == "helper" and scenario.helper:
        name = scenario.helper.name
        yield f"The {name}"
        if path[-1] == "cost_per_hour":
            yield f"hourly cost of the {name}"
    elif path[0] == "equipment" and isinstance(path[1], int):
        name = scenario.equipment[path[1]].name
        yield f"{name}: time"
        yield f"time of {name}"
    elif path[0] == "demand" and scenario.demand:
        yield "Demand will be"
        yield DEMAND
