"""Hands: who is free takes up the most pressing task they can do, and ends it when it is done.

Most pressing is the oldest batch, and of one batch the step with the longest way to the end (work
and waits), so that what must dry is begun early: the list rule that `flow` begins its search with.

What somebody who has gone home left half done, another takes over if they will be done with it
sooner. Else a helper of a few hours a week would keep the sewing frame for days, and one who may
sew would halve what the shop makes.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.decisions.batch import (
    MOST_STEPS,
    begin_batch,
    end_step,
    leave_place,
    practise,
    wait_until,
)
from analysis.decisions.compiling import compiled
from analysis.decisions.draws import DELAY, stream, upper
from analysis.decisions.floor import ALWAYS
from analysis.decisions.hours import book, finish, next_presence, stretch_at
from analysis.decisions.pieces import pieces_seconds
from analysis.decisions.shop_model import WEEK_SECONDS

SETTING_UP, WORKING = range(2)
NOT_PRESSING = 2**62


@compiled
def take_up(shop: np.record, stretches: np.ndarray, worked: np.ndarray) -> None:
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
            pressing = shop.ready[chosen].key if chosen >= 0 else NOT_PRESSING
            if _take_over(shop, stretches, worked, h, pressing):
                continue
            if chosen < 0:
                hand.wake = _next_leaving(shop, stretches)
                continue
            hand.slot, hand.local = shop.ready[chosen].slot, shop.ready[chosen].local
            hand.share = 1.0
            _take_off_list(shop, chosen)
            again |= _take_place(shop, hand.slot, hand.local)
            again |= _begin_next(shop, hand.slot, hand.local)
            hand.work, restart = _task(shop, h)
            weeks = len(worked[h])
            hand.end = finish(stretches, h, hand.stretch, shop.now, hand.work, restart, weeks)
            book(stretches, h, hand.stretch, shop.now, hand.end, worked[h], 1.0)


@compiled
def _take_over(
    shop: np.record, stretches: np.ndarray, worked: np.ndarray, h: int, pressing: int
) -> bool:
    """Whether the hand takes over what another who is away has left lying: where that presses more
    than what is ready, and this hand will be done with it sooner."""
    hand = shop.hands[h]
    for g in range(shop.hand_count):
        other = shop.hands[g]
        back = _back_at_it(shop, stretches, g)
        if back == np.inf:
            continue
        batch = shop.batches[other.slot]
        place = shop.lines[batch.line].first_step + other.local
        key = batch.sequence * MOST_STEPS + shop.steps[place].rank
        if key >= pressing or shop.skill_of[h, place] < 0:
            continue
        skill = shop.skills[shop.skill_of[h, place]]
        goes, last = skill.goes, skill.last
        stretch = stretch_at(stretches, g, other.stretch, shop.now)
        left = book(stretches, g, stretch, back, other.end, worked[g], 0.0)
        hand.slot, hand.local = other.slot, other.local
        hand.share = other.share * min(left / other.work, 1.0)
        hand.work, restart = _task(shop, h)
        end = finish(stretches, h, hand.stretch, shop.now, hand.work, restart, len(worked[h]))
        if end < other.end:
            book(stretches, g, stretch, back, other.end, worked[g], -1.0)
            book(stretches, h, hand.stretch, shop.now, end, worked[h], 1.0)
            _leave_to(shop, g, place, hand.share)
            hand.end, other.wake = end, back
            return True
        skill.goes, skill.last = goes, last
    return False


@compiled
def _back_at_it(shop: np.record, stretches: np.ndarray, g: int) -> float:
    """When a hand who is away goes on with what it left lying; infinity where there is nothing."""
    other = shop.hands[g]
    if other.end == np.inf:
        return np.inf
    back = stretches[g, stretch_at(stretches, g, other.stretch, shop.now)].begin
    return back if shop.now < back < other.end else np.inf


@compiled
def _leave_to(shop: np.record, g: int, place: int, share: float) -> None:
    """The hand is rid of its work but for what it has done of it; `share` is another's."""
    other = shop.hands[g]
    other.end = np.inf
    if other.doing == WORKING:
        skill = shop.skills[shop.skill_of[g, place]]
        pieces = shop.batches[other.slot].pieces
        practise(shop, skill, shop.steps[place], pieces, other.share - share)


@compiled
def _next_leaving(shop: np.record, stretches: np.ndarray) -> float:
    """When the next of those at work goes home and leaves it lying; infinity for never."""
    t = np.inf
    for g in range(shop.hand_count):
        other = shop.hands[g]
        if other.end < np.inf:
            leaving = stretches[g, stretch_at(stretches, g, other.stretch, shop.now)].end
            if leaving < other.end:
                t = min(t, leaving)
    return t


@compiled
def _most_pressing(shop: np.record, h: int) -> int:
    """The place in the list of ready tasks of the one this hand should do; -1 for none."""
    chosen, least = -1, NOT_PRESSING
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
def _take_off_list(shop: np.record, place: int) -> None:
    shop.ready_count -= 1
    ready, last = shop.ready[place], shop.ready[shop.ready_count]
    ready.key, ready.step = last.key, last.step
    ready.slot, ready.local = last.slot, last.local


@compiled
def _take_place(shop: np.record, slot: int, local: int) -> bool:
    """The batch takes its place in the station and leaves those it kept; True where it did."""
    first = shop.lines[shop.batches[slot].line].first_step
    step = first + local
    station = shop.steps[step].station
    if station >= 0 and not shop.tasks[slot, local].set_up:
        shop.stations[station].used += 1
    left = False
    for before in range(local):
        if shop.tasks[slot, before].keeps_place and _follows(shop, first + before, step):
            leave_place(shop, slot, before)
            left = True
    return left


@compiled
def _follows(shop: np.record, before: int, step: int) -> bool:
    first = shop.steps[before].first_after
    for place in range(first, first + shop.steps[before].afters):
        if shop.followers[place].step == step:
            return True
    return False


@compiled
def _begin_next(shop: np.record, slot: int, local: int) -> bool:
    """Where the next batch is always ready: it is so when the newest is taken up."""
    batch = shop.batches[slot]
    line = shop.lines[batch.line]
    if line.release != ALWAYS or batch.number < line.batches - 1:
        return False
    if not shop.steps[line.first_step + local].is_first:
        return False
    begin_batch(shop, batch.line)
    return True


@compiled
def _task(shop: np.record, h: int) -> tuple[float, float]:
    """(seconds at the bench, seconds that a new start costs) of the task the hand takes up.

    seconds = (setup + walk + pieces) (1 + delay_share x) (1 + rest_share), x exponential with mean
    1: interruptions are few and long beside a task. A setup with a wait is a task of its own. Of
    what was taken over the hand has its share, and a new start.
    """
    hand = shop.hands[h]
    batch, task = shop.batches[hand.slot], shop.tasks[hand.slot, hand.local]
    line = shop.lines[batch.line]
    step = shop.steps[line.first_step + hand.local]
    seconds = 0.0 if task.set_up else step.setup * step.setup_factor
    hand.lost = 0
    if step.setup_wait > 0 and not task.set_up:
        hand.doing = SETTING_UP
        return hand.share * seconds * (1.0 + shop.rest_share), 0.0
    hand.doing = WORKING
    skill = shop.skills[shop.skill_of[h, line.first_step + hand.local]]
    _forget(skill, shop.now)
    code = stream(stream(stream(shop.start, line.code), step.code), batch.number)
    of_pieces, restart, hand.lost = pieces_seconds(shop, skill, step, code, batch.pieces)
    seconds += of_pieces + step.transport
    if shop.delay_share > 0:
        seconds *= 1.0 - shop.delay_share * math.log(upper(stream(code, DELAY)))
    if hand.share < 1.0:
        seconds = restart + hand.share * max(seconds - restart, 0.0)
    return seconds * (1.0 + shop.rest_share), restart * (1.0 + shop.rest_share)


@compiled
def _forget(skill: np.record, now: float) -> None:
    """E <- E retention^weeks for time away of more than a week (study/experience.py)."""
    weeks = (now - skill.last) / WEEK_SECONDS
    if weeks > 1.0:
        skill.goes *= math.exp(-skill.loss * weeks)
        skill.last = now


@compiled
def end_work(shop: np.record) -> None:
    """End the work that is done by now: after a setup its wait begins, after pieces what follows
    (`batch.end_step`)."""
    for h in range(shop.hand_count):
        hand = shop.hands[h]
        if hand.end <= shop.now:
            hand.end, hand.wake = np.inf, shop.now
            if hand.doing == SETTING_UP:
                first = shop.lines[shop.batches[hand.slot].line].first_step
                shop.tasks[hand.slot, hand.local].set_up = 1
                warm_at = shop.now + shop.steps[first + hand.local].setup_wait
                wait_until(shop, hand.slot, hand.local, warm_at)
            else:
                end_step(shop, h)
