"""Learning curves: the mean time of the n-th piece, and the exact mean over the pieces of a lap.

==================  =========================================  ================================
curve               mean time of piece n                       source
==================  =========================================  ================================
unit                a n^b                                      Crawford 1944
cumulative_average  n A(n) - (n-1) A(n-1), A(n) = a n^b        Wright 1936
plateau             c + (a - c) n^b                            de Jong 1957
prior               a ((n + B) / (1 + B))^b                    Stanford-B, Asher 1956
constant            a                                          no practice
==================  =========================================  ================================

In every one of them a is the time of the first piece and 2^b the learning rate: 0.8 is an "80 %
curve", on which each doubling of the pieces made takes a fifth off the time.

Pieces before a lap (experience) need not be whole: time away takes some of it back.
"""

from __future__ import annotations

import numpy as np

from analysis.study.frames import Number

CURVES = ("constant", "unit", "cumulative_average", "plateau", "prior")

_SUMMED_ONE_BY_ONE = 8  # pieces n <= 8; past them the Euler-Maclaurin series is good to 1e-10


def learning_rate_of(exponent: Number) -> Number:
    """Learning rate = 2^b: what is left of the time after a doubling of the pieces made."""
    return np.exp2(exponent)


def power_sum(experience: Number, pieces: Number, exponent: Number) -> np.ndarray:
    """Sum of n^b over the pieces n = E+1 ... E+k of a lap, for arrays of laps at once.

    experience: pieces done before (E >= 0, need not be whole); pieces: k >= 1, whole;
    exponent: b. Arrays broadcast. Past the 8th piece the sum is the Euler-Maclaurin series at
    the mid-points (Abramowitz & Stegun 1964, 23.1.30 and 25.4.2, halves):
        integral of x^b from E+1/2 to E+k+1/2  - f'/24 + 7 f'''/5760 - 31 f^(5)/967680 + ...
    each term taken between the two ends; its relative error is below 1e-10 for -2 <= b <= 1.
    """
    experience, pieces, exponent = np.broadcast_arrays(
        *(np.asarray(x, float) for x in (experience, pieces, exponent))
    )
    total = np.empty(experience.shape)
    single = pieces == 1
    total[single] = (experience[single] + 1) ** exponent[single]
    many = ~single
    if many.any():
        total[many] = _sum_of_many(experience[many], pieces[many], exponent[many])
    return total


def _sum_of_many(experience: np.ndarray, pieces: np.ndarray, exponent: np.ndarray) -> np.ndarray:
    head = np.clip(np.ceil(_SUMMED_ONE_BY_ONE - experience), 0, pieces)
    total = np.zeros(experience.shape)
    for j in range(1, int(head.max(initial=0)) + 1):
        here = head >= j
        total[here] += (experience[here] + j) ** exponent[here]
    tail = pieces > head
    total[tail] += _euler_maclaurin(
        experience[tail] + head[tail] + 0.5, experience[tail] + pieces[tail] + 0.5, exponent[tail]
    )
    return total


def _euler_maclaurin(low: np.ndarray, high: np.ndarray, b: np.ndarray) -> np.ndarray:
    ratio = np.log(high / low)
    integral = low ** (b + 1) * ratio * _expm1_over((b + 1) * ratio)
    return integral + _end_terms(high, b) - _end_terms(low, b)


def _expm1_over(z: np.ndarray) -> np.ndarray:
    """(e^z - 1) / z, 1 at z = 0."""
    safe = np.where(np.abs(z) < 1e-12, 1.0, z)
    return np.where(np.abs(z) < 1e-12, 1 + z / 2, np.expm1(safe) / safe)


def _end_terms(x: np.ndarray, b: np.ndarray) -> np.ndarray:
    """-f'/24 + 7 f'''/5760 - 31 f^(5)/967680 + 127 f^(7)/154828800 of f = x^b."""
    inverse_square = 1 / (x * x)
    first = b * x ** (b - 1)
    third = first * (b - 1) * (b - 2) * inverse_square
    fifth = third * (b - 3) * (b - 4) * inverse_square
    seventh = fifth * (b - 5) * (b - 6) * inverse_square
    return -first / 24 + 7 * third / 5760 - 31 * fifth / 967680 + 127 * seventh / 154828800


def power_mean(experience: Number, pieces: Number, exponent: Number) -> np.ndarray:
    """Mean of n^b over the pieces E+1 ... E+k of a lap; numbers, or arrays of one shape."""
    return power_sum(experience, pieces, exponent) / pieces


def lot_midpoint(experience: Number, pieces: Number, exponent: Number) -> np.ndarray:
    """The piece whose time is the mean time of the lot: m^b = mean of n^b over its pieces.

    The exact midpoint; hand calculation takes the integral alone for the sum (Asher 1956). At
    b = 0 it is the geometric mean, the limit as b goes to 0.
    """
    b = np.where(np.abs(exponent) < 1e-6, -1e-6, exponent)
    return power_mean(experience, pieces, b) ** (1 / b)


def shape(
    curve: str,
    experience: Number,
    pieces: Number,
    exponent: Number,
    plateau_fraction: Number = 0.0,
    prior_pieces: Number = 0.0,
) -> np.ndarray:
    """Mean time of a lap's pieces E+1 ... E+k, as a multiple of the time a of the first piece.

    unit: mean n^b; cumulative_average: ((E+k)^(1+b) - E^(1+b)) / k; plateau: f + (1-f) mean n^b
    with f = c/a; prior: mean (n+B)^b / (1+B)^b; constant: 1.
    """
    if curve == "constant":
        return np.ones(np.broadcast(experience, pieces).shape)
    if curve == "cumulative_average":
        end = experience + pieces
        return (end ** (1 + exponent) - experience ** (1 + exponent)) / pieces
    if curve == "prior":
        mean_power = power_mean(experience + prior_pieces, pieces, exponent)
        return mean_power / (1 + np.asarray(prior_pieces)) ** exponent
    mean_power = power_mean(experience, pieces, exponent)
    if curve == "plateau":
        return plateau_fraction + (1 - plateau_fraction) * mean_power
    return mean_power


def piece_seconds(
    curve: str,
    n: Number,
    first_unit_seconds: Number,
    exponent: Number,
    plateau_seconds: Number = 0.0,
    prior_pieces: Number = 0.0,
) -> np.ndarray:
    """Mean seconds of piece n (n >= 1) on a curve: first_unit_seconds x `shape`."""
    fraction = plateau_seconds / first_unit_seconds
    return first_unit_seconds * shape(
        curve, np.asarray(n, float) - 1, np.ones(np.shape(n)), exponent, fraction, prior_pieces
    )


def pieces_until_near_plateau(
    first_unit_seconds: Number, plateau_seconds: Number, exponent: Number, within: float = 0.05
) -> Number:
    """Pieces n after which c + (a - c) n^b <= (1 + within) c: n = ((a - c) / (within c))^(-1/b)."""
    excess = (first_unit_seconds - plateau_seconds) / (within * plateau_seconds)
    return np.maximum(excess, 1.0) ** (-1 / exponent)
