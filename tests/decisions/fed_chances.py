"""The program's own random numbers, fed to the SimPy shop, so that both can be compared to the bit.

Only the hash (`draws.py`) is shared; which number is for what is written again here.
"""

from __future__ import annotations

import math

import numpy as np

from analysis.decisions import draws


class Fed:
    """The numbers of one run."""

    def __init__(self, seed: int, run: int):
        self.start = _stream(seed, run)

    def _line(self, line, start=None):
        code = draws.code_of(f"{line.product}|{line.variant}")
        return _stream(self.start if start is None else start, np.uint64(code))

    def task(self, line, step, number, skill, goes, pieces):
        code = np.uint64(draws.code_of(step.operation))
        task = _stream(_stream(self._line(line), code), number)
        bits = [_number_in(_stream(task, draws.TIME), go) for go in range(goes)]
        own = bits
        if step.pieces_at_once > 1:
            own = [_number_in(bits[p // step.pieces_at_once], p) for p in range(pieces)]
        faulty = step.scrap_chance + step.rework_chance > 0
        of_batch = draws.normal_of(_upper(_stream(task, draws.BATCH)))
        sd = skill.batch_log_sd
        return (
            [_scatter(skill, each) for each in bits],
            [_lower(each) for each in own] if faulty else [],
            lambda piece: _scatter(skill, _number_in(own[piece], 0)),
            math.exp(sd * of_batch - 0.5 * sd * sd),
            -math.log(_upper(_stream(task, draws.DELAY))),
        )

    def demand(self, line, week, mean, spread):
        bits = _number_in(self._line(line, _stream(self.start, draws.DEMAND)), week)
        p = _upper(bits)
        if mean <= 0 or spread == 0:
            return max(mean, 0.0)
        if spread == 1.0 and mean < 200:
            pieces, chance = 0, math.exp(-mean)
            below = chance
            while below < p:
                pieces += 1
                chance *= mean / pieces
                below += chance
            return float(pieces)
        return max(0.0, math.floor(mean + math.sqrt(spread * mean) * draws.normal_of(p) + 0.5))

    def gap(self, line, number, rate):
        bits = _number_in(self._line(line, _stream(self.start, draws.ARRIVAL)), number)
        return -math.log(_upper(bits)) / rate if rate > 0 else math.inf


def _stream(parent, number):
    return np.uint64(draws.stream(np.uint64(parent), np.uint64(number)))


def _number_in(start, k):
    return np.uint64(draws.number_in(np.uint64(start), np.uint64(k)))


def _upper(bits):
    return draws.upper(np.uint64(bits))


def _lower(bits):
    return draws.lower(np.uint64(bits))


def _scatter(skill, bits):
    sd = skill.piece_log_sd
    if skill.scatter == "lognormal":
        return math.exp(sd * draws.normal_of(_upper(bits)) - 0.5 * sd * sd)
    if skill.scatter == "exponential":
        return -math.log(_upper(bits))
    return 1.0
