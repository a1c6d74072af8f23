"""Order of work: how long a proof takes, how near the bound, and the published instances."""

import json
import time
from pathlib import Path

from analysis.flow.balance import balance_for_cycle
from analysis.flow.order import order
from analysis.flow.work import Batch, line_of, work_of
from analysis.records.routing import read_routing
from tests.benchmarks.rows import Row
from tests.flow.routings import frame
from tests.flow.test_published import job_shop_rows, line_rows

ROOT = Path(__file__).parents[2]
REFERENCE = ROOT / "tests" / "reference"
ROUTES = [("pocket notebook", "linen"), ("pocket notebook", "marbled"), ("desk journal", "linen"),
          ("desk journal", "left-open")]  # fmt: skip


def rows():
    """One worker proven, two workers' gap, first answer, published optima."""
    routing = read_routing(ROOT / "data_samples" / "routing.csv")
    _timed(lambda: order(work_of(routing, [Batch("desk journal", 2, "linen")], 2), 1.0))
    yield from _demo(routing)
    yield _first_answer(routing)
    yield from _published()


def _timed(run):
    start = time.perf_counter()
    answer = run()
    return answer, time.perf_counter() - start


def _demo(routing):
    for product, variant in ROUTES:
        for units in (25, 50):
            name = f"order of {units} {product} {variant}"
            batch = [Batch(product, units, variant)]
            plan, seconds = _timed(lambda batch=batch: order(work_of(routing, batch, 1)))
            yield Row(f"{name}, one worker", None, seconds, None, "proven in under 5 s",
                      plan.optimal and seconds < 5, f"gap {plan.gap:.2%}")  # fmt: skip
            plan, seconds = _timed(lambda batch=batch: order(work_of(routing, batch, 2)))
            yield Row(f"{name}, two workers", None, seconds, None, "within 1 % of the bound in 8 s",
                      plan.gap <= 0.01 and seconds < 8, f"gap {plan.gap:.2%}")  # fmt: skip


def _first_answer(routing):
    work = work_of(routing, [Batch("pocket notebook", 50, "linen")], 2)
    start, told = time.perf_counter(), []

    def report(progress):
        told.append((time.perf_counter() - start, progress.best_seconds))

    plan = order(work, 2.0, report=report)
    early = min(best for at, best in told if at <= max(1.0, told[0][0]))
    longer = early / plan.makespan_seconds - 1
    return Row("first answer, 50 pieces, 12 operations, two workers", None, told[0][0], None,
               "a good answer within 1 s", told[0][0] < 1,
               f"after 1 s {longer:.1%} longer than the last")  # fmt: skip


def _published():
    for name, case in json.loads((REFERENCE / "job_shop.json").read_text()).items():
        shop = frame(job_shop_rows(case["operations_machine_time"]))
        work = work_of(shop, [Batch("book", 1)], case["machines"])
        plan, seconds = _timed(lambda work=work: order(work, 20.0))
        yield Row(f"job shop {name}", None, seconds, None, f"optimum {case['optimum']} proven",
                  plan.optimal and plan.makespan_seconds == case["optimum"])  # fmt: skip
    lines = json.loads((REFERENCE / "line_balance.json").read_text())
    lines.pop("source")
    for name, case in lines.items():
        shop = frame(line_rows(case))

        def all_cycles(shop=shop, case=case):
            return {
                cycle: balance_for_cycle(line_of(shop, Batch("book", 1), None), int(cycle)).workers
                for cycle in case["fewest_stations"]
            }

        fewest, seconds = _timed(all_cycles)
        yield Row(f"line {name}, {len(fewest)} cycles", None, seconds, None, "published fewest",
                  fewest == case["fewest_stations"])  # fmt: skip
