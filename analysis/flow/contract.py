"""Plans and balances as the JSON objects that `order --json` and `balance --json` print."""

from __future__ import annotations

from analysis.flow.balance import Balance
from analysis.flow.plan import Plan


def order_contract(plan: Plan, variant: str = "") -> dict:
    """The answer of the command line's `order`."""
    return {
        "makespan_seconds": plan.makespan_seconds,
        "ready_seconds": plan.ready_seconds,
        "lower_bound_seconds": plan.lower_bound_seconds,
        "optimal": plan.optimal,
        "as_listed_seconds": plan.as_listed_seconds,
        "attended_seconds": plan.attended_seconds,
        "idle_seconds": plan.idle_seconds,
        "changes": plan.changes,
        "variant": variant,
        "workers": list(plan.workers),
        "steps": [
            {
                "operation": step.operation, "activity": step.activity, "worker": step.worker,
                "start_seconds": step.start_seconds, "end_seconds": step.end_seconds,
                "units": step.units,
            }
            for step in plan.steps
        ],
    }  # fmt: skip


def balance_contract(balance: Balance) -> dict:
    """The answer of the command line's `balance`."""
    return {
        "workers": balance.workers,
        "cycle_seconds": balance.cycle_seconds,
        "lower_bound": balance.lower_bound,
        "optimal": balance.optimal,
        "balance_loss": balance.balance_loss,
        "assignment": [
            {
                "worker": place.worker,
                "operations": list(place.operations),
                "seconds": place.seconds,
            }
            for place in balance.assignment
        ],
    }
