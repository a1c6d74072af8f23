"""What a change has cost or brought where it is given up on the way: the money gone by then and the
rent that is still owed, a deposit back. What was bought is not sold again; the shop goes on as
before, in its old room and at the old rent. So the whole rent of the new room is what is owed then,
not only what it adds. How long it is owed, the lease's own words and local law decide: here until
the shortest term is over or the notice has run, whichever is later.
"""

from __future__ import annotations

import numpy as np

from analysis.decisions.answer import Stop, finite_spread
from analysis.decisions.ledger import DEPOSIT, RENT, Ledger
from analysis.records.scenario import Move, Scenario

AFTER_WEEKS = (13, 26, 52, 104, 156, 260)


def stops(ledger: Ledger, scenario: Scenario) -> tuple[Stop, ...]:
    """Giving up after a quarter, half a year, one year …, as far as is looked ahead."""
    move = scenario.move or Move()
    added = -ledger.flows_of(RENT)[:, 1]
    whole = move.whole_rent_per_week
    rent_per_week = added if whole is None else np.full(ledger.runs, whole)
    cumulative, deposit_back = ledger.cumulative, -ledger.flows_of(DEPOSIT)[:, 0]
    found = []
    for week in AFTER_WEEKS:
        if week > scenario.horizon_weeks:
            break
        owed = rent_per_week * weeks_owed(move, week)
        so_far = cumulative[:, week] + deposit_back - owed
        found.append(Stop(week, finite_spread(so_far), float(owed.mean())))
    return tuple(found)


def weeks_owed(move: Move, week: int) -> int:
    """Weeks of rent that are owed after a room is given up at the end of a week."""
    return max(move.lease_weeks - week, move.notice_weeks, 0)
