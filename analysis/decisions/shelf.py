"""The shelf: what is asked for and sold in a week, and the batches that are begun for it."""

from __future__ import annotations

import math

import numpy as np

from analysis.decisions.batch import begin_batch
from analysis.decisions.compiling import compiled
from analysis.decisions.draws import ARRIVAL, DEMAND, normal_of, number_in, stream, upper
from analysis.decisions.floor import ALWAYS, ORDERS, STOCK
from analysis.decisions.results import Results
from analysis.decisions.shop_model import WEEK_SECONDS

LARGEST_POISSON = 200.0
MOST_UNDER_WAY = 1000  # batches: what a shop cannot reach for weeks is not begun either


@compiled
def open_week(shop: np.record, calendar: np.ndarray) -> None:
    """How many pieces of each line are asked for this week, big orders among them."""
    for n in range(shop.line_count):
        line, now = shop.lines[n], calendar[n, shop.week]
        line.demand = now.demand * line.demand_factor
        line.orders_now, line.orders_ahead = now.orders_now, now.orders_ahead
        bits = number_in(stream(stream(shop.start, DEMAND), line.code), shop.week)
        asked = pieces_asked(line.demand, line.demand_spread, upper(bits))
        line.asked = asked + line.orders_now


@compiled
def pieces_asked(mean: float, spread: float, p: float) -> float:
    """The p-quantile of a week's demand: Poisson for a spread of 1, else (and for large means)
    normal with variance spread x mean, rounded, at least 0."""
    if mean <= 0 or spread == 0.0:
        return max(mean, 0.0)
    if spread == 1.0 and mean < LARGEST_POISSON:
        pieces, chance = 0.0, math.exp(-mean)
        below = chance
        while below < p and pieces < 4 * LARGEST_POISSON:
            pieces += 1.0
            chance *= mean / pieces
            below += chance
        return pieces
    return max(0.0, math.floor(mean + math.sqrt(spread * mean) * normal_of(p) + 0.5))


@compiled
def begin_orders(shop: np.record) -> None:
    """As a run begins: when each line's first customer comes, and the first batch of those lines
    that always have one ready."""
    shop.next_order = np.inf
    for n in range(shop.line_count):
        line = shop.lines[n]
        line.next_order = _gap(shop, n) if line.release == ORDERS else np.inf
        shop.next_order = min(shop.next_order, line.next_order)
        if line.release == ALWAYS:
            begin_batch(shop, n)


@compiled
def customers_come(shop: np.record) -> None:
    """Begin a batch for every order that has come by now, and draw when the next ones will."""
    if shop.next_order > shop.now:
        return
    shop.next_order = np.inf
    for n in range(shop.line_count):
        line = shop.lines[n]
        while line.next_order <= shop.now and not shop.full:
            begin_batch(shop, n)
            line.orders += 1
            line.next_order = shop.now + _gap(shop, n)
        shop.next_order = min(shop.next_order, line.next_order)


@compiled
def _gap(shop: np.record, n: int) -> float:
    """Seconds to the next customer's order: exponential, one batch each."""
    line = shop.lines[n]
    bits = number_in(stream(stream(shop.start, ARRIVAL), line.code), line.orders)
    rate = line.demand / WEEK_SECONDS
    return -math.log(upper(bits)) / rate if rate > 0 else np.inf


@compiled
def look_at_stock(shop: np.record) -> None:
    """Begin batches, of the line with the least cover first, until every line is covered or
    MOST_UNDER_WAY are.

    cover = (stock, made and under way, less what was sold so far this week) / (a week's demand x
    cover_weeks + big orders that are known); the week's sales are taken as spread evenly.
    """
    elapsed = shop.now / WEEK_SECONDS - shop.week
    while not shop.full and shop.open < MOST_UNDER_WAY:
        least, chosen = 1.0, -1
        for n in range(shop.line_count):
            line = shop.lines[n]
            wanted = line.cover_weeks * line.demand
            wanted += line.orders_ahead + line.orders_now * (1.0 - elapsed)
            if line.release == STOCK and wanted > 0:
                have = line.stock + line.made - line.asked * elapsed
                cover = (max(have, 0.0) + line.under_way) / wanted
                if cover < least:
                    least, chosen = cover, n
        if chosen < 0:
            return
        begin_batch(shop, chosen)


@compiled
def close_week(shop: np.record, results: Results, i: int) -> None:
    """sold = min(stock + made, asked for); the rest of what was asked for is lost. What is made to
    order is sold with its making."""
    week = shop.week
    for n in range(shop.line_count):
        line = shop.lines[n]
        sold = line.made
        if line.release != ORDERS:
            sold = min(line.stock + line.made, line.asked)
            results.lost_demand[i, week, n] = line.asked - sold
            line.stock += line.made - sold
        line.made = 0.0
        results.sold[i, week, n] = sold
        results.stock_end[i, week, n] = line.stock
        results.started[i, week, n] = line.started
        results.good[i, week, n] = line.good
        results.scrapped[i, week, n] = line.scrapped
        line.started, line.good, line.scrapped = 0.0, 0.0, 0.0
    results.finished[i, week] = shop.finished
    results.lead_time[i, week] = shop.lead_time
    results.in_process[i, week] = shop.in_process
    shop.finished, shop.lead_time, shop.in_process = 0, 0.0, 0.0
