"""Everything the laps say, in one frozen result: what the screens and the command line read.

Frames are tidy, one row a thing; intervals are 95 % unless said otherwise and stand in columns
`…_low` and `…_high`; what is not known is NaN (never 0), with the reason in a `note` column.
Seconds are per piece unless the name says otherwise; money is in `shop.currency`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypedDict

import numpy as np
import pandas as pd

from analysis.records.figures import figure
from analysis.records.shop import Shop
from analysis.study import minutes, quality, route, stock, takt, time_study, weeks
from analysis.study.content import Content, content
from analysis.study.cost import cost
from analysis.study.learning import LearningResult, fit_learning


@dataclass(frozen=True)
class Study:
    """The study of one shop's laps.

    laps                the checked laps as given, those that name no variant with that of their
                        batch (`route.with_variants`), and: expected_seconds (per piece, from the
                        fitted curve), z (modified z-score of the log residual), suspicious (set
                        aside), good_units (good pieces this lap finished: route's last operation)
    laps_read, laps_used   counts; read = used + len(set_aside)
    set_aside           row, lap_id, started_at, worker, product, operation, batch, units, seconds,
                        expected_seconds (per piece), z, reason
    operations          product, operation, laps, units, observed_seconds, observed_low,
                        observed_high, normal_seconds, normal_low, normal_high, standard_seconds,
                        standard_low, standard_high, laps_needed (t), laps_needed_ilo,
                        laps_worth (independent laps that tell as much as these, which are alike
                        within a batch),
                        share_of_bench_time, laps_set_aside, observed_with_all_seconds (the mean
                        with the laps set aside taken back), still_falling (practice still shows)
    delays              cause, times, seconds, share_of_bench_time, share_low, share_high
                        (interruptions, longest first)
    delay_percent       interruptions in percent of the other logged time
    learning            LearningResult of analysis/study/learning.py; `learning.cells` is its frame
    quality             product, operation, laps, batches, units, rework_units, scrap_units,
                        lost_units (scrapped, in mending too), first_pass_yield,
                        first_pass_yield_low, first_pass_yield_high, likeness (times the
                        interval's variance is widened for pieces of one batch being alike; 1 =
                        not at all), scrap_rate, scrap_rate_low, scrap_rate_high, scrap_likeness,
                        rework_seconds, rework_seconds_per_unit
    rolled_yield        product, rolled_throughput_yield, rolled_low, rolled_high, good_share (of
                        pieces started, lost ones off)
    causes              product, operation (found in), cause_operation (that made it), cause,
                        rework_units, scrap_units, rework_seconds, largest loss first
    route               product, variant, operation, position (0 first), planned_seconds,
                        setup_seconds, setup_wait_seconds, wait_seconds, wait_holds_station,
                        station, source ("routing", "laps"), follows (the operations right before
                        it by the routing, a tuple)
    content             product, variant, operation, position, station, share (of the product's
                        pieces of this variant), pieces_per_good_piece, standard_seconds,
                        good_seconds (= standard x pieces per good piece), setup_seconds,
                        transport_seconds, rework_seconds, total_seconds (all per good piece),
                        source ("laps", "planned", "none"): where work content goes
    takt                product, demand_per_week, takt_seconds, work_content_seconds,
                        work_content_low, work_content_high, workers_needed, workers_needed_low,
                        workers_needed_high, bottleneck, bottleneck_probability, note
    bottlenecks         product, operation, seconds_per_good_piece, probability
    worker_load         worker, hours_available, hours_needed, hours_needed_low, hours_needed_high,
                        load (needed / available; work goes to who does it now),
                        probability_fullest (of being the fullest of all people and stations)
    station_load        station, the same, and held_hours (waits in it besides, which may run
                        through the night); hours: hands on it, setups and warming up
    hours_needed        one week's demand in bench hours: dict value, low, high, available
    cost                product, variant ("" = the product as a mix), labour, material (through
                        yield), rework_and_scrap (its labour), overhead, cost_per_good_piece,
                        cost_low, cost_high, price, earned_per_hour, earned_low, earned_high,
                        bench_hours, bench_hours_low, bench_hours_high (per good piece),
                        contribution (price less material), contribution_low, contribution_high,
                        left (price less cost), left_low, left_high, lost_material (part of
                        material), note
    weeks               week_start (date, a Monday), good_units, bench_hours,
                        good_units_per_bench_hour, and for good_units_per_bench_hour an
                        individuals chart: centre, lower, upper, news ("", "above", "below")
    week_products       week_start, product, variant, good_units
    minutes             product, operation, activity, seconds, laps, seconds_per_good_piece, share
                        (of the product's time)
    counted_twice       product, variant, operation, units: good pieces counted again by inspections
                        logged under the name of the route's last operation
    batches             batch, product, variant, first_at, last_at (UTC), units_started,
                        good_units, lost_units, finished, elapsed_hours, worked_hours,
                        hours_nobody_worked (within elapsed), open_hours_nobody_worked (within the
                        shop's hours)
    stock               product, variant, stock, counted (when the stock was last counted, NaT =
                        as the shop file says), packed_not_put_away, in_progress, demand_per_week,
                        lasts_days, lasts_days_low, lasts_days_high, make_rank (1 = make next),
                        batch_size, note
    shop, shop_given    the shop, and whether one was given (else all defaults)
    timezone, currency  of the shop
    """

    shop: Shop
    shop_given: bool
    laps: pd.DataFrame
    laps_read: int
    laps_used: int
    set_aside: pd.DataFrame
    operations: pd.DataFrame
    delays: pd.DataFrame
    delay_percent: float
    learning: LearningResult
    quality: pd.DataFrame
    rolled_yield: pd.DataFrame
    causes: pd.DataFrame
    route: pd.DataFrame
    content: pd.DataFrame
    takt: pd.DataFrame
    bottlenecks: pd.DataFrame
    worker_load: pd.DataFrame
    station_load: pd.DataFrame
    hours_needed: dict[str, float]
    cost: pd.DataFrame
    weeks: pd.DataFrame
    week_products: pd.DataFrame
    minutes: pd.DataFrame
    batches: pd.DataFrame
    counted_twice: pd.DataFrame
    stock: pd.DataFrame

    @property
    def timezone(self) -> str:
        """Name of the shop's zone, as in the IANA list."""
        return self.shop.timezone

    @property
    def currency(self) -> str:
        """What all money is in."""
        return self.shop.currency

    @property
    def weeks_logged(self) -> tuple[int, int]:
        """(weeks from the first lap's to the last's, those of them without a lap)."""
        return len(self.weeks), int((self.weeks["bench_hours"] == 0).sum())


def study(
    laps: pd.DataFrame,
    routing: pd.DataFrame | None = None,
    shop: Shop | None = None,
    *,
    movements: pd.DataFrame | None = None,
    rng: np.random.Generator | None = None,
) -> Study:
    """The study of checked laps, with a checked routing and a shop where there are any.

    movements: counts, sales and put-aways (`stock.stock`). rng: draws behind the
    intervals of takt and cost; left out, the same laps give the same figures to the last digit.
    """
    shop_given, shop, laps = shop is not None, shop or Shop(), route.with_variants(laps)
    rng = rng or np.random.default_rng(0)
    learning = fit_learning(laps, shop.timezone)
    routes = route.routes(laps, routing, shop.timezone)
    judged = _judged(laps, learning, routes)
    suspicious = judged["suspicious"].to_numpy()
    good = judged["good_units"].to_numpy()
    present = time_study.present_cells(laps, ~suspicious, learning.cells)
    yields = quality.quality(laps, shop.timezone)
    delay = time_study.delay_rate(laps, shop.timezone)
    work = content(laps, present, yields, routes, shop, delay, rng)
    shares = takt.worker_shares(laps, present, [worker.name for worker in shop.workers])
    return Study(
        shop=shop,
        shop_given=shop_given,
        laps=judged,
        laps_read=len(laps),
        laps_used=int((~suspicious).sum()),
        set_aside=_set_aside(judged),
        operations=time_study.time_study(
            laps, suspicious, learning.cells, shop.allowance, shop.timezone
        ),
        delays=time_study.delays(laps, shop.timezone),
        delay_percent=delay.percent,
        learning=learning,
        quality=yields,
        rolled_yield=quality.rolled_yield(yields, work.frame, rng),
        causes=quality.causes(laps),
        route=routes,
        counted_twice=route.counted_twice(laps, routes),
        **_load_and_cost(work, shop, shares, routes),
        **_made(laps, good, shop, movements),
    )


class _LoadAndCost(TypedDict):
    """The frames that lean on the work content."""

    content: pd.DataFrame
    takt: pd.DataFrame
    bottlenecks: pd.DataFrame
    worker_load: pd.DataFrame
    station_load: pd.DataFrame
    hours_needed: dict[str, float]
    cost: pd.DataFrame


def _load_and_cost(
    work: Content, shop: Shop, shares: pd.DataFrame, routes: pd.DataFrame
) -> _LoadAndCost:
    """What a piece asks of the shop's hours, and of its money; shares: whose time it takes."""
    worker_load, station_load = takt.loads(work, shop, shares, routes)
    return {
        "content": work.frame,
        "takt": takt.takt(work, shop),
        "bottlenecks": takt.all_bottlenecks(work),
        "worker_load": worker_load,
        "station_load": station_load,
        "hours_needed": takt.hours_needed(work, shop),
        "cost": cost(work, shop, shares),
    }


class _Made(TypedDict):
    """The frames that lean on the good pieces finished."""

    weeks: pd.DataFrame
    week_products: pd.DataFrame
    minutes: pd.DataFrame
    batches: pd.DataFrame
    stock: pd.DataFrame


def _made(
    laps: pd.DataFrame, good: np.ndarray, shop: Shop, movements: pd.DataFrame | None
) -> _Made:
    """What was made, by week and by batch, and what of it is there; good: pieces, over laps."""
    batches = minutes.batches(laps, good, shop)
    return {
        "weeks": weeks.weeks(laps, good, shop.timezone),
        "week_products": weeks.week_products(laps, good, shop.timezone),
        "minutes": minutes.minutes(laps, good),
        "batches": batches,
        "stock": stock.stock(laps, good, batches, shop, movements),
    }


def _judged(laps: pd.DataFrame, learning: LearningResult, routes: pd.DataFrame) -> pd.DataFrame:
    """The laps with what the fitted curves say of each, and the good pieces each finished."""
    return laps.assign(
        expected_seconds=learning.laps["expected_seconds"] / laps["units"],
        z=learning.laps["residual_z"],
        suspicious=learning.laps["suspicious"].astype(bool),
        good_units=route.good_units(laps, routes),
    )


def _set_aside(judged: pd.DataFrame) -> pd.DataFrame:
    """The suspicious laps, each with its reason in words."""
    columns = [
        "row",
        "lap_id",
        "started_at",
        "worker",
        "product",
        "operation",
        "batch",
        "units",
        "seconds",
        "expected_seconds",
        "z",
    ]
    table = judged.loc[judged["suspicious"], columns].reset_index(drop=True)
    times = table["seconds"] / table["units"] / table["expected_seconds"]
    table["reason"] = [
        _reason(ratio, expected)
        for ratio, expected in zip(times, table["expected_seconds"], strict=True)
    ]
    return table


def _reason(ratio: float, expected_seconds: float) -> str:
    """Why a lap that took `ratio` times what was expected is set aside."""
    if ratio > 1:
        said, guess = f"{figure(ratio)} times", "a stop forgotten?"
    else:
        said = f"{figure(100 * ratio)} % of" if ratio >= 0.01 else "less than 1 % of"
        guess = "a tap too many, or work cut short?"
    return f"took {said} the {expected_seconds:,.0f} s a piece its curve expects; {guess}"
