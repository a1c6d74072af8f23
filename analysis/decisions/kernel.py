"""Simulated weeks: batches go through their steps, hands take them up, one moment after another.

A discrete-event simulation. A *task* is one step of one batch, done by one hand from its first
piece to its last; the batch then goes on whole. Inside a task everything is drawn piece by piece
(its time on the worker's learning curve, whether it needs rework or is lost). Work pauses when the
hand's hours end; what dries does so through breaks and nights.

**The order of things at one moment.** First everything that ends or comes at that moment happens,
and only then does anybody take up work:

1. work that ends, by the hands' order: its step is done, what follows may become ready;
2. what ends by itself: places in stations become free, waits are over, batches are finished;
3. the week is closed (if the moment is its end): goods are sold;
4. batches are begun: customers' orders come, stock is looked at;
5. who is free and at the bench takes up the most pressing task they can do, or takes over what
   another who has gone left half done, by the hands' order, again and again while that makes room
   for more.
"""

from __future__ import annotations

import numpy as np

from analysis.decisions.batch import end_waits
from analysis.decisions.compiling import compiled
from analysis.decisions.draws import stream
from analysis.decisions.hands import end_work, take_up
from analysis.decisions.layout import Parameters
from analysis.decisions.results import Results
from analysis.decisions.shelf import (
    begin_orders,
    close_week,
    customers_come,
    look_at_stock,
    open_week,
)
from analysis.decisions.shop_model import WEEK_SECONDS


@compiled
def simulate_runs(
    floors: np.ndarray,
    parameters: Parameters,
    stretches: np.ndarray,
    calendar: np.ndarray,
    looks: np.ndarray,
    seed: int,
    first_run: int,
    results: Results,
) -> bool:
    """Simulate the runs first_run, first_run + 1, …, one for each row of the parameters.

    floors: the shop, a record in an array of one (`layout.py`), used up. stretches: (hands, n)
    hours at the bench. calendar: (lines, weeks) demand. looks: seconds of the week at which stock
    is looked at. results: to be filled (`results.py`).
    False where more was under way at once than the record's lists hold; then nothing counts.
    """
    shop = floors[0]
    for i in range(len(parameters.level)):
        shop.start = stream(np.uint64(seed), first_run + i)
        set_parameters(shop, parameters, i)
        if not _run(shop, stretches, calendar, looks, results, i):
            return False
    return True


@compiled
def set_parameters(shop: np.record, parameters: Parameters, i: int) -> None:
    """The figures that are in doubt, as they are in run i."""
    for k in range(shop.skill_count):
        shop.skills[k].level = parameters.level[i, k]
        shop.skills[k].exponent = parameters.exponent[i, k]
        shop.skills[k].loss = parameters.loss[i, k]
    for s in range(shop.step_count):
        shop.steps[s].time_factor = parameters.time_factor[i, s]
        shop.steps[s].setup_factor = parameters.setup_factor[i, s]
        shop.steps[s].rework_chance = parameters.rework_chance[i, s]
        shop.steps[s].scrap_chance = parameters.scrap_chance[i, s]
    for n in range(shop.line_count):
        shop.lines[n].demand_factor = parameters.demand_factor[i, n]
    shop.delay_share = parameters.delay_share[i, 0]


@compiled
def _run(
    shop: np.record,
    stretches: np.ndarray,
    calendar: np.ndarray,
    looks: np.ndarray,
    results: Results,
    i: int,
) -> bool:
    """One run from an empty bench to the end of the last week; False where the lists were full."""
    _clear(shop)
    open_week(shop, calendar)
    begin_orders(shop)
    look, weeks = 0, calendar.shape[1]
    while not shop.full:
        week_end = (shop.week + 1) * WEEK_SECONDS
        look_at = _moment_of_look(looks, look)
        t = _next_moment(shop, min(week_end, look_at))
        shop.in_process += shop.open * (t - shop.now)
        shop.now = t
        end_work(shop)
        end_waits(shop)
        if t == week_end:
            close_week(shop, results, i)
            shop.week += 1
            if shop.week == weeks:
                break
            open_week(shop, calendar)
        customers_come(shop)
        if t == look_at:
            look_at_stock(shop)
            look += 1
        take_up(shop, stretches, results.bench[i])
    _count_open(shop, results, i)
    return not shop.full


@compiled
def _clear(shop: np.record) -> None:
    """The bench as a run begins: nothing under way, stock and experience as given."""
    shop.now, shop.in_process, shop.lead_time = 0.0, 0.0, 0.0
    shop.due_count, shop.ready_count, shop.freeing_count, shop.open = 0, 0, 0, 0
    shop.next_sequence, shop.week, shop.full, shop.finished = 0, 0, 0, 0
    for slot in range(shop.slots):
        shop.batches[slot].sequence = -1
        shop.free_slots[slot] = shop.slots - 1 - slot
    for n in range(shop.station_count):
        shop.stations[n].used = 0
    for h in range(shop.hand_count):
        hand = shop.hands[h]
        hand.end, hand.wake, hand.stretch = np.inf, 0.0, 0
    for k in range(shop.skill_count):
        skill = shop.skills[k]
        skill.goes, skill.last = skill.experience, 0.0
    for n in range(shop.line_count):
        line = shop.lines[n]
        line.stock, line.made, line.under_way = line.stock_at_first, 0.0, 0.0
        line.started, line.good, line.scrapped = 0.0, 0.0, 0.0
        line.batches, line.orders = 0, 0


@compiled
def _moment_of_look(looks: np.ndarray, number: int) -> float:
    return number // len(looks) * WEEK_SECONDS + looks[number % len(looks)]


@compiled
def _next_moment(shop: np.record, t: float) -> float:
    """The next moment at which anything happens, t at the latest."""
    for h in range(shop.hand_count):
        t = min(t, shop.hands[h].end, shop.hands[h].wake)
    for place in range(shop.due_count):
        t = min(t, shop.dues[place].time)
    for place in range(shop.freeing_count):
        t = min(t, shop.freeing[place].time)
    return min(t, shop.next_order)


@compiled
def _count_open(shop: np.record, results: Results, i: int) -> None:
    """What is still under way when the horizon ends."""
    for slot in range(shop.slots):
        batch = shop.batches[slot]
        if batch.sequence >= 0:
            results.unfinished_age[i] += shop.now - batch.released_at
            results.pieces_open[i, batch.line] += batch.pieces
