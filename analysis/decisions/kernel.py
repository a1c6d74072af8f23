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
4. batches are begun: stock is looked at, customers' orders come;
5. who is free and at the bench takes up the most pressing task they can do, by the hands' order,
   again and again while that makes room for more.

Most pressing is the oldest batch, and of one batch the step with the longest way to the end (work
and waits), so that what must dry is begun early: the list rule that `flow` begins its search with.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.decisions.compiling import compiled
from analysis.decisions.draws import (
    ARRIVAL,
    BATCH,
    CENTRAL,
    DELAY,
    DEMAND,
    TIME,
    central_normal_of,
    lower,
    normal_of,
    number_in,
    small_exp,
    stream,
    upper,
)
from analysis.decisions.floor import (
    ALWAYS,
    BLOCK,
    EXPONENTIAL,
    LOGNORMAL,
    ORDERS,
    SLOW_GOES,
    STOCK,
)
from analysis.decisions.hours import finish, next_presence, stretch_at
from analysis.decisions.practice import (
    CONSTANT,
    CUMULATIVE_AVERAGE,
    FAR,
    PLATEAU,
    PRIOR,
    growth,
)
from analysis.decisions.shop_model import WEEK_SECONDS

SETTING_UP, WORKING = range(2)
MOST_STEPS = 4096  # of a line: ranks are packed below the batch's place in the queue
LARGEST_POISSON = 200.0
SMALL_SD = 0.6  # |sd z - sd^2 / 2| < 4, since |z| < 6.4 for a chance of 32 bits


@compiled
def simulate_runs(floors, parameters, stretches, calendar, looks, seed, first_run, results):
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
def set_parameters(shop, parameters, i):
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
def _run(shop, stretches, calendar, looks, results, i):
    """One run from an empty bench to the end of the last week; False where the lists were full."""
    _clear(shop)
    _open_week(shop, calendar)
    _begin_orders(shop)
    look, weeks = 0, calendar.shape[1]
    while not shop.full:
        week_end = (shop.week + 1) * WEEK_SECONDS
        look_at = _moment_of_look(looks, look)
        t = _next_moment(shop, min(week_end, look_at))
        shop.in_process += shop.open * (t - shop.now)
        shop.now = t
        _end_work(shop)
        _end_waits(shop)
        if t == week_end:
            _close_week(shop, results, i)
            shop.week += 1
            if shop.week == weeks:
                break
            _open_week(shop, calendar)
        _customers_come(shop)
        if t == look_at:
            _look_at_stock(shop)
            look += 1
        _take_up(shop, stretches, results.bench[i])
    _count_open(shop, results, i)
    return not shop.full


@compiled
def _clear(shop):
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
def _begin_orders(shop):
    shop.next_order = np.inf
    for n in range(shop.line_count):
        line = shop.lines[n]
        line.next_order = _gap(shop, n) if line.release == ORDERS else np.inf
        shop.next_order = min(shop.next_order, line.next_order)
        if line.release == ALWAYS:
            _begin_batch(shop, n)


@compiled
def _moment_of_look(looks, number):
    return number // len(looks) * WEEK_SECONDS + looks[number % len(looks)]


@compiled
def _next_moment(shop, t):
    """The next moment at which anything happens, t at the latest."""
    for h in range(shop.hand_count):
        t = min(t, shop.hands[h].end, shop.hands[h].wake)
    for place in range(shop.due_count):
        t = min(t, shop.dues[place].time)
    for place in range(shop.freeing_count):
        t = min(t, shop.freeing[place].time)
    return min(t, shop.next_order)


# 1. Work that ends


@compiled
def _end_work(shop):
    for h in range(shop.hand_count):
        hand = shop.hands[h]
        if hand.end <= shop.now:
            hand.end, hand.wake = np.inf, shop.now
            if hand.doing == SETTING_UP:
                first = shop.lines[shop.batches[hand.slot].line].first_step
                shop.tasks[hand.slot, hand.local].set_up = 1
                warm_at = shop.now + shop.steps[first + hand.local].setup_wait
                _wait(shop, hand.slot, hand.local, warm_at)
            else:
                _end_step(shop, h)


@compiled
def _end_step(shop, h):
    """A step of a batch is done: practice, losses, the station, and what follows."""
    hand = shop.hands[h]
    batch = shop.batches[hand.slot]
    line = shop.lines[batch.line]
    step = shop.steps[line.first_step + hand.local]
    skill = shop.skills[shop.skill_of[h, line.first_step + hand.local]]
    skill.goes += (batch.pieces + step.pieces_at_once - 1) // step.pieces_at_once
    skill.last = shop.now
    lost = min(hand.lost, batch.pieces)
    batch.pieces -= lost
    line.under_way -= lost
    line.scrapped += lost
    if step.stays:
        shop.tasks[hand.slot, hand.local].keeps_place = 1
    else:
        _leave_station(shop, step.station, step.held_wait)
    for place in range(step.first_after, step.first_after + step.afters):
        follower = shop.followers[place]
        local = follower.step - line.first_step
        task = shop.tasks[hand.slot, local]
        task.ready_at = max(task.ready_at, shop.now + follower.wait)
        task.missing -= 1
        if task.missing == 0:
            _wait(shop, hand.slot, local, task.ready_at)


@compiled
def _wait(shop, slot, local, until):
    if shop.due_count == len(shop.dues):
        shop.full = 1
        return
    due = shop.dues[shop.due_count]
    due.time, due.slot, due.local = until, slot, local
    shop.due_count += 1


@compiled
def _leave_station(shop, station, held_wait):
    """The work is done; pieces that wait in the station hold their place until that is over."""
    if station < 0:
        return
    if held_wait <= 0:
        shop.stations[station].used -= 1
    elif shop.freeing_count == len(shop.freeing):
        shop.full = 1
    else:
        freeing = shop.freeing[shop.freeing_count]
        freeing.time, freeing.station = shop.now + held_wait, station
        shop.freeing_count += 1


# 2. What ends by itself


@compiled
def _end_waits(shop):
    place = 0
    while place < shop.freeing_count:
        freeing = shop.freeing[place]
        if freeing.time <= shop.now:
            shop.stations[freeing.station].used -= 1
            shop.freeing_count -= 1
            last = shop.freeing[shop.freeing_count]
            freeing.time, freeing.station = last.time, last.station
        else:
            place += 1
    place = 0
    while place < shop.due_count:
        due = shop.dues[place]
        if due.time <= shop.now:
            slot, local = due.slot, due.local
            shop.due_count -= 1
            last = shop.dues[shop.due_count]
            due.time, due.slot, due.local = last.time, last.slot, last.local
            _be_ready(shop, slot, local)
        else:
            place += 1


@compiled
def _be_ready(shop, slot, local):
    """The task may be taken up; the end of a line finishes its batch."""
    batch = shop.batches[slot]
    line = shop.lines[batch.line]
    if line.first_step + local == line.end:
        _finish_batch(shop, slot)
        return
    if shop.ready_count == len(shop.ready):
        shop.full = 1
        return
    ready = shop.ready[shop.ready_count]
    ready.slot, ready.local, ready.step = slot, local, line.first_step + local
    ready.key = batch.sequence * MOST_STEPS + shop.steps[ready.step].rank
    shop.ready_count += 1


@compiled
def _finish_batch(shop, slot):
    batch = shop.batches[slot]
    line = shop.lines[batch.line]
    for local in range(line.end - line.first_step):
        if shop.tasks[slot, local].keeps_place:
            _leave_place(shop, slot, local)
    line.made += batch.pieces
    line.good += batch.pieces
    line.under_way -= batch.pieces
    shop.finished += 1
    shop.lead_time += shop.now - batch.released_at
    batch.sequence = -1
    shop.open -= 1
    shop.free_slots[shop.slots - 1 - shop.open] = slot


@compiled
def _leave_place(shop, slot, local):
    """Pieces that lay in their station are taken out."""
    shop.tasks[slot, local].keeps_place = 0
    station = shop.steps[shop.lines[shop.batches[slot].line].first_step + local].station
    if station >= 0:
        shop.stations[station].used -= 1


# 3. The week is closed


@compiled
def _close_week(shop, results, i):
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


@compiled
def _open_week(shop, calendar):
    """How many pieces of each line are asked for this week, big orders among them."""
    for n in range(shop.line_count):
        line, now = shop.lines[n], calendar[n, shop.week]
        line.demand = now.demand * line.demand_factor
        line.orders_now, line.orders_ahead = now.orders_now, now.orders_ahead
        bits = number_in(stream(stream(shop.start, DEMAND), line.code), shop.week)
        asked = pieces_asked(line.demand, line.demand_spread, upper(bits))
        line.asked = asked + line.orders_now


@compiled
def pieces_asked(mean, spread, p):
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


# 4. Batches are begun


@compiled
def _customers_come(shop):
    if shop.next_order > shop.now:
        return
    shop.next_order = np.inf
    for n in range(shop.line_count):
        line = shop.lines[n]
        while line.next_order <= shop.now and not shop.full:
            _begin_batch(shop, n)
            line.orders += 1
            line.next_order = shop.now + _gap(shop, n)
        shop.next_order = min(shop.next_order, line.next_order)


@compiled
def _gap(shop, n):
    """Seconds to the next customer's order: exponential, one batch each."""
    line = shop.lines[n]
    bits = number_in(stream(stream(shop.start, ARRIVAL), line.code), line.orders)
    rate = line.demand / WEEK_SECONDS
    return -math.log(upper(bits)) / rate if rate > 0 else np.inf


@compiled
def _look_at_stock(shop):
    """Begin batches, of the line with the least cover first, until every line is covered.

    cover = (stock, made and under way, less what was sold so far this week) / (a week's demand x
    cover_weeks + big orders that are known); the week's sales are taken as spread evenly.
    """
    elapsed = shop.now / WEEK_SECONDS - shop.week
    while not shop.full:
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
        _begin_batch(shop, chosen)


@compiled
def _begin_batch(shop, n):
    """A batch takes a slot, and its first steps are ready."""
    if shop.open == shop.slots:
        shop.full = 1
        return
    slot = shop.free_slots[shop.slots - 1 - shop.open]
    line, batch = shop.lines[n], shop.batches[slot]
    batch.line, batch.number, batch.sequence = n, line.batches, shop.next_sequence
    batch.pieces, batch.released_at = line.batch_size, shop.now
    shop.open += 1
    shop.next_sequence += 1
    line.batches += 1
    line.under_way += line.batch_size
    line.started += line.batch_size
    for local in range(line.end - line.first_step + 1):
        task, step = shop.tasks[slot, local], shop.steps[line.first_step + local]
        task.missing, task.ready_at, task.set_up, task.keeps_place = step.befores, shop.now, 0, 0
        if step.is_first:
            _be_ready(shop, slot, local)


# 5. Work is taken up


@compiled
def _take_up(shop, stretches, worked):
    """Who is free and at the bench takes up what is most pressing."""
    again = True
    while again:
        again = False
        for h in range(shop.hand_count):
            hand = shop.hands[h]
            if hand.end < np.inf:
                continue
            hand.stretch = stretch_at(stretches, h, hand.stretch, shop.now)
            present = next_presence(stretches, h, hand.stretch, shop.now)
            if present > shop.now:
                hand.wake = present
                continue
            hand.wake = np.inf
            chosen = _most_pressing(shop, h)
            if chosen >= 0:
                hand.slot, hand.local = shop.ready[chosen].slot, shop.ready[chosen].local
                _take_off_list(shop, chosen)
                again |= _take_place(shop, hand.slot, hand.local)
                again |= _begin_next(shop, hand.slot, hand.local)
                seconds, restart = _task(shop, h)
                hand.end = finish(stretches, h, hand.stretch, shop.now, seconds, restart, worked[h])


@compiled
def _most_pressing(shop, h):
    """The place in the list of ready tasks of the one this hand should do; -1 for none."""
    chosen, least = -1, 2**62
    for place in range(shop.ready_count):
        ready = shop.ready[place]
        if ready.key < least:
            station = shop.steps[ready.step].station
            if shop.skill_of[h, ready.step] >= 0 and (
                station < 0
                or shop.stations[station].used < shop.stations[station].places
                or shop.tasks[ready.slot, ready.local].set_up
            ):
                chosen, least = place, ready.key
    return chosen


@compiled
def _take_off_list(shop, place):
    shop.ready_count -= 1
    ready, last = shop.ready[place], shop.ready[shop.ready_count]
    ready.key, ready.step = last.key, last.step
    ready.slot, ready.local = last.slot, last.local


@compiled
def _take_place(shop, slot, local):
    """The batch takes its place in the station and leaves those it kept; True where it did."""
    first = shop.lines[shop.batches[slot].line].first_step
    step = first + local
    station = shop.steps[step].station
    if station >= 0 and not shop.tasks[slot, local].set_up:
        shop.stations[station].used += 1
    left = False
    for before in range(local):
        if shop.tasks[slot, before].keeps_place and _follows(shop, first + before, step):
            _leave_place(shop, slot, before)
            left = True
    return left


@compiled
def _follows(shop, before, step):
    first = shop.steps[before].first_after
    for place in range(first, first + shop.steps[before].afters):
        if shop.followers[place].step == step:
            return True
    return False


@compiled
def _begin_next(shop, slot, local):
    """Where the next batch is always ready: it is so when the newest is taken up."""
    batch = shop.batches[slot]
    line = shop.lines[batch.line]
    if line.release != ALWAYS or batch.number < line.batches - 1:
        return False
    if not shop.steps[line.first_step + local].is_first:
        return False
    _begin_batch(shop, batch.line)
    return True


@compiled
def _task(shop, h):
    """(seconds at the bench, seconds that a new start costs) of the task the hand takes up.

    seconds = (setup + walk + pieces) (1 + delay_share x) (1 + rest_share), x exponential with mean
    1: interruptions are few and long beside a task. A setup with a wait is a task of its own.
    """
    hand = shop.hands[h]
    batch, task = shop.batches[hand.slot], shop.tasks[hand.slot, hand.local]
    line = shop.lines[batch.line]
    step = shop.steps[line.first_step + hand.local]
    seconds = 0.0 if task.set_up else step.setup * step.setup_factor
    hand.lost = 0
    if step.setup_wait > 0 and not task.set_up:
        hand.doing = SETTING_UP
        return seconds * (1.0 + shop.rest_share), 0.0
    hand.doing = WORKING
    skill = shop.skills[shop.skill_of[h, line.first_step + hand.local]]
    _forget(skill, shop.now)
    code = stream(stream(stream(shop.start, line.code), step.code), batch.number)
    of_pieces, restart, hand.lost = pieces_seconds(shop, skill, step, code, batch.pieces)
    seconds += of_pieces + step.transport
    if shop.delay_share > 0:
        seconds *= 1.0 - shop.delay_share * math.log(upper(stream(code, DELAY)))
    return seconds * (1.0 + shop.rest_share), restart


@compiled
def _forget(skill, now):
    """E <- E retention^weeks for time away of more than a week (study/experience.py)."""
    weeks = (now - skill.last) / WEEK_SECONDS
    if weeks > 1.0:
        skill.goes *= math.exp(-skill.loss * weeks)
        skill.last = now


@compiled
def pieces_seconds(shop, skill, step, code, pieces):
    """(seconds, seconds that a new start costs, pieces lost) of the pieces of a task.

    Go k takes level x shape(E + k) x exp(restart 2^-k) x its own scatter x that of the batch; each
    scatter has the mean 1. Drawn in blocks, which a processor does several at a time.
    """
    goes = (pieces + step.pieces_at_once - 1) // step.pieces_at_once
    times = stream(code, TIME)
    n, c, share, scale = curve_at(skill)
    total, usual, mended, lost = 0.0, 1.0, 0.0, 0
    for first in range(0, goes, BLOCK):
        count = min(goes - first, BLOCK)
        scatter_of_goes(shop, skill.scatter, skill.piece_log_sd, times, first, count)
        for go in range(first, min(count, SLOW_GOES)):
            shop.scatter[go] *= skill.slowness[go]
        if skill.curve != CONSTANT:
            usual_of_goes(shop, n + first, c, share, scale, count)
            usual = shop.usual[count - 1]
            for go in range(count):
                shop.scatter[go] *= shop.usual[go]
        for go in range(count):
            total += shop.scatter[go]
        if step.scrap_chance + step.rework_chance > 0.0:
            more_lost, more_mended = _faults(shop, skill, step, first, count, pieces)
            lost += more_lost
            mended += more_mended
    factor = skill.level * step.time_factor * _scatter_of_batch(skill.batch_log_sd, code)
    seconds = total * factor + mended * step.rework_seconds
    return seconds, skill.cost_of_start * usual * factor, lost


@compiled
def usual_of_goes(shop, n, c, share, scale, count):
    """Mean times of a block of goes, as multiples of the first ever: see `curve_at`."""
    near = 0
    while near == 0 or (near <= count and n + near < FAR):
        shop.power[near] = (n + near) ** c
        near += 1
    for go in range(near, count + 1):
        shop.power[go] = growth(n + go - 1.0, c)
    for go in range(near, count + 1):
        shop.power[go] *= shop.power[go - 1]
    if c > 0.0:
        for go in range(count):
            shop.usual[go] = shop.power[go + 1] - shop.power[go]
    else:
        for go in range(count):
            shop.usual[go] = (share + (1.0 - share) * shop.power[go]) * scale


@compiled
def scatter_of_goes(shop, kind, sd, times, first, count):
    """Numbers of the goes `first`, first + 1, … and what each is times its mean: a factor of mean
    1, exp(sd z - sd^2 / 2), or exponential, or 1."""
    for go in range(count):
        shop.bits[go] = number_in(times, first + go)
    if kind == LOGNORMAL:
        for go in range(count):
            shop.scatter[go] = central_normal_of(upper(shop.bits[go]))
        for go in range(count):
            p = upper(shop.bits[go])
            if abs(p - 0.5) > CENTRAL:
                shop.scatter[go] = normal_of(p)
        if sd <= SMALL_SD:
            for go in range(count):
                shop.scatter[go] = small_exp(sd * shop.scatter[go] - 0.5 * sd * sd)
        else:
            for go in range(count):
                shop.scatter[go] = math.exp(sd * shop.scatter[go] - 0.5 * sd * sd)
    elif kind == EXPONENTIAL:
        for go in range(count):
            shop.scatter[go] = -math.log(upper(shop.bits[go]))
    else:
        shop.scatter[:count] = 1.0


@compiled
def _faults(shop, skill, step, first, count, pieces):
    """(pieces lost, mendings in units of the mean one) among a block of goes.

    One number decides what becomes of a piece: lost below the scrap chance, mended on the spot
    below that and the rework chance together.
    """
    lost, mended, at_once = 0, 0.0, step.pieces_at_once
    faulty = step.scrap_chance + step.rework_chance
    for go in range(count):
        last = min((first + go + 1) * at_once, pieces)
        for piece in range((first + go) * at_once, last):
            own = shop.bits[go] if at_once == 1 else number_in(shop.bits[go], piece)
            fate = lower(own)
            if fate < step.scrap_chance:
                lost += 1
            elif fate < faulty:
                mended += _scatter(skill.scatter, skill.piece_log_sd, number_in(own, 0))
    return lost, mended


@compiled
def curve_at(skill):
    """(n, c, f, s) at which the skill's curve stands: its k-th go from now takes
    (f + (1 - f) (n + k)^c) s of the first ever, and where c > 0, which is on a cumulative average,
    (n + k + 1)^c - (n + k)^c; k = 0, 1, …; see `practice.shape`."""
    if skill.curve == CUMULATIVE_AVERAGE:
        return skill.goes, 1.0 + skill.exponent, 0.0, 1.0
    prior = skill.prior if skill.curve == PRIOR else 0.0
    share = skill.plateau_share if skill.curve == PLATEAU else 0.0
    return skill.goes + 1.0 + prior, skill.exponent, share, (1.0 + prior) ** -skill.exponent


@compiled
def _scatter(kind, sd, bits):
    """A factor of mean 1: exp(sd z - sd^2 / 2), or exponential, or 1."""
    if kind == LOGNORMAL:
        return math.exp(sd * normal_of(upper(bits)) - 0.5 * sd * sd)
    if kind == EXPONENTIAL:
        return -math.log(upper(bits))
    return 1.0


@compiled
def _scatter_of_batch(sd, code):
    return math.exp(sd * normal_of(upper(stream(code, BATCH))) - 0.5 * sd * sd)


@compiled
def _count_open(shop, results, i):
    """What is still under way when the horizon ends."""
    for slot in range(shop.slots):
        batch = shop.batches[slot]
        if batch.sequence >= 0:
            results.unfinished_age[i] += shop.now - batch.released_at
            results.pieces_open[i, batch.line] += batch.pieces
