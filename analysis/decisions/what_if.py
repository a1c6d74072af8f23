"""What if: each scenario answered, from the shop's model to the sentence.

`what_if` is the main path: simulate the shop as it is once; for each scenario simulate the changed
shop, put the difference into money, find what moves it and from which demand on it pays, say it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, TypeAlias

import numpy as np

from analysis.decisions import sentences, stated
from analysis.decisions.again import Again, Stopped
from analysis.decisions.answer import (
    HELPER,
    ORDERS,
    Answer,
    Money,
    Mover,
    Path,
    Said,
    Situation,
    SoFar,
    finite_spread,
    spread,
)
from analysis.decisions.bearable import bearable_prices
from analysis.decisions.bill import bill_of, stretches_of, walk_hours
from analysis.decisions.change import HOUR, changed, expected, helper_hours, helper_weeks
from analysis.decisions.compare import SEED, Compared, Simulator, before_of, compare
from analysis.decisions.demand import DemandCurve, DemandFound, searched_to, today
from analysis.decisions.doubts import doubts_of
from analysis.decisions.ledger import Ledger, contribution, fixed_costs
from analysis.decisions.money import evenly, payback, weekly_rate
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.simulate import Progress, Runs, Simulated
from analysis.decisions.stopping import stops
from analysis.decisions.tornado import movers
from analysis.records.scenario import Scenario

Situations: TypeAlias = tuple[Situation, Situation, Situation]  # before, after, difference

RUNS = 200
DIGITS = 9  # behind the point: what adding floats leaves is not shown


def what_if(
    model: ShopModel,
    scenarios: Sequence[Scenario],
    *,
    runs: int = RUNS,
    seed: int = SEED,
    currency: str = "",
    quick: bool = False,
    report: Callable[[SoFar], None] | None = None,
    early: Callable[[Answer], None] | None = None,
    **options: Any,
) -> tuple[Answer, ...]:
    """Answer each scenario about the same shop, all with the same random numbers.

    quick leaves out what takes simulating again at other values (break-even and what moves the
    answer), for a first answer; early is called with that answer before the other values are
    simulated. report is called with the estimate so far. options: stop, jobs, backend of
    `simulate`. What is done when stopped is kept: the answers then rest on fewer runs,
    and say so. BadInput where a scenario names what the shop does not have.
    """
    for scenario in scenarios:  # faults first, before any work
        changed(model, scenario)
    run, answers = Simulator(seed, options), []
    known: list[tuple[Simulated, Runs]] = []
    longest = max((scenario.horizon_weeks for scenario in scenarios), default=1)
    for scenario in scenarios:
        before = before_of(model, scenario, seed)
        whole = next((done for shop, done in known if shop == before), None)
        if whole is None:
            whole = run(before, longest, runs, report=_told(report, ""))
            known.append((before, whole))
        told = _told(report, scenario.name)
        compared = compare(model, scenario, run, whole.runs, before=whole, report=told)
        again = Again(model, compared, run)
        answer = partial(answer_of, model, compared, seed=run.seed, currency=currency, asked=runs)
        answers.append(
            _answered(again, answer, report, early, runs=runs, currency=currency, quick=quick)
        )
    return tuple(answers)


def _answered(
    again: Again,
    answer: Callable[[Found], Answer],
    report: Callable[[SoFar], None] | None,
    early: Callable[[Answer], None] | None,
    *,
    runs: int,
    currency: str,
    quick: bool,
) -> Answer:
    """The answer to one scenario; where other values are simulated, early hears the first one."""
    first = _found(again, currency, quick=True)
    if quick or not again.compared.changes:
        return answer(first)
    if early is not None:
        early(answer(first))
    again.told = _told_again(report, again.compared, runs)
    return answer(_found(again, currency))


def _told(report: Callable[[SoFar], None] | None, name: str) -> Callable[..., None] | None:
    """What `simulate` reports, passed on as the estimate so far."""
    if report is None:
        return None

    def told(progress: Progress, ledger: Ledger | None = None) -> None:
        sold = finite_spread(progress.so_far.sold.sum(axis=2).mean(axis=1))
        worth = finite_spread(ledger.net_present_values) if ledger else None
        report(SoFar(name, progress.runs_done, progress.runs_wanted, sold, worth))

    return told


def _told_again(
    report: Callable[[SoFar], None] | None, compared: Compared, runs: int
) -> Callable[[str], None] | None:
    """What `Again` tells, passed on: how many other values so far, and of which figure."""
    if report is None:
        return None
    sold = finite_spread(compared.after.sold.sum(axis=2).mean(axis=1))
    done = SoFar(compared.scenario.name, compared.ledger.runs, runs, sold,
                 finite_spread(compared.ledger.net_present_values))  # fmt: skip
    so_far: list[str] = []

    def told(what: str) -> None:
        so_far.append(what)
        report(replace(done, other_values=len(so_far), now=what))

    return told


@dataclass(frozen=True)
class Found:
    """What simulating again has shown; searched: all of it was asked for and done."""

    demand: DemandFound
    movers: tuple[Mover, ...] = ()
    unmoving: tuple[str, ...] = ()
    searched_to: float = 0.0
    searched: bool = False


def _found(again: Again, currency: str, quick: bool = False) -> Found:
    """What stands at other values; where quick, or stopped before the end, at today's demand."""
    compared = again.compared
    if not compared.changes:
        return Found(DemandFound(), searched=True)
    now = DemandFound()
    try:
        now = DemandFound(today=today(again))
        if quick:
            return Found(now)
        curve = DemandCurve(again)
        demand = curve.found()
        doubts = doubts_of(compared.models[1], compared.scenario)
        told, still = movers(again, doubts, demand.mover, currency)
        return Found(demand, told, still, searched_to(curve), searched=True)
    except Stopped:
        return Found(now)


def answer_of(
    model: ShopModel, compared: Compared, found: Found, seed: int, currency: str, *, asked: int
) -> Answer:
    """The whole answer to one scenario simulated."""
    scenario, ledger = compared.scenario, compared.ledger
    before, after, difference = situations = _situations(compared)
    money = _money(model, compared, found)
    return Answer(
        name=scenario.name,
        currency=currency,
        horizon_weeks=scenario.horizon_weeks,
        discount_rate_per_year=scenario.discount_rate_per_year,
        runs=ledger.runs,
        seed=seed,
        stopped=ledger.runs < asked,
        baseline=before,
        changed=after,
        difference=difference,
        money=money,
        movers=found.movers,
        assumptions=stated.assumptions(model, expected(model, scenario), scenario, currency),
        cautions_heading=stated.before_signing(scenario),
        cautions=stated.cautions(scenario),
        bill=bill_of(ledger),
        stretches=stretches_of(ledger),
        path=_path(compared),
        net_present_values=ledger.net_present_values,
        unmoving=found.unmoving,
        searched=found.searched,
        walk_hours_saved=_walk_hours_saved(compared),
        **_words(compared, situations, money, found, currency),
    )


def _words(
    compared: Compared, situations: Situations, money: Money, found: Found, currency: str
) -> dict[str, Any]:
    """What an answer says, by the names of its fields."""
    scenario, (before, after, difference) = compared.scenario, situations
    condition = sentences.condition(money, found.movers, scenario)
    verdict = sentences.verdict_of(money, compared.changes)
    settle = sentences.settling(verdict, money, found.movers, currency, condition)
    return {
        "verdict": verdict,
        "condition": condition,
        "headline": sentences.headline(verdict, money, scenario, currency, condition),
        "said": (
            *sentences.sentences(verdict, before, after, money, scenario, currency),
            *_of_helper(compared, before, difference, currency),
            *_of_orders(compared),
        ),
        "must_be_true": sentences.must_be_true(verdict, money, found.movers),
        "settle": settle if found.searched else "",
    }


def _walk_hours_saved(compared: Compared) -> float | None:
    """Hours of walking a week less than before; None where the change leaves walks as they are."""
    move = compared.scenario.move
    if move is None or move.transport_factor == 1:
        return None
    before, after = compared.models
    return walk_hours(compared.before, before) - walk_hours(compared.after, after)


def _of_helper(
    compared: Compared, before: Situation, difference: Situation, currency: str
) -> Iterator[Said]:
    """What an hour of a helper brings, where nothing else is changed along with it."""
    scenario = compared.scenario
    helper = scenario.helper
    if not helper or not sentences.is_of_helper_alone(scenario):
        return
    there = helper_weeks(helper, scenario).mean()
    hours = helper_hours(compared.models[0], helper) * there
    at_work = before.bench_hours_per_week.mean
    if not hours or not at_work:
        return
    line = sentences.helper_sentence(
        helper.name, hours, difference.good_units_per_week.mean,
        difference.contribution_per_week.mean, before.good_units_per_week.mean / at_work,
        scenario, currency,
    )  # fmt: skip
    yield Said(HELPER, line)


def _of_orders(compared: Compared) -> Iterator[Said]:
    """How much of each week's dated orders is ready in time after the change."""
    after, orders = compared.after, compared.models[1].orders
    for week in sorted({order.week for order in orders if order.week < after.weeks}):
        due = np.zeros(after.sold.shape[2])
        of_week = [order for order in orders if order.week == week]
        for order in of_week:
            due[order.line] += order.pieces
        ready = np.minimum(after.sold[:, week], due).sum(axis=1)
        begun = min(order.begun_in_week for order in of_week)
        yield Said(ORDERS, sentences.orders_sentence(week + 1, due.sum(), ready, begun + 1))


def _situations(compared: Compared) -> Situations:
    """Before, after and their difference run by run."""
    weeks = compared.scenario.horizon_weeks
    before = _figures(compared.before, compared.models[0])
    after = _figures(compared.after, compared.models[1])
    cash = before["contribution_per_week"] - fixed_costs(compared.models[0], weeks).mean()
    recurring = sum(
        (entry.flows[:, 1:].mean(axis=1) for entry in compared.ledger.entries if not entry.at_end),
        np.zeros(compared.ledger.runs),
    )
    before["cash_per_week"], after["cash_per_week"] = cash, cash + recurring
    apart = {name: after[name] - before[name] for name in before}
    return _situation(before), _situation(after), _situation(apart)


def _situation(figures: dict[str, np.ndarray]) -> Situation:
    rounded = {name: values.round(DIGITS) + 0.0 for name, values in figures.items()}
    lead_time = spread(rounded.pop("lead_time_hours"))  # of runs in which a batch was finished
    finite = {name: finite_spread(values) for name, values in rounded.items()}
    return Situation(lead_time_hours=lead_time, **finite)


def _figures(runs: Runs, model: ShopModel) -> dict[str, np.ndarray]:
    """One figure a run of an average week, by the names of `Situation`."""
    weeks = runs.weeks
    finished = runs.batches_finished.sum(axis=1)
    lead = np.full(len(finished), np.nan)
    np.divide(runs.lead_time_seconds_sum.sum(axis=1), finished, out=lead, where=finished > 0)
    return {
        "good_units_per_week": runs.good.sum(axis=(1, 2)) / weeks,
        "sold_per_week": runs.sold.sum(axis=(1, 2)) / weeks,
        "lost_demand_per_week": runs.lost_demand.sum(axis=(1, 2)) / weeks,
        "lead_time_hours": lead / HOUR,
        "bench_hours_per_week": runs.bench_seconds.sum(axis=(1, 2)) / HOUR / weeks,
        "idle_hours_per_week": runs.idle_seconds.mean(axis=1) / HOUR,
        "contribution_per_week": contribution(runs, model).mean(axis=1),
    }


def _money(model: ShopModel, compared: Compared, found: Found) -> Money:
    scenario, ledger, demand = compared.scenario, compared.ledger, found.demand
    values, weeks = ledger.net_present_values, scenario.horizon_weeks
    back = payback(ledger.cumulative)
    rate = weekly_rate(scenario.discount_rate_per_year)
    return Money(
        net_present_value=finite_spread(values),
        payback_weeks=spread(back),
        pieces_until_paid=spread(_pieces_until(back, compared.after.sold.sum(axis=2))),
        probability_of_payback=float(np.isfinite(back).mean()),
        probability_of_gain=float((values > 0).mean()),
        break_even_demand_per_week=demand.break_even,
        break_even_searched_to=found.searched_to,
        demand_per_week=stated.mean_demand(compared.models[1], weeks),
        worth_per_week=evenly(float(values.mean()), rate, weeks),
        paid_at_start=ledger.paid_at_start,
        error=_error(values),
        break_even_low=demand.low,
        break_even_high=demand.high,
        demand_now_per_week=stated.mean_demand(model, weeks),
        **_at_best(demand),
        **_now(demand),
        **_deepest(ledger.cumulative),
        stops=stops(ledger, scenario),
        bearable=bearable_prices(ledger) if compared.changes else (),
    )


def _error(values: np.ndarray) -> float:
    """Standard error of the mean of the runs: s / sqrt(n); 0 of one run, which cannot tell it."""
    return float(values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else 0.0


def _at_best(demand: DemandFound) -> dict[str, Any]:
    if demand.best is None or demand.break_even is not None:
        return {}
    return {
        "best_net_present_value": demand.best.mean,
        "best_error": demand.best.error,
        "best_demand_per_week": demand.best_at,
    }


def _now(demand: DemandFound) -> dict[str, Any]:
    if demand.today is None:
        return {}
    return {"value_now": demand.today.mean, "value_now_error": demand.today.error}


def _deepest(cumulative: np.ndarray) -> dict[str, Any]:
    """The most money out of pocket on the way, and when; cumulative: (runs, weeks + 1).

    Each run has its own lowest point. Of all runs' money at one moment, the middle hardly dips
    where each dips at another time.
    """
    deep = np.maximum(-cumulative.min(axis=1), 0.0)
    return {
        "deepest": float(np.quantile(deep, 0.5)),
        "deepest_week": int(np.quantile(cumulative.argmin(axis=1), 0.5)),
        "deepest_low": float(np.quantile(deep, 0.95)),
    }


def _pieces_until(back: np.ndarray, sold: np.ndarray) -> np.ndarray:
    """Pieces sold until the moment of payback of each run, infinity where it never comes."""
    so_far = np.cumsum(np.hstack([np.zeros((len(sold), 1)), sold]), axis=1)
    week = np.arange(so_far.shape[1])
    reached = [
        np.interp(when, week, row) if np.isfinite(when) else np.inf
        for when, row in zip(back, so_far, strict=True)
    ]
    return np.array(reached)


def _path(compared: Compared) -> Path:
    sums = compared.ledger.cumulative
    low, middle, high = np.quantile(sums, [0.05, 0.5, 0.95], axis=0)
    return Path(
        week=np.arange(sums.shape[1]),
        cumulative_p5=low,
        cumulative_p50=middle,
        cumulative_p95=high,
    )
