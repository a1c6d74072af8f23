"""The same shop written in SimPy, as an independent witness: its own clock, queue and processes.

It shares with the program only the model it reads (`shop_model.py`) and, where asked for, the
numbers it is fed; calendars, stations, routes, practice, stock and sales are written again here.
SimPy orders events of one moment by priority, and we give them the kernel's order: work that ends,
waits that end, the week's closing, new batches, and only then whoever is free takes up work.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import dataclass, field

import simpy

from analysis.decisions.shop_model import WEEK_SECONDS, Hand, ShopModel, Skill, Step

ENDS, WAITS, CLOSING, BEGINNING, TAKING_UP = 1, 2, 3, 4, 5
DAY = 86400.0
MOST_UNDER_WAY = 1000  # as the kernel has it
SLOW_GOES = 12  # after a start, of which the kernel knows


class ByChance:
    """Numbers as a SimPy user would draw them: Python's own generator, in the order of need."""

    def __init__(self, seed: int):
        self.random = random.Random(seed)

    def scatter(self, skill: Skill, goes: int) -> list[float]:
        if skill.scatter == "exponential":
            return [self.random.expovariate(1.0) for _ in range(goes)]
        if skill.scatter == "none":
            return [1.0] * goes
        sd, draw = skill.piece_log_sd, self.random.lognormvariate
        centre = -0.5 * sd * sd
        return [draw(centre, sd) for _ in range(goes)]

    def task(self, line, step, number, skill: Skill, goes: int, pieces: int):
        """(scatter of each go, fate of each piece, scatter of its mending, of the batch,
        interruption)."""
        sd = skill.batch_log_sd
        fates = []
        if step.rework_chance or step.scrap_chance:
            draw = self.random.random
            fates = [draw() for _ in range(pieces)]
        return (
            self.scatter(skill, goes),
            fates,
            lambda piece: self.scatter(skill, 1)[0],
            self.random.lognormvariate(-0.5 * sd * sd, sd) if sd else 1.0,
            self.random.expovariate(1.0),
        )

    def demand(self, line, week: int, mean: float, spread: float) -> float:
        if mean <= 0 or spread == 0:
            return max(mean, 0.0)
        if spread == 1.0 and mean < 200:
            count, product, limit = -1, 1.0, math.exp(-mean)
            while product > limit:  # Knuth's way to a Poisson number
                product *= self.random.random()
                count += 1
            return float(count)
        return max(0.0, float(round(self.random.gauss(mean, math.sqrt(spread * mean)))))

    def gap(self, line, number: int, rate: float) -> float:
        return self.random.expovariate(rate) if rate > 0 else math.inf


@dataclass
class Holding:
    """What a hand is at: its share of a task, done at a moment."""

    batch: Batch
    local: int
    share: float
    work: float
    end: float
    setting_up: bool
    key: tuple
    given_up: bool = False


@dataclass
class Batch:
    line: int
    number: int
    sequence: int
    pieces: int
    released_at: float
    missing: list[int]
    ready_at: list[float]
    set_up: set[int] = field(default_factory=set)
    keeps: set[int] = field(default_factory=set)


class SimpyShop:
    """One run of a model; `figures` of it as Counters by (what, week, line or hand)."""

    def __init__(self, model: ShopModel, weeks: int, chances):
        self.model, self.weeks, self.chances = model, weeks, chances
        self.env = simpy.Environment()
        self.figures: Counter = Counter()
        self.finished_at: list[tuple[int, int, float]] = []
        self.ready: list[tuple[int, Batch, int]] = []
        self.used = Counter()
        self.open: list[Batch] = []
        self.sequence = 0
        self.begun = [0] * len(model.lines)
        self.orders_come = [0] * len(model.lines)
        self.stock = [line.stock for line in model.lines]
        self.made = [0.0] * len(model.lines)
        self.under_way = [0] * len(model.lines)
        self.asked = [0.0] * len(model.lines)
        self.goes = {key: skill.experience for key, skill in model.skills.items()}
        self.last = dict.fromkeys(model.skills, 0.0)
        self.follows = [self._follows(line.steps) for line in model.lines]
        self.rank = [self._rank(line) for line in model.lines]
        self.hours = [list(self._hours(hand)) for hand in model.hands]
        self.free = [True] * len(model.hands)
        self.at_work: list[Holding | None] = [None] * len(model.hands)
        self.taking_up = False
        self.factor = [self._demand_factor(week) for week in range(weeks)]

    def run(self) -> SimpyShop:
        self._open_week(0)
        self.at(0.0, BEGINNING, lambda: None)
        for n, line in enumerate(self.model.lines):
            if line.release == "orders":
                self._next_order(n)
            elif line.release == "always":
                self._begin(n)
        for week in range(self.weeks):
            for look in self._looks():
                self.at(week * WEEK_SECONDS + look, BEGINNING, self._look)
            self.at((week + 1) * WEEK_SECONDS, CLOSING, self._close_week)
        self.env.run(until=self.weeks * WEEK_SECONDS + 1e-6)
        return self

    def at(self, moment: float, priority: int, happen) -> None:
        """Have `happen` happen at a moment, and everyone look for work afterwards."""
        event = simpy.Event(self.env)
        event._ok, event._value = True, None

        def done(_):
            happen()
            self._wake()

        event.callbacks.append(done)
        self._schedule(event, moment, priority)

    def _schedule(self, event, moment: float, priority: int) -> None:
        """As `Environment.schedule`, at a moment and not after a delay: now + (t - now) is not t,
        and the kernel's moments are to be met to the bit."""
        from heapq import heappush

        heappush(self.env._queue, (moment, priority, next(self.env._eid), event))

    def _wake(self) -> None:
        if not self.taking_up:
            self.taking_up = True
            event = simpy.Event(self.env)
            event._ok, event._value = True, None
            event.callbacks.append(lambda _: self._take_up())
            self._schedule(event, self.env.now, TAKING_UP)

    # Who is there, and when

    def _hours(self, hand: Hand):
        whole = sum(end - begin for begin, end in self.model.open_seconds)
        share = 1.0
        if hand.hours_per_week is not None:
            share = min(1.0, hand.hours_per_week * 3600 / whole)
        for week in range(self.weeks):
            there = self._there(hand, week)
            left: dict[float, float] = {}
            for begin, end in self.model.open_seconds:
                day = begin // DAY
                if day not in left:
                    left[day] = share * sum(
                        e - b for b, e in self.model.open_seconds if b // DAY == day
                    )
                own = end if share == 1.0 else begin + min(left[day], end - begin)
                left[day] -= own - begin
                if (own - begin) * there > 0:
                    yield (
                        week * WEEK_SECONDS + own - (own - begin) * there,
                        week * WEEK_SECONDS + own,
                    )

    def _there(self, hand: Hand, week: int) -> float:
        if week < hand.from_week or (hand.until_week is not None and week >= hand.until_week):
            return 0.0
        closed = self.model.closed[week] if week < len(self.model.closed) else 0.0
        own = hand.available[week] if week < len(hand.available) else 1.0
        return max(1 - closed, 0.0) * min(max(own, 0.0), 1.0)

    def _spells(self, h: int, t: float):
        """(begin, end, pause behind it, week, whether it is gone beyond) of hours from t on."""
        hours = self.hours[h]
        for place, (begin, end) in enumerate(hours):
            if end > t:
                week = int(begin // WEEK_SECONDS)
                following = hours[place + 1][0] if place + 1 < len(hours) else math.inf
                stays = following - end > 2 * WEEK_SECONDS and week + 1 < self.weeks
                yield max(t, begin), end, following - end, week, stays

    def _done_at(self, h: int, work: float, restart: float) -> float:
        for begin, end, pause, _, stays in self._spells(h, self.env.now):
            if work <= end - begin or stays:
                return begin + work
            work -= end - begin
            if 1800 <= pause < math.inf:
                work += restart
        return math.inf

    def _book(self, h: int, until: float, sign: int) -> float:
        """Hours from now until a task's end, added to or taken off the bench's figures."""
        whole = 0.0
        for begin, end, _, week, stays in self._spells(h, self.env.now):
            if begin >= until:
                break
            seconds = until - begin if stays else min(end, until) - begin
            self.figures["bench", week, h] += sign * seconds
            whole += seconds
            if stays:
                break
        return whole

    # Routes

    @staticmethod
    def _follows(steps: tuple[Step, ...]) -> list[list[tuple[int, float]]]:
        follows = [[] for _ in steps]
        for then, step in enumerate(steps):
            for before, wait in step.before:
                follows[before].append((then, wait))
        for place, step in enumerate(steps):
            if not follows[place]:
                follows[place].append((len(steps), step.wait_seconds))
        return follows

    def _rank(self, line) -> list[int]:
        way = []
        for step in line.steps:
            own = [
                skill.first_unit_seconds
                for hand in self.model.hands
                if (skill := self.model.skills.get((hand.name, line.product, step.operation)))
            ]
            goes = math.ceil(line.batch_size / step.pieces_at_once)
            way.append(
                goes * (min(own, default=0.0) * step.time_factor)
                + step.setup_seconds
                + step.setup_wait_seconds
                + step.transport_seconds
            )
        for place in reversed(range(len(line.steps))):
            way[place] += max(
                wait + (way[then] if then < len(way) else 0.0)
                for then, wait in self._follows(line.steps)[place]
            )
        order = sorted(range(len(way)), key=lambda place: -way[place])
        return [order.index(place) for place in range(len(way))]

    # Work

    def _take_up(self) -> None:
        self.taking_up = False
        again = True
        while again:
            again = False
            for h, hand in enumerate(self.model.hands):
                if not self.free[h]:
                    continue
                begin = next((b for b, e in self.hours[h] if e > self.env.now), math.inf)
                if begin > self.env.now:
                    if begin < math.inf:
                        self.at(begin, TAKING_UP - 1, lambda: None)
                    continue
                entry = self._most_pressing(hand)
                if self._take_over(h, entry[0] if entry else math.inf):
                    continue
                if entry:
                    self.ready.remove(entry)
                    again |= self._begin_task(h, entry[1], entry[2])
                else:
                    for other in range(len(self.model.hands)):
                        self._wake_when_leaving(other)

    def _wake_when_leaving(self, g: int) -> None:
        """Whoever is idle looks again when somebody goes home and leaves work lying."""
        leaving = next((e for _, e in self.hours[g] if e > self.env.now), math.inf)
        if self.at_work[g] and leaving < self.at_work[g].end:
            self.at(leaving, TAKING_UP - 1, lambda: None)

    def _take_over(self, h: int, pressing: float) -> bool:
        """Go on with what another who is away left lying, where that is done sooner so."""
        hand = self.model.hands[h]
        for g, held in enumerate(self.at_work):
            back = next((b for b, e in self.hours[g] if e > self.env.now), math.inf)
            if held is None or not self.env.now < back < held.end:
                continue
            line = self.model.lines[held.batch.line]
            key = held.batch.sequence * 4096 + self.rank[held.batch.line][held.local]
            if key >= pressing or not self._can(hand, line, line.steps[held.local]):
                continue
            left = self._book(g, held.end, 0)
            mine = (hand.name, line.product, line.steps[held.local].operation)
            known = self.goes[mine], self.last[mine]
            share = held.share * min(left / held.work, 1.0)
            new, lost = self._holding(h, held.batch, held.local, share)
            if new.end >= held.end:
                self.goes[mine], self.last[mine] = known
                continue
            self._book(g, held.end, -1)
            held.given_up, self.at_work[g], self.free[g] = True, None, True
            if not held.setting_up:
                self._practise(held, held.share - share)
            self.at(back, TAKING_UP - 1, lambda: None)
            self._set_to(h, new, lost)
            return True
        return False

    def _most_pressing(self, hand: Hand):
        best, least = None, math.inf
        for entry in self.ready:
            key, batch, local = entry
            if key >= least:
                continue
            line = self.model.lines[batch.line]
            step = line.steps[local]
            if not self._can(hand, line, step):
                continue
            if (
                step.station
                and local not in batch.set_up
                and self.used[step.station] >= self.model.stations[step.station]
            ):
                continue
            best, least = entry, key
        return best

    def _can(self, hand: Hand, line, step: Step) -> bool:
        return (
            (not step.workers or hand.name in step.workers)
            and (hand.operations is None or step.operation in hand.operations)
            and (hand.name, line.product, step.operation) in self.model.skills
        )

    def _begin_task(self, h: int, batch: Batch, local: int) -> bool:
        line = self.model.lines[batch.line]
        step = line.steps[local]
        if step.station and local not in batch.set_up:
            self.used[step.station] += 1
        again = False
        for before, _ in step.before:
            if before in batch.keeps:
                batch.keeps.remove(before)
                self._free_place(line.steps[before].station)
                again = True
        newest = batch.number == self.begun[batch.line] - 1
        if line.release == "always" and not step.before and newest:
            self._begin(batch.line)
            again = True
        self._set_to(h, *self._holding(h, batch, local, 1.0))
        return again

    def _set_to(self, h: int, held: Holding, lost: int) -> None:
        self.free[h], self.at_work[h] = False, held
        self._book(h, held.end, 1)
        self.env.process(self._task(h, held, lost))

    def _holding(self, h: int, batch: Batch, local: int, share: float):
        """(the task as this hand would do its share of it from now on, pieces lost)."""
        line, hand = self.model.lines[batch.line], self.model.hands[h]
        step = line.steps[local]
        setting_up = step.setup_wait_seconds > 0 and local not in batch.set_up
        key = (hand.name, line.product, step.operation)
        restart, lost = 0.0, 0
        if setting_up:
            seconds = share * step.setup_seconds
        else:
            setup = 0.0 if local in batch.set_up else step.setup_seconds
            seconds, restart, lost = self._pieces(key, line, step, batch, setup)
            if share < 1:
                seconds = restart + share * max(seconds - restart, 0.0)
        rest = 1 + self.model.rest_share
        end = self._done_at(h, seconds * rest, restart * rest)
        held = Holding(batch, local, share, seconds * rest, end, setting_up, key)
        return held, lost

    def _task(self, h: int, held: Holding, lost: int):
        """A hand's work on a step of a batch: a process, that another may take over."""
        if held.end == math.inf:
            return
        done = simpy.Event(self.env)
        done._ok, done._value = True, None
        self._schedule(done, held.end, ENDS)
        yield done
        if held.given_up:
            return
        batch, local = held.batch, held.local
        step = self.model.lines[batch.line].steps[local]
        self.free[h], self.at_work[h] = True, None
        if held.setting_up:
            batch.set_up.add(local)
            ready = self.env.now + step.setup_wait_seconds
            self.at(ready, WAITS, lambda: self._be_ready(batch, local))
        else:
            self._end_step(held, lost)
        self._wake()

    def _pieces(self, key, line, step: Step, batch: Batch, setup: float):
        """(seconds, seconds of a new start, pieces lost), drawn piece by piece."""
        skill, now = self.model.skills[key], self.env.now
        away = (now - self.last[key]) / WEEK_SECONDS
        if away > 1:
            self.goes[key] *= math.exp(math.log(max(skill.retention_per_week, 1e-9)) * away)
            self.last[key] = now
        goes = math.ceil(batch.pieces / step.pieces_at_once)
        scatter, fates, mending, of_batch, interrupted = self.chances.task(
            line, step, batch.number, skill, goes, batch.pieces
        )
        done, restart, total, usual = self.goes[key], skill.restart_effect, 0.0, 1.0
        constant = skill.curve == "constant"
        for go in range(goes):
            if not constant:
                usual = _shape(skill, done + go + 1.0)
            seconds = usual * scatter[go]
            if go < SLOW_GOES:
                seconds *= math.exp(restart)
                restart *= 0.5
            total += seconds
        lost, mended = 0, 0.0
        for piece, fate in enumerate(fates):
            if fate < step.scrap_chance:
                lost += 1
            elif fate < step.scrap_chance + step.rework_chance:
                mended += mending(piece)
        factor = skill.first_unit_seconds * step.time_factor * of_batch
        seconds = setup + (total * factor + mended * step.rework_seconds + step.transport_seconds)
        if self.model.delay_share > 0:
            seconds *= 1 + self.model.delay_share * interrupted
        return seconds, _cost_of_start(skill.restart_effect) * usual * factor, lost

    def _practise(self, held: Holding, share: float) -> None:
        step = self.model.lines[held.batch.line].steps[held.local]
        self.goes[held.key] += share * math.ceil(held.batch.pieces / step.pieces_at_once)
        self.last[held.key] = self.env.now

    def _end_step(self, held: Holding, lost: int) -> None:
        batch, local = held.batch, held.local
        step = self.model.lines[batch.line].steps[local]
        self._practise(held, held.share)
        lost = min(lost, batch.pieces)
        batch.pieces -= lost
        self.under_way[batch.line] -= lost
        self.figures["scrapped", self.week, batch.line] += lost
        if step.stays_until_taken:
            batch.keeps.add(local)
        elif step.station and step.wait_holds_station and step.wait_seconds > 0:
            until = self.env.now + step.wait_seconds
            self.at(until, WAITS, lambda: self._free_place(step.station))
        else:
            self._free_place(step.station)
        for then, wait in self.follows[batch.line][local]:
            batch.ready_at[then] = max(batch.ready_at[then], self.env.now + wait)
            batch.missing[then] -= 1
            if not batch.missing[then]:
                self.at(batch.ready_at[then], WAITS, lambda then=then: self._be_ready(batch, then))

    def _free_place(self, station: str) -> None:
        if station:
            self.used[station] -= 1

    def _be_ready(self, batch: Batch, local: int) -> None:
        steps = self.model.lines[batch.line].steps
        if local < len(steps):
            key = batch.sequence * 4096 + self.rank[batch.line][local]
            self.ready.append((key, batch, local))
            return
        for kept in batch.keeps:
            self._free_place(steps[kept].station)
        self.made[batch.line] += batch.pieces
        self.under_way[batch.line] -= batch.pieces
        self.open.remove(batch)
        self.figures["good", self.week, batch.line] += batch.pieces
        self.figures["finished", self.week, -1] += 1
        self.figures["lead_time", self.week, -1] += self.env.now - batch.released_at
        self.finished_at.append((batch.line, batch.number, self.env.now))

    # Stock, demand, new batches

    @property
    def week(self) -> int:
        """The week that has not been closed yet."""
        return self.closed

    def _demand_factor(self, week: int) -> float:
        factor = self.model.demand_factor
        return factor[min(week, len(factor) - 1)] if factor else 1.0

    def _due(self, n: int, week: int) -> float:
        return sum(o.pieces for o in self.model.orders if o.line == n and o.week == week)

    def _open_week(self, week: int) -> None:
        self.closed = week
        for n, line in enumerate(self.model.lines):
            mean = line.demand_per_week * self.factor[week]
            asked = self.chances.demand(line, week, mean, line.demand_spread)
            self.asked[n] = asked + self._due(n, week)

    def _close_week(self) -> None:
        for n, line in enumerate(self.model.lines):
            sold = self.made[n]
            if line.release != "orders":
                sold = min(self.stock[n] + self.made[n], self.asked[n])
                self.figures["lost_demand", self.week, n] = self.asked[n] - sold
                self.stock[n] += self.made[n] - sold
            self.made[n] = 0.0
            self.figures["sold", self.week, n] = sold
            self.figures["stock_end", self.week, n] = self.stock[n]
        if self.week + 1 < self.weeks:
            self._open_week(self.week + 1)
        else:
            raise simpy.core.StopSimulation(None)

    def _looks(self) -> list[float]:
        first: dict[int, float] = {}
        for begin, end in self.model.open_seconds:
            for day in range(int(begin // DAY), math.ceil(end / DAY)):
                first.setdefault(day, max(begin, day * DAY))
        return sorted(first.values())

    def _look(self) -> None:
        week = self.week
        elapsed = self.env.now / WEEK_SECONDS - week
        while len(self.open) < MOST_UNDER_WAY:
            covers = {}
            for n, line in enumerate(self.model.lines):
                wanted = line.cover_weeks * (line.demand_per_week * self.factor[week])
                ahead = [
                    order.pieces
                    for order in self.model.orders
                    if order.line == n
                    and max(order.week - order.known_weeks_before, 0) <= week < order.week
                ]
                wanted += sum(ahead) + self._due(n, week) * (1 - elapsed)
                if line.release == "stock" and wanted > 0:
                    have = max(self.stock[n] + self.made[n] - self.asked[n] * elapsed, 0.0)
                    covers[n] = (have + self.under_way[n]) / wanted
            if not covers or min(covers.values()) >= 1:
                return
            self._begin(min(covers, key=covers.get))

    def _next_order(self, n: int) -> None:
        line = self.model.lines[n]
        rate = line.demand_per_week * self.factor[self.week] / WEEK_SECONDS
        gap = self.chances.gap(line, self.orders_come[n], rate)

        def comes():
            self._begin(n)
            self.orders_come[n] += 1
            self._next_order(n)

        if gap < math.inf:
            self.at(self.env.now + gap, BEGINNING, comes)

    def _begin(self, n: int) -> None:
        line = self.model.lines[n]
        befores = [len(step.before) for step in line.steps]
        ends = sum(1 for row in self.follows[n] for then, _ in row if then == len(line.steps))
        batch = Batch(
            n, self.begun[n], self.sequence, line.batch_size, self.env.now,
            [*befores, ends], [self.env.now] * (len(befores) + 1),
        )  # fmt: skip
        self.begun[n] += 1
        self.sequence += 1
        self.under_way[n] += line.batch_size
        self.open.append(batch)
        self.figures["started", self.week, n] += line.batch_size
        for local, before in enumerate(befores):
            if not before:
                self._be_ready(batch, local)


def _shape(skill: Skill, n: float) -> float:
    b = skill.exponent
    if skill.curve == "unit":
        return n**b
    if skill.curve == "cumulative_average":
        return n ** (1 + b) - (n - 1) ** (1 + b)
    if skill.curve == "plateau":
        share = skill.plateau_seconds / skill.first_unit_seconds
        return share + (1 - share) * n**b
    return ((n + skill.prior_pieces) / (1 + skill.prior_pieces)) ** b


def _cost_of_start(restart: float) -> float:
    return sum(math.exp(restart * 0.5**go) - 1 for go in range(SLOW_GOES))
