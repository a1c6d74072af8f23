"""Order of work: how long a proof takes, how near the bound, and the published instances."""

import json
import time
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from analysis.flow.balance import balance_for_cycle
from analysis.flow.calendar import on_the_calendar
from analysis.flow.order import order
from analysis.flow.work import Batch, line_of, work_of
from analysis.records.routing import read_routing
from analysis.records.shop import read_shop
from analysis.screens.planning import Job
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
    yield from _on_the_hours(routing)
    yield from _published()


def _timed(run):
    """(answer, seconds by the clock, seconds of processor): the machine may be shared."""
    start, processor = time.perf_counter(), time.process_time()
    answer = run()
    return answer, time.perf_counter() - start, time.process_time() - processor


def _demo(routing):
    for product, variant in ROUTES:
        for units in (25, 50):
            for workers in (1, 2):
                yield _demo_row(routing, Batch(product, units, variant), workers)


def _demo_row(routing, batch, workers):
    plan, seconds, processor = _timed(lambda: order(work_of(routing, [batch], workers)))
    if workers == 1:
        target, met = "proven in under 5 s", plan.optimal and seconds < 5
    else:
        target, met = "within 1 % of the bound in 8 s", plan.gap <= 0.01 and seconds < 8
    name = f"order of {batch.units} {batch.product} {batch.variant}, {workers} at work"
    note = f"gap {plan.gap:.3%}, processor {processor:.1f} s"
    return Row(name, None, seconds, None, target, met, note)


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


def _on_the_hours(routing):
    """Planned inside the shop's hours, a change of task at 30 s: what the screen asks for."""
    shop = read_shop(ROOT / "data_samples" / "shop.toml")
    start = datetime(2026, 11, 26, 8, 30, tzinfo=ZoneInfo(shop.timezone))
    for product, variant in ROUTES:
        work = work_of(routing, [Batch(product, 25, variant)], 2, 30.0)
        work = on_the_calendar(work, shop.week, start)
        job, first, _ = _timed(lambda work=work: Job(work))
        _, seconds, processor = _timed(job.run)
        gap = 1 - job.bound_seconds / job.best_seconds
        yield Row(f"on the shop's hours, 25 {product} {variant}, 2 at work", None, first, None,
                  "a good answer within 1 s", first < 1,
                  f"whole search {seconds:.1f} s, processor {processor:.1f} s, gap {gap:.2%}"
                  )  # fmt: skip


def _published():
    for name, case in json.loads((REFERENCE / "job_shop.json").read_text()).items():
        shop = frame(job_shop_rows(case["operations_machine_time"]))
        work = work_of(shop, [Batch("book", 1)], case["machines"])
        plan, seconds, processor = _timed(lambda work=work: order(work, 20.0))
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

        fewest, seconds, _ = _timed(all_cycles)
        yield Row(f"line {name}, {len(fewest)} cycles", None, seconds, None, "published fewest",
                  fewest == case["fewest_stations"])  # fmt: skip
