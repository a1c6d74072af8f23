"""The mean time of the n-th go on a learning curve, as the kernel needs it: one piece at a time.

The same curves as `study/curves.py`, which does them for whole arrays of laps.
"""

from __future__ import annotations

from analysis.decisions.compiling import compiled

CONSTANT, UNIT, CUMULATIVE_AVERAGE, PLATEAU, PRIOR = range(5)  # the order of shop_model.CURVES


@compiled
def shape(
    curve: int, n: float, exponent: float, plateau_share: float, prior_pieces: float
) -> float:
    """Mean time of go n as a multiple of that of go 1; n >= 1 need not be whole.

    constant 1; unit n^b; cumulative average n^(1+b) - (n-1)^(1+b); plateau f + (1-f) n^b;
    prior ((n + B) / (1 + B))^b.
    """
    if curve == CONSTANT:
        return 1.0
    if curve == UNIT:
        return n**exponent
    if curve == CUMULATIVE_AVERAGE:
        return n ** (1.0 + exponent) - (n - 1.0) ** (1.0 + exponent)
    if curve == PLATEAU:
        return plateau_share + (1.0 - plateau_share) * n**exponent
    return ((n + prior_pieces) / (1.0 + prior_pieces)) ** exponent


FAR = 32.0  # pieces from which the series below is good to 1e-11


@compiled
def growth(n: float, c: float) -> float:
    """((n + 1) / n)^c, five times quicker than a power: the binomial series of (1 + 1/n)^c, for
    n >= FAR and -2 <= c <= 2 good to 1e-11."""
    x = 1.0 / n
    rest = 1.0 + (c - 3.0) / 4.0 * x * (1.0 + (c - 4.0) / 5.0 * x)
    return 1.0 + c * x * (1.0 + (c - 1.0) / 2.0 * x * (1.0 + (c - 2.0) / 3.0 * x * rest))
