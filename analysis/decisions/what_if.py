"""What if: each scenario answered, from the shop's model to the sentence.

`what_if` is the main path: simulate the shop as it is once; for each scenario simulate the changed
shop, put the difference into money, find what moves it and from which demand on it pays, say it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from analysis.decisions import sentences, stated
from analysis.decisions.answer import (
    Answer,
    Money,
    Path,
    Situation,
    SoFar,
    finite_spread,
    spread,
)
from analysis.decisions.break_even import UPWARD
from analysis.decisions.change import HOUR, changed, expected
from analysis.decisions.compare import SEED, Compared, Simulator, before_of, compare
from analysis.decisions.demand import DemandLevels
from analysis.decisions.doubts import doubts_of
from analysis.decisions.ledger import Ledger, contribution, fixed_costs
from analysis.decisions.money import evenly, payback, weekly_rate
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.simulate import Progress, Runs, Simulated
from analysis.decisions.tornado import movers
from analysis.records.scenario import Scenario

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
    **options,
) -> tuple[Answer, ...]:
    """Answer each scenario about the same shop, all with the same random numbers.

    quick leaves out what takes simulating at other levels of demand (break-even and the bar of
    demand), for a first answer. report is called with the estimate so far. options: stop, jobs,
    backend of `simulate`. What is done when stopped is kept: the answers then rest on fewer runs,
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
        answers.append(answer_of(model, compared, run, currency, asked=runs, quick=quick))
    return tuple(answers)


def _told(report: Callable[[SoFar], None] | None, name: str):
    """What `simulate` reports, passed on as the estimate so far."""
    if report is None:
        return None

    def told(progress: Progress, ledger: Ledger | None = None) -> None:
        sold = finite_spread(progress.so_far.sold.sum(axis=2).mean(axis=1))
        worth = finite_spread(ledger.net_present_values) if ledger else None
        report(SoFar(name, progress.runs_done, progress.runs_wanted, sold, worth))

    return told


def answer_of(
    model: ShopModel,
    compared: Compared,
    run: Simulator,
    currency: str,
    *,
    asked: int,
    quick: bool = False,
) -> Answer:
    """The whole answer to one scenario simulated."""
    scenario, ledger = compared.scenario, compared.ledger
    demand = DemandLevels(model, compared, run, searched=compared.changes and not quick)
    before, after, difference = _situations(compared)
    money = _money(compared, demand)
    doubts = doubts_of(compared.models[1], scenario)
    draws = {**compared.before.draws, **compared.after.draws}
    found = movers(ledger, draws, doubts, demand.movers(), currency)
    found = tuple(demand.turning(mover) for mover in found)
    verdict = sentences.verdict_of(money, compared.changes)
    return Answer(
        name=scenario.name,
        currency=currency,
        horizon_weeks=scenario.horizon_weeks,
        discount_rate_per_year=scenario.discount_rate_per_year,
        runs=ledger.runs,
        seed=run.seed,
        stopped=ledger.runs < asked,
        baseline=before,
        changed=after,
        difference=difference,
        money=money,
        verdict=verdict,
        headline=sentences.headline(verdict, money, scenario, currency),
        sentences=(
            *sentences.sentences(verdict, before, after, money, scenario, currency),
            *_of_orders(compared),
        ),
        must_be_true=sentences.must_be_true(verdict, money, found),
        settle=sentences.settling(verdict, ledger.net_present_values.mean(), found, currency),
        movers=found,
        assumptions=stated.assumptions(expected(model, scenario), scenario, currency),
        cautions=stated.cautions(scenario),
        path=_path(compared),
        net_present_values=ledger.net_present_values,
    )


def _of_orders(compared: Compared) -> list[str]:
    """How much of each week's dated orders is ready in time after the change."""
    after, orders = compared.after, compared.models[1].orders
    told = []
    for week in sorted({order.week for order in orders if order.week < after.weeks}):
        due = np.zeros(after.sold.shape[2])
        for order in orders:
            due[order.line] += order.pieces * (order.week == week)
        ready = np.minimum(after.sold[:, week], due).sum(axis=1)
        told.append(sentences.orders_sentence(week + 1, due.sum(), ready))
    return told


def _situations(compared: Compared) -> tuple[Situation, Situation, Situation]:
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


def _money(compared: Compared, demand: DemandLevels) -> Money:
    scenario, ledger = compared.scenario, compared.ledger
    values, weeks = ledger.net_present_values, scenario.horizon_weeks
    back = payback(ledger.cumulative)
    rate = weekly_rate(scenario.discount_rate_per_year)
    return Money(
        net_present_value=finite_spread(values),
        payback_weeks=spread(back),
        pieces_until_paid=spread(_pieces_until(back, compared.after.sold.sum(axis=2))),
        probability_of_payback=float(np.isfinite(back).mean()),
        probability_of_gain=float((values > 0).mean()),
        break_even_demand_per_week=demand.break_even(),
        break_even_searched_to=UPWARD[-1] * demand.per_week if demand.searched else 0.0,
        demand_per_week=demand.per_week,
        worth_per_week=evenly(float(values.mean()), rate, weeks),
        paid_at_start=ledger.paid_at_start,
    )


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
    after = compared.after
    return Path(
        week=np.arange(sums.shape[1]),
        cumulative_p5=low,
        cumulative_p50=middle,
        cumulative_p95=high,
        sold_before=_weekly(compared.before.sold),
        sold_after=_weekly(after.sold),
        demand=_weekly(after.sold + after.lost_demand),
    )


def _weekly(values: np.ndarray) -> np.ndarray:
    """Mean over runs of all lines together, week by week, NaN at the start."""
    return np.append(np.nan, values.sum(axis=2).mean(axis=0))
