"""Random numbers by what they are for: each is a function of its name and place, not of its turn.

A draw is the value of a hash of (seed, run, what, line, step, batch, piece). So the shop before a
change and the shop after it meet the same demand, the same slow pieces and the same faults
wherever they do the same thing (common random numbers; Law, Simulation Modeling and Analysis,
chapter on variance reduction), whatever else happens in between; and one run gives the same bits
on any machine, alone or among a thousand.

The hash is the finaliser of SplitMix64 (Steele, Lea & Flood 2014; constants of Stafford's mix 13):
a stream is a hashed start, its k-th number the mix of start + k golden ratios.
"""

from __future__ import annotations

import hashlib
import math

import numpy as np

from analysis.decisions.compiling import compiled

TIME, BATCH, DELAY, DEMAND, ARRIVAL, PARAMETER = range(1, 7)

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_FIRST = np.uint64(0xBF58476D1CE4E5B9)
_SECOND = np.uint64(0x94D049BB133111EB)
_27, _30, _31, _32 = (np.uint64(n) for n in (27, 30, 31, 32))
_LOW = np.uint64(0xFFFFFFFF)
_ONE = np.uint64(1)
_2_TO_MINUS_32 = 2.0**-32
CENTRAL = 0.47575


def code_of(name: str) -> int:
    """A number for a name, the same on every machine (Python's own hash changes with each run)."""
    return int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest(), "little")


@compiled
def mixed(x: np.uint64) -> np.uint64:
    """64 bits stirred so that each bit of the input turns over half of the output."""
    x = (x ^ (x >> _30)) * _FIRST
    x = (x ^ (x >> _27)) * _SECOND
    return x ^ (x >> _31)


@compiled
def stream(parent: int | np.uint64, number: int | np.uint64) -> np.uint64:
    """The start of the stream `number` within the stream `parent`; both uint64."""
    return mixed(mixed(np.uint64(parent) + _GOLDEN * (np.uint64(number) + _ONE)))


@compiled
def number_in(start: np.uint64, k: int) -> np.uint64:
    """The k-th number of a stream (k = 0, 1, …), uint64."""
    return mixed(np.uint64(start) + _GOLDEN * (np.uint64(k) + _ONE))


@compiled
def upper(bits: np.uint64) -> float:
    """A uniform number in (0, 1) from the upper half of the bits."""
    return (np.float64(np.uint64(bits) >> _32) + 0.5) * _2_TO_MINUS_32


@compiled
def lower(bits: np.uint64) -> float:
    """A uniform number in (0, 1) from the lower half of the bits."""
    return (np.float64(np.uint64(bits) & _LOW) + 0.5) * _2_TO_MINUS_32


@compiled
def normal_of(p: float) -> float:
    """The standard normal quantile of p in (0, 1), to 1.2e-9 relative."""
    if abs(p - 0.5) <= CENTRAL:
        return central_normal_of(p)
    return _tail(p, p - 0.5)


@compiled
def central_normal_of(p: float) -> float:
    """The same where |p - 0.5| <= CENTRAL, and no number of meaning elsewhere: the central part of
    P. J. Acklam's algorithm, which covers all but a twentieth."""
    q = p - 0.5
    r = q * q
    return q * (
        ((((-39.69683028665376 * r + 220.9460984245205) * r - 275.9285104469687) * r
        + 138.3577518672690) * r - 30.66479806614716) * r + 2.506628277459239
    ) / (
        ((((-54.47609879822406 * r + 161.5858368580409) * r - 155.6989798598866) * r
        + 66.80131188771972) * r - 13.28068155288572) * r + 1.0
    )  # fmt: skip


@compiled
def _tail(p: float, q: float) -> float:
    """The tails of algorithm AS 241 (Wichura 1988), PPND16."""
    r = math.sqrt(-math.log(p if q < 0 else 1.0 - p))
    if r <= 5.0:
        r -= 1.6
        value = (
            ((((((7.7454501427834140764e-4 * r + 0.0227238449892691845833) * r
            + 0.24178072517745061177) * r + 1.27045825245236838258) * r
            + 3.64784832476320460504) * r + 5.7694972214606914055) * r
            + 4.6303378461565452959) * r + 1.42343711074968357734
        ) / (
            ((((((1.05075007164441684324e-9 * r + 5.475938084995344946e-4) * r
            + 0.0151986665636164571966) * r + 0.14810397642748007459) * r
            + 0.68976733498510000455) * r + 1.6763848301838038494) * r
            + 2.05319162663775882187) * r + 1.0
        )  # fmt: skip
    else:
        r -= 5.0
        value = (
            ((((((2.01033439929228813265e-7 * r + 2.71155556874348757815e-5) * r
            + 0.0012426609473880784386) * r + 0.026532189526576123093) * r
            + 0.29656057182850489123) * r + 1.7848265399172913358) * r
            + 5.4637849111641143699) * r + 6.6579046435011037772
        ) / (
            ((((((2.04426310338993978564e-15 * r + 1.4215117583164458887e-7) * r
            + 1.8463183175100546818e-5) * r + 7.868691311456132591e-4) * r
            + 0.0148753612908506148525) * r + 0.13692988092273580531) * r
            + 0.59983220655588793769) * r + 1.0
        )  # fmt: skip
    return -value if q < 0 else value


@compiled
def small_exp(x: float) -> float:
    """exp(x) for |x| <= 4 to 2e-10 relative, in plain arithmetic, which a processor does several
    at a time: the series of exp(x / 8) to the tenth power, thrice squared."""
    y = 0.125 * x
    power = 1.0 + y * 0.1
    for k in range(9, 0, -1):
        power = 1.0 + y * (1.0 / k) * power
    power *= power
    power *= power
    return power * power


@compiled
def normal_draws(seed: int, first_run: int, runs: int, what: int, codes: np.ndarray) -> np.ndarray:
    """Standard normal draws (runs, codes) of named parameters: one of each name for each run."""
    drawn = np.empty((runs, len(codes)))
    for i in range(runs):
        start = stream(stream(np.uint64(seed), first_run + i), what)
        for j in range(len(codes)):
            drawn[i, j] = normal_of(upper(stream(start, codes[j])))
    return drawn
