"""Thin data: what a shop's other operations, and published studies, say of one with few laps.

Learning rates of 108 manufacturing studies lie mostly between 70 and 95 %, most often at 81-82 %
(Dutton & Thomas 1984, Academy of Management Review 9(2); figures from memory). As a normal
spread of the exponent b = log2(rate) that is a centre of log2(0.82) = -0.29 and a standard
deviation of 0.15: rates from 67 to 100 % in 95 of 100.

The spread between operations is taken from there and not estimated: two workers, or a dozen
operations, cannot tell a variance. Only its centre moves with what the shop itself shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

PUBLISHED_EXPONENT = np.log2(0.82)
PUBLISHED_SPREAD = 0.15
LAP_NOISE = 0.25  # where no cell can tell: common practice, no source
NOISE_FREEDOM = 4.0


@dataclass(frozen=True)
class ExponentGuess:
    """A normal guess at the exponent of an operation not yet seen enough."""

    exponent: float
    deviation: float
    cells: int  # of the shop's own that stand behind it


def guess_at_exponent(exponent: np.ndarray, error: np.ndarray) -> ExponentGuess:
    """The guess for a new operation, from the shop's exponents b_i with standard errors e_i.

    exponent, error: over cells, NaN where not told; such cells are left out.
    Centre: mean of the published value (variance s^2) and the b_i (variance e_i^2 + s^2), each
    weighed by 1 / variance; the guess has variance s^2 + 1 / (sum of weights).
    """
    known = np.isfinite(exponent) & np.isfinite(error)
    variance = np.append(error[known] ** 2, 0.0) + PUBLISHED_SPREAD**2
    values = np.append(exponent[known], PUBLISHED_EXPONENT)
    weight = 1 / variance
    centre = float((weight * values).sum() / weight.sum())
    deviation = float(np.sqrt(PUBLISHED_SPREAD**2 + 1 / weight.sum()))
    return ExponentGuess(centre, deviation, int(known.sum()))


def pooled_noise(variance: np.ndarray, freedom: np.ndarray) -> float:
    """Lap variance sigma^2 of the shop: of all cells together, by their degrees of freedom."""
    known = np.isfinite(variance) & (freedom > 0)
    if not known.any():
        return LAP_NOISE**2
    return float(np.average(variance[known], weights=freedom[known]))


def shrunk_noise(
    variance: np.ndarray, freedom: np.ndarray, pooled: float
) -> tuple[np.ndarray, np.ndarray]:
    """sigma^2 of a cell and its degrees of freedom, the pooled one counting as NOISE_FREEDOM.

    (d0 s0^2 + d s^2) / (d0 + d), Smyth 2004 (d0 fixed).
    """
    own = np.where(np.isfinite(variance), variance, 0.0)
    total = freedom + NOISE_FREEDOM
    return (NOISE_FREEDOM * pooled + freedom * own) / total, total


def by_operation(
    likelihood: np.ndarray, about: np.ndarray, spread: np.ndarray, operation: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """What the cells of one operation tell of each other, of a thing that has one of a few kinds.

    likelihood: (kinds, cells), of the cell's laps; about: (kinds, kinds), chance K(l | o) of kind l
    in a cell of an operation of kind o; spread: (kinds,), weights of operations before; operation:
    over cells, its number. Returns (kinds, operations), how likely each kind is of an operation,
    and (kinds, cells), how likely it is of a cell by the operation's other cells alone:
        m_c(o) = sum over l of K(l | o) likelihood_c(l),    p(o) ~ spread(o) product over c of m_c,
        p_c(l) = sum over o of K(l | o) p(o) / m_c(o).
    """
    told = about.T @ likelihood
    together = np.zeros((len(spread), operation.max() + 1))
    np.add.at(together.T, operation, np.log(told).T)
    likely = spread[:, None] * np.exp(together - together.max(axis=0))
    likely /= likely.sum(axis=0)
    return likely, about @ (likely[:, operation] / told)
