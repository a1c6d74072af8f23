"""What a task takes, drawn piece by piece: times on the worker's curve, mending, losses.

Pieces are drawn in blocks, one kind of number after the other, so that a processor can do several
at a time.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.decisions.compiling import compiled
from analysis.decisions.draws import (
    BATCH,
    CENTRAL,
    TIME,
    central_normal_of,
    lower,
    normal_of,
    number_in,
    small_exp,
    stream,
    upper,
)
from analysis.decisions.floor import BLOCK, EXPONENTIAL, LOGNORMAL, SLOW_GOES
from analysis.decisions.practice import (
    CONSTANT,
    CUMULATIVE_AVERAGE,
    FAR,
    PLATEAU,
    PRIOR,
    growth,
)

SMALL_SD = 0.6  # |sd z - sd^2 / 2| < 4, since |z| < 6.4 for a chance of 32 bits


@compiled
def pieces_seconds(
    shop: np.record, skill: np.record, step: np.record, code: np.uint64, pieces: int
) -> tuple[float, float, int]:
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
def usual_of_goes(
    shop: np.record, n: float, c: float, share: float, scale: float, count: int
) -> None:
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
def curve_at(skill: np.record) -> tuple[float, float, float, float]:
    """(n, c, f, s) at which the skill's curve stands: its k-th go from now takes
    (f + (1 - f) (n + k)^c) s of the first ever, and where c > 0, which is on a cumulative average,
    (n + k + 1)^c - (n + k)^c; k = 0, 1, …; see `practice.shape`."""
    if skill.curve == CUMULATIVE_AVERAGE:
        return skill.goes, 1.0 + skill.exponent, 0.0, 1.0
    prior = skill.prior if skill.curve == PRIOR else 0.0
    share = skill.plateau_share if skill.curve == PLATEAU else 0.0
    return skill.goes + 1.0 + prior, skill.exponent, share, (1.0 + prior) ** -skill.exponent


@compiled
def scatter_of_goes(
    shop: np.record, kind: int, sd: float, times: np.uint64, first: int, count: int
) -> None:
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
def _faults(
    shop: np.record, skill: np.record, step: np.record, first: int, count: int, pieces: int
) -> tuple[int, float]:
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
def _scatter(kind: int, sd: float, bits: np.uint64) -> float:
    """A factor of mean 1: exp(sd z - sd^2 / 2), or exponential, or 1."""
    if kind == LOGNORMAL:
        return math.exp(sd * normal_of(upper(bits)) - 0.5 * sd * sd)
    if kind == EXPONENTIAL:
        return -math.log(upper(bits))
    return 1.0


@compiled
def _scatter_of_batch(sd: float, code: np.uint64) -> float:
    return math.exp(sd * normal_of(upper(stream(code, BATCH))) - 0.5 * sd * sd)
