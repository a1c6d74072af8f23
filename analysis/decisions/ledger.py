"""Weeks as money: what an average week brings, and every entry by which a change differs from none.

    contribution = price x sold - material x (sold + spoiled); dated orders at their own price
    cash         = contribution - wages - overhead - what the scenario adds each week

Material counts when the piece is sold or spoiled: what lies on the shelf is neither earned nor
lost. Wages are paid for the hours agreed, with work or without; a hand without a wage is an owner,
whose hours are no cash. Rent is what is added. A machine is not bought again: after its life the
work is done as before.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from analysis.decisions.answer import GIVEN
from analysis.decisions.change import HOUR, helper_hours, helper_weeks, paid_seconds
from analysis.decisions.draws import PARAMETER, code_of, normal_draws
from analysis.decisions.money import at, discount_factors, weekly_rate
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.simulate import Runs
from analysis.records.scenario import Equipment, Estimate, Scenario, sure

Models: TypeAlias = tuple[ShopModel, ShopModel]  # before, after
RENT, DEPOSIT = "added rent", "deposit"
SALES, MATERIAL = "Sales", "Material"


@dataclass(frozen=True)
class Entry:
    """One difference in cash. flows: (runs, weeks + 1), column 0 at the start, in >= 0, out <= 0.

    name: what it hangs on, as `price of the press`. estimate: the figure itself, where one is
    given; every flow is in proportion to it; drawn: the mean of its values in the runs.
    at_end: what comes in is got back at the end (resale, deposit). asked: flows (weeks + 1,) at a
    price of 1, where it is what somebody asks for the change itself: a room, an hour, a machine;
    such an entry stands there at a price of 0, too. part: the line of a list of the
    money it belongs to; back: of what comes in of it at the end, where that is a line of its own.
    """

    name: str
    flows: np.ndarray
    estimate: Estimate | None = None
    drawn: float = 1.0
    source: str = GIVEN
    per: str = ""
    at_end: bool = False
    asked: np.ndarray | None = None
    part: str = ""
    back: str = ""


@dataclass(frozen=True)
class Ledger:
    """All entries of a change, and what a week's money is discounted by."""

    entries: tuple[Entry, ...]
    discount: np.ndarray
    runs: int

    def worth(self, entry: Entry) -> np.ndarray:
        """Present value of one entry, in money: (runs,)."""
        return entry.flows @ self.discount

    @property
    def net_present_values(self) -> np.ndarray:
        """Sum of the entries' present values, in money: (runs,)."""
        return sum((self.worth(entry) for entry in self.entries), np.zeros(self.runs))

    @property
    def flows(self) -> np.ndarray:
        """All entries together, (runs, weeks + 1); what is got back at the end in it."""
        nothing = np.zeros((self.runs, len(self.discount)))
        return sum((entry.flows for entry in self.entries), nothing)

    @property
    def cumulative(self) -> np.ndarray:
        """Cash so far against going on as before, (runs, weeks + 1); what is got back at the end
        left out, since nobody who goes on has it."""
        kept = [
            np.minimum(entry.flows, 0.0) if entry.at_end else entry.flows for entry in self.entries
        ]
        return np.cumsum(sum(kept, np.zeros((self.runs, len(self.discount)))), axis=1)

    def flows_of(self, name: str) -> np.ndarray:
        """The flows of the entry of this name, (runs, weeks + 1); nil where there is none."""
        nothing = np.zeros((self.runs, len(self.discount)))
        return sum((entry.flows for entry in self.entries if entry.name == name), nothing)

    @property
    def paid_at_start(self) -> float:
        """Mean of what is paid before the first week."""
        return -float(sum(np.minimum(entry.flows[:, 0], 0).mean() for entry in self.entries))


def ledger_of(before: Runs, after: Runs, models: Models, scenario: Scenario, seed: int) -> Ledger:
    """The entries of a change: runs before and after of the same seed, of horizon_weeks weeks."""
    discount = discount_factors(
        weekly_rate(scenario.discount_rate_per_year), scenario.horizon_weeks
    )
    entries = (*_goods(before, after, models), *_costs(after, models, scenario, seed))
    kept = tuple(e for e in entries if e.flows.any() or e.asked is not None)
    return Ledger(kept, discount, len(after.sold))


def _goods(before: Runs, after: Runs, models: Models) -> Iterator[Entry]:
    """Sales and material by product: the differences of what is sold and spoiled; sales of orders
    at a price of their own by the week they are due in."""
    lines = models[1].lines
    ordered_after, orders_after = _sold_by_order(after, models[1])
    ordered_before, orders_before = _sold_by_order(before, models[0])
    sold = after.sold - before.sold
    usual = sold - (ordered_after - ordered_before)
    used = sold + after.scrapped - before.scrapped
    for product in dict.fromkeys(line.product for line in lines):
        own = np.array([line.product == product for line in lines])
        price = np.array([line.price or 0.0 for line in lines]) * own
        material = np.array([line.material_cost or 0.0 for line in lines]) * own
        yield Entry(f"price of the {product}", _from_week_1(usual @ price), part=SALES)
        yield Entry(f"material of the {product}", -_from_week_1(used @ material), part=MATERIAL)
    orders = orders_after - orders_before
    for week in np.flatnonzero(orders.any(axis=0)):
        own = np.where(np.arange(orders.shape[1]) == week, orders, 0.0)
        yield Entry(f"price of the order of week {week + 1}", _from_week_1(own), part=SALES)


def _sold_by_order(runs: Runs, model: ShopModel) -> tuple[np.ndarray, np.ndarray]:
    """What is sold to dated orders at a price of their own: (pieces (runs, weeks, lines), money
    (runs, weeks))."""
    pieces, money = np.zeros_like(runs.sold), np.zeros(runs.sold.shape[:2])
    for order in model.orders:
        if order.week < runs.weeks and order.price is not None:
            place = (slice(None), order.week, order.line)
            sold = np.minimum(runs.sold[place] - pieces[place], order.pieces)
            pieces[place] += sold
            money[:, order.week] += order.price * sold
    return pieces, money


def _costs(after: Runs, models: Models, scenario: Scenario, seed: int) -> Iterator[Entry]:
    """What the scenario itself costs and gives back, ranges drawn once a run."""
    runs, weeks = after.sold.shape[:2]

    def money(
        part: str, name: str, estimate: Estimate, each: np.ndarray, per: str = "",
        is_asked: bool = False, **more: Any,
    ) -> Entry:  # fmt: skip
        z = normal_draws(seed, 0, runs, PARAMETER, np.array([code_of(name)], np.uint64))
        drawn = np.reshape(at(estimate, z), (runs, 1))
        mean = float(drawn.mean())
        asked = each if is_asked else None
        return Entry(name, drawn * each, estimate, mean, GIVEN, per, part=part, asked=asked, **more)

    each_week = np.append(0.0, np.ones(weeks))
    start = np.append(1.0, np.zeros(weeks))
    if helper := scenario.helper:
        paid = np.append(0.0, helper_weeks(helper, scenario)) * helper_hours(models[0], helper)
        wage = sure(helper.cost_per_hour)
        yield money(f"Pay of the {helper.name}", f"hourly cost of the {helper.name}", wage, -paid,
                    "h", is_asked=True)  # fmt: skip
    for machine in scenario.equipment:
        end, the = end_of_life(machine, weeks), f"the machine ({machine.name})"
        used = each_week * (np.arange(weeks + 1) <= end)
        sale = (np.arange(weeks + 1) == end).astype(float)
        yield money(f"Price of {the}", f"price of {the}", machine.price, -start,
                    is_asked=True)  # fmt: skip
        yield money(f"Power and upkeep of {the}", f"running cost of {the}",
                    machine.running_cost_per_week, -used, "week")  # fmt: skip
        yield money(f"Sale of {the}", f"resale of {the}", machine.resale, sale, at_end=True)
    if move := scenario.move:
        yield money("Fit-out", "fit-out", move.fit_out, -start)
        yield money("Rent, what is added", RENT, move.rent_per_week, -each_week, "week",
                    is_asked=True)  # fmt: skip
        yield money("Deposit paid", DEPOSIT, move.deposit, start[::-1] - start, at_end=True,
                    back="Deposit back")  # fmt: skip


def end_of_life(machine: Equipment, weeks: int) -> int:
    """The week at whose end a machine is sold: min(life, horizon)."""
    return min(machine.life_weeks or weeks, weeks)


def _from_week_1(values: np.ndarray) -> np.ndarray:
    return np.hstack([np.zeros((len(values), 1)), values])


def contribution(runs: Runs, model: ShopModel) -> np.ndarray:
    """(runs, weeks): sales (orders at their own price) less material of the sold and spoiled."""
    price = np.array([line.price or 0.0 for line in model.lines])
    material = np.array([line.material_cost or 0.0 for line in model.lines])
    pieces, orders = _sold_by_order(runs, model)
    return (runs.sold - pieces) @ price + orders - (runs.sold + runs.scrapped) @ material


def fixed_costs(model: ShopModel, weeks: int) -> np.ndarray:
    """Wages and overhead of a shop, by week: (weeks,)."""
    week = np.arange(weeks)
    costs = np.full(weeks, float(model.overhead_per_week))
    for hand in model.hands:
        last = weeks if hand.until_week is None else hand.until_week
        there = (week >= hand.from_week) & (week < last)
        costs += there * (hand.cost_per_hour or 0.0) * paid_seconds(model, hand) / HOUR
    return costs
