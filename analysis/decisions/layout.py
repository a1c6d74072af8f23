"""From the shop's model to what the kernel reads: the floor record, hours, demand, parameters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import numpy as np

from analysis.decisions.compiling import compiled
from analysis.decisions.draws import PARAMETER, code_of, normal_draws
from analysis.decisions.floor import SIZES, SLOW_GOES, fits, floor_dtype
from analysis.decisions.hours import DAY_SECONDS, stretches_of
from analysis.decisions.naming import (
    INTERRUPTIONS,
    demand_name,
    forgetting_name,
    skill_name,
    step_name,
)
from analysis.decisions.practice import shape
from analysis.decisions.shop_model import CURVES, RELEASES, SCATTERS, Line, ShopModel, Skill, Step

CALENDAR = np.dtype([("demand", "f8"), ("orders_now", "f8"), ("orders_ahead", "f8")], align=True)


class Layout(NamedTuple):
    """A model over so many weeks, as arrays; all but `parameters_of` that the kernel is given."""

    floors: np.ndarray  # the record, in an array of one
    stretches: np.ndarray  # (hands, n) hours at the bench
    calendar: np.ndarray  # (lines, weeks) of CALENDAR
    looks: np.ndarray  # seconds of the week at which stock is looked at


class Parameters(NamedTuple):
    """The figures that may be in doubt: one row a run."""

    level: np.ndarray  # (runs, skills) mean seconds of go 1
    exponent: np.ndarray
    loss: np.ndarray  # of log experience in a week away
    time_factor: np.ndarray  # (runs, steps)
    setup_factor: np.ndarray
    rework_chance: np.ndarray
    scrap_chance: np.ndarray
    demand_factor: np.ndarray  # (runs, lines)
    delay_share: np.ndarray  # (runs, 1)


def layout_of(model: ShopModel, weeks: int, at_least: int = SIZES[0]) -> Layout:
    """The arrays of a model; at_least: size of the record (its lists were too short before)."""
    size = next(size for size in SIZES if size >= at_least and fits(model, size))
    floors = np.zeros(1, floor_dtype(size))
    shop = floors[0]
    _set_steps(shop, model)
    _set_lines(shop, model)
    _set_skills(shop, model)
    stations = shop["stations"]["places"]
    stations[: len(model.stations)] = list(model.stations.values())
    shop["station_count"], shop["hand_count"] = len(model.stations), len(model.hands)
    shop["slots"], shop["rest_share"] = len(shop["batches"]), model.rest_share
    return Layout(floors, stretches_of(model, weeks), _calendar(model, weeks), _looks(model))


def _set_steps(shop: np.void, model: ShopModel) -> None:
    """All steps in one row, each line's end behind its last."""
    rows, first_step = _steps_and_ends(model.lines)
    after, first_after, wait, befores = _followers(model.lines, first_step)
    stations = list(model.stations)
    steps = shop["steps"][: len(rows)]
    for place, step in enumerate(rows):
        steps[place]["station"] = -1
        steps[place]["pieces_at_once"] = 1
        if step is None:
            continue
        own = steps[place]
        own["code"] = code_of(step.operation)
        own["is_first"] = not step.before
        own["station"] = stations.index(step.station) if step.station else -1
        own["held_wait"] = step.wait_seconds if step.wait_holds_station else 0.0
        own["stays"] = step.stays_until_taken
        own["pieces_at_once"] = step.pieces_at_once
        own["setup"], own["setup_wait"] = step.setup_seconds, step.setup_wait_seconds
        own["transport"], own["rework_seconds"] = step.transport_seconds, step.rework_seconds
    steps["rank"] = _ranks(model, first_step)
    steps["befores"] = befores
    steps["first_after"], steps["afters"] = first_after[:-1], np.diff(first_after)
    shop["followers"]["step"][: len(after)] = after
    shop["followers"]["wait"][: len(after)] = wait
    shop["step_count"] = len(rows)


def _set_lines(shop: np.void, model: ShopModel) -> None:
    _, first_step = _steps_and_ends(model.lines)
    for place, line in enumerate(model.lines):
        own = shop["lines"][place]
        own["code"] = code_of(f"{line.product}|{line.variant}")
        own["first_step"], own["end"] = first_step[place], first_step[place + 1] - 1
        own["batch_size"], own["release"] = line.batch_size, RELEASES.index(line.release)
        own["stock_at_first"], own["cover_weeks"] = line.stock, line.cover_weeks
        own["demand_spread"] = line.demand_spread
    shop["line_count"] = len(model.lines)


def _set_skills(shop: np.void, model: ShopModel) -> None:
    keys = list(model.skills)
    for place, skill in enumerate(model.skills.values()):
        own = shop["skills"][place]
        own["curve"], own["scatter"] = CURVES.index(skill.curve), SCATTERS.index(skill.scatter)
        own["prior"], own["experience"] = skill.prior_pieces, skill.experience
        if skill.first_unit_seconds > 0:
            own["plateau_share"] = skill.plateau_seconds / skill.first_unit_seconds
        slowness = np.exp(skill.restart_effect * 0.5 ** np.arange(SLOW_GOES))
        own["slowness"], own["cost_of_start"] = slowness, (slowness - 1.0).sum()
        own["piece_log_sd"], own["batch_log_sd"] = skill.piece_log_sd, skill.batch_log_sd
    shop["skill_count"] = len(keys)
    places = _skill_places(model, keys)
    shop["skill_of"][:] = -1
    shop["skill_of"][: places.shape[0], : places.shape[1]] = places


def _codes(names: list[str]) -> np.ndarray:
    return np.array([code_of(name) for name in names], np.uint64)


def _steps_and_ends(lines: tuple[Line, ...]) -> tuple[list[Step | None], np.ndarray]:
    """(all steps, None standing for a line's end; the first step of each line)."""
    rows, first = [], [0]
    for line in lines:
        rows += [*line.steps, None]
        first.append(len(rows))
    return rows, np.array(first, np.int64)


def _followers(
    lines: tuple[Line, ...], first_step: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Who follows whom, as rows of one array: (after, first_after, wait, befores)."""
    follows: list[list[tuple[int, float]]] = [[] for _ in range(first_step[-1])]
    befores = np.zeros(first_step[-1], np.int64)
    for line, first in zip(lines, first_step, strict=False):
        end = first + len(line.steps)
        for place, step in enumerate(line.steps):
            befores[first + place] = len(step.before)
            for before, wait in step.before:
                follows[first + before].append((first + place, wait))
        for place, step in enumerate(line.steps):
            if not follows[first + place]:
                follows[first + place].append((end, step.wait_seconds))
                befores[end] += 1
    first_after = np.concatenate([[0], np.cumsum([len(row) for row in follows])])
    pairs = [pair for row in follows for pair in row]
    after = np.array([place for place, _ in pairs], np.int64)
    return after, first_after.astype(np.int64), np.array([w for _, w in pairs], float), befores


def _ranks(model: ShopModel, first_step: np.ndarray) -> np.ndarray:
    """The order in which the steps of a batch are taken up: longest way to the end first.

    way = own seconds for a batch + the longest (wait + way) of what follows; own seconds as the
    quickest hand would take at first.
    """
    ranks = np.zeros(first_step[-1], np.int64)
    for line, first in zip(model.lines, first_step, strict=False):
        way = np.array([_own_seconds(model, line, step) for step in line.steps])
        for place in range(len(line.steps) - 1, -1, -1):
            behind = [
                wait + way[later]
                for later, step in enumerate(line.steps)
                for before, wait in step.before
                if before == place
            ]
            way[place] += max(behind, default=line.steps[place].wait_seconds)
        order = np.argsort(-way, kind="stable")
        ranks[first + order] = np.arange(len(order))
        ranks[first + len(order)] = len(order)
    return ranks


def _own_seconds(model: ShopModel, line: Line, step: Step) -> float:
    goes = -(-line.batch_size // step.pieces_at_once)
    known = [
        skill.first_unit_seconds
        for hand in model.hands
        if (skill := model.skills.get((hand.name, line.product, step.operation)))
    ]
    each = min(known, default=0.0) * step.time_factor
    return goes * each + step.setup_seconds + step.setup_wait_seconds + step.transport_seconds


def _skill_places(model: ShopModel, keys: list) -> np.ndarray:
    place = {key: k for k, key in enumerate(keys)}
    rows = []
    for hand in model.hands:
        row = []
        for line in model.lines:
            for step in line.steps:
                may = not step.workers or hand.name in step.workers
                may &= hand.operations is None or step.operation in hand.operations
                key = (hand.name, line.product, step.operation)
                row.append(place.get(key, -1) if may else -1)
            row.append(-1)
        rows.append(row)
    return np.array(rows, np.int64).reshape(len(model.hands), -1)


def _calendar(model: ShopModel, weeks: int) -> np.ndarray:
    """(lines, weeks) of CALENDAR: expected demand, big orders due, and those known and to come."""
    calendar = np.zeros((len(model.lines), weeks), CALENDAR)
    factor = np.ones(weeks)
    if model.demand_factor:
        given = np.array(model.demand_factor, float)
        factor = given[np.minimum(np.arange(weeks), len(given) - 1)]
    calendar["demand"] = np.outer([line.demand_per_week for line in model.lines], factor)
    for order in model.orders:
        if order.week < weeks:
            calendar["orders_now"][order.line, order.week] += order.pieces
        known = max(order.week - order.known_weeks_before, 0)
        calendar["orders_ahead"][order.line, known : order.week] += order.pieces
    return calendar


def _looks(model: ShopModel) -> np.ndarray:
    """When stock is looked at: each open day at opening time."""
    first: dict[int, float] = {}
    for begin, end in model.open_seconds:
        for day in range(int(begin // DAY_SECONDS), int(-(-end // DAY_SECONDS))):
            first.setdefault(day, max(begin, day * DAY_SECONDS))
    return np.array(sorted(first.values()) or [0.0])


def parameters_of(
    model: ShopModel, seed: int, first_run: int, runs: int, as_is: Callable = lambda f: f
) -> tuple[Parameters, dict[str, np.ndarray]]:
    """The parameters of each run, and the draws behind them by name (standard normal).

    A doubtful figure is figure x exp(doubt z), z one standard normal draw for each run and name; a
    chance p is drawn on the scale of its odds; of a skill the level holds at present experience.
    as_is: what compiled functions are called through (`plain.plain` where nothing is compiled).
    """
    doubts = doubts_of(model)
    drawn = as_is(normal_draws)(seed, first_run, runs, PARAMETER, _codes(list(doubts)))
    draws = dict(zip(doubts, drawn.T, strict=True))
    draws |= {name: np.full(runs, z) for name, z in model.held if name in draws}
    moves = _Moves(model, runs, doubts, draws)
    level, exponent, loss = _skill_parameters(model, moves, as_is)
    names, steps = zip(*_step_names(model), strict=True) if model.lines else ((), ())
    factor = np.array([step.time_factor if step else 1.0 for step in steps])
    parameters = Parameters(
        level=level,
        exponent=exponent,
        loss=loss,
        time_factor=factor * np.exp(moves.of([name("machine") for name in names])),
        setup_factor=np.exp(moves.of([name("setup") for name in names])),
        rework_chance=_chances("rework", names, steps, moves),
        scrap_chance=_chances("scrap", names, steps, moves),
        demand_factor=np.exp(
            moves.of([demand_name(line.product, line.variant) for line in model.lines])
        ),
        delay_share=model.delay_share * np.exp(moves.of([INTERRUPTIONS])),
    )
    return Parameters(*map(np.ascontiguousarray, parameters)), draws


@dataclass(frozen=True)
class _Moves:
    """What the draws of each run add to the log of each figure."""

    model: ShopModel
    runs: int
    doubts: dict[str, float]
    draws: dict[str, np.ndarray]

    def of(self, names: list[str]) -> np.ndarray:
        """(runs, names), 0 where there is no doubt."""
        moves = np.zeros((self.runs, len(names)))
        for place, name in enumerate(names):
            if name in self.draws:
                moves[:, place] = self.draws[name] * self.doubts[name]
            for shared in self.model.shared_doubts:
                if name in shared.figures and shared.name in self.draws:
                    moves[:, place] += self.draws[shared.name] * shared.doubt
        return moves


def _skill_parameters(
    model: ShopModel, moves: _Moves, as_is: Callable
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(level, exponent, loss), each (runs, skills)."""
    skills, keys = list(model.skills.values()), list(model.skills)
    exponent = np.array([skill.exponent for skill in skills])
    moved = exponent + moves.of([skill_name("practice", key) for key in keys])
    turned = np.where(exponent < 0, np.minimum(moved, 0.0), exponent)
    level = np.array([skill.first_unit_seconds for skill in skills])
    level = level * np.exp(moves.of([skill_name("time", key) for key in keys]))
    level = level * _turning(skills, exponent, turned, as_is)
    kept = np.array([skill.retention_per_week for skill in skills])
    loss = -np.log(np.clip(kept, 1e-9, 1.0)) + moves.of([forgetting_name(key[0]) for key in keys])
    return level, turned, np.maximum(loss, 0.0)


def _chances(
    kind: str, names: Sequence[Callable[[str], str]], steps: Sequence[Step | None], moves: _Moves
) -> np.ndarray:
    """(runs, steps): p / (1 - p) moved, and back."""
    value = np.array([getattr(step, f"{kind}_chance") if step else 0.0 for step in steps])
    odds = value / np.maximum(1 - value, 1e-12) * np.exp(moves.of([name(kind) for name in names]))
    return odds / (1 + odds)


def _step_names(model: ShopModel) -> list[tuple[Callable[[str], str], Step | None]]:
    """(kind -> name of the draw, step) of all steps, None standing for a line's end."""
    rows: list[tuple[Callable[[str], str], Step | None]] = []
    for line in model.lines:
        for step in (*line.steps, None):
            operation = step.operation if step else ""
            rows.append((partial(_step_name, operation, line.product), step))
    return rows


def _step_name(operation: str, product: str, kind: str) -> str:
    return step_name(kind, operation, product)


def doubts_of(model: ShopModel) -> dict[str, float]:
    """name -> doubt of every figure in doubt: standard deviation of its log, or of its log odds."""
    doubts = {INTERRUPTIONS: model.delay_doubt}
    for key, skill in model.skills.items():
        doubts[skill_name("time", key)] = skill.level_doubt
        doubts[skill_name("practice", key)] = skill.exponent_doubt
        doubts[forgetting_name(key[0])] = skill.loss_doubt
    for name, step in _step_names(model):
        if step:
            doubts[name("rework")] = step.rework_doubt
            doubts[name("scrap")] = step.scrap_doubt
            doubts[name("setup")] = step.setup_doubt
            doubts[name("machine")] = step.time_factor_doubt
    for line in model.lines:
        doubts[demand_name(line.product, line.variant)] = line.demand_doubt
    doubts |= {doubt.name: doubt.doubt for doubt in model.shared_doubts}
    return {name: doubt for name, doubt in doubts.items() if doubt > 0}


def _turning(
    skills: list[Skill], exponent: np.ndarray, turned: np.ndarray, as_is: Callable
) -> np.ndarray:
    """What the level of go 1 is multiplied by when the curve turns about present experience."""
    if not len(skills):
        return np.ones(turned.shape)
    given = [
        (CURVES.index(s.curve), s.experience, s.prior_pieces,
         s.plateau_seconds / s.first_unit_seconds if s.first_unit_seconds > 0 else 0.0)
        for s in skills
    ]  # fmt: skip
    curve, experience, prior, plateau_share = np.transpose(given)
    return as_is(_ratio_at_present)(
        curve.astype(np.int64), np.ascontiguousarray(experience),
        np.ascontiguousarray(plateau_share), np.ascontiguousarray(prior),
        np.ascontiguousarray(np.broadcast_to(exponent, turned.shape)),
        np.ascontiguousarray(turned),
    )  # fmt: skip


@compiled
def _ratio_at_present(
    curve: np.ndarray,
    experience: np.ndarray,
    plateau_share: np.ndarray,
    prior: np.ndarray,
    exponent: np.ndarray,
    turned: np.ndarray,
) -> np.ndarray:
    ratio = np.ones(turned.shape)
    for k in range(turned.shape[1]):
        now = experience[k] + 1.0
        for i in range(turned.shape[0]):
            if turned[i, k] != exponent[i, k]:
                before = shape(curve[k], now, exponent[i, k], plateau_share[k], prior[k])
                after = shape(curve[k], now, turned[i, k], plateau_share[k], prior[k])
                ratio[i, k] = before / after
    return ratio
