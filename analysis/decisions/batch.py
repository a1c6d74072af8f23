"""A batch's way through its steps: begun, ready for a step, done with it, waiting, finished.

Also the places it takes up in stations; hands are in `hands.py`.
"""

from __future__ import annotations

import numpy as np

from analysis.decisions.compiling import compiled

MOST_STEPS = 4096  # of a line: ranks are packed below the batch's place in the queue


@compiled
def begin_batch(shop: np.record, n: int) -> None:
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
            be_ready(shop, slot, local)


@compiled
def be_ready(shop: np.record, slot: int, local: int) -> None:
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
def end_step(shop: np.record, h: int) -> None:
    """A step of a batch is done: practice, losses, the station, and what follows."""
    hand = shop.hands[h]
    batch = shop.batches[hand.slot]
    line = shop.lines[batch.line]
    step = shop.steps[line.first_step + hand.local]
    skill = shop.skills[shop.skill_of[h, line.first_step + hand.local]]
    practise(shop, skill, step, batch.pieces, hand.share)
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
            wait_until(shop, hand.slot, local, task.ready_at)


@compiled
def practise(shop: np.record, skill: np.record, step: np.record, pieces: int, share: float) -> None:
    """The hand has done its share of a batch's goes."""
    skill.goes += share * ((pieces + step.pieces_at_once - 1) // step.pieces_at_once)
    skill.last = shop.now


@compiled
def wait_until(shop: np.record, slot: int, local: int, until: float) -> None:
    """Have the task be ready at `until` (seconds from the first Monday, 00:00); `shop.full` is set
    where more wait than its list holds."""
    if shop.due_count == len(shop.dues):
        shop.full = 1
        return
    due = shop.dues[shop.due_count]
    due.time, due.slot, due.local = until, slot, local
    shop.due_count += 1


@compiled
def end_waits(shop: np.record) -> None:
    """Free the places in stations whose pieces are taken out now; be ready where a wait is over."""
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
            be_ready(shop, slot, local)
        else:
            place += 1


@compiled
def _finish_batch(shop: np.record, slot: int) -> None:
    batch = shop.batches[slot]
    line = shop.lines[batch.line]
    for local in range(line.end - line.first_step):
        if shop.tasks[slot, local].keeps_place:
            leave_place(shop, slot, local)
    line.made += batch.pieces
    line.good += batch.pieces
    line.under_way -= batch.pieces
    shop.finished += 1
    shop.lead_time += shop.now - batch.released_at
    batch.sequence = -1
    shop.open -= 1
    shop.free_slots[shop.slots - 1 - shop.open] = slot


@compiled
def _leave_station(shop: np.record, station: int, held_wait: float) -> None:
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


@compiled
def leave_place(shop: np.record, slot: int, local: int) -> None:
    """Pieces that lay in their station are taken out."""
    shop.tasks[slot, local].keeps_place = 0
    station = shop.steps[shop.lines[shop.batches[slot].line].first_step + local].station
    if station >= 0:
        shop.stations[station].used -= 1
