"""How many pieces an experiment needs to tell what it is made for."""

from __future__ import annotations

import numpy as np

from analysis.study.frames import Number, Values
from analysis.study.rates import Z95

Z80 = 0.8416212335729143  # standard normal quantile .8: four in five such experiments would tell


def errors_to_tell(looked: Number = 1) -> np.ndarray:
    """z(1 - .05 / (2 looked)) + z(.8): how many standard errors large an effect must be to show
    four times in five (5 % two-sided) where so many are looked at, for arrays.

    Bonferroni's bound, which the first step of Holm's is (Holm 1979).
    """
    from scipy.special import ndtri  # scipy takes a moment to import

    return ndtri(1 - 0.05 / (2 * np.maximum(looked, 1))) + Z80


def pieces_each_way(share_a: float | Values, share_b: float | Values) -> np.ndarray:
    """Pieces per way to tell two shares at fault apart (5 % two-sided, power 80 %), for arrays.

        n = 2 ((z.975 + z.8) / h)^2,    h = 2 arcsin sqrt(a) - 2 arcsin sqrt(b)
    (Cohen, Statistical Power Analysis, 1988). Pieces of the two ways must be as alike as can be:
    halves of the same batches. inf where the shares are equal.
    """
    angle = 2 * np.arcsin(np.sqrt(share_a)) - 2 * np.arcsin(np.sqrt(share_b))
    with np.errstate(divide="ignore"):
        return np.ceil(2 * ((Z95 + Z80) / np.abs(angle)) ** 2)


def laps_each_way(difference: float, deviation: float) -> int:
    """Laps per way to tell a difference of mean log times apart (5 % two-sided, power 80 %).

    The least n with power of the two-sample t test at least .8: noncentral t, 2 n - 2 degrees of
    freedom, noncentrality (difference / deviation) sqrt(n / 2) (Cohen 1988). deviation: standard
    deviation of one lap.
    """
    from scipy.special import nctdtr, stdtrit  # scipy takes a moment to import

    # Two laps tell ten deviations apart; far beyond, the noncentral t has no value to give.
    effect = min(abs(difference) / deviation, 10.0)
    n = max(int(2 * ((Z95 + Z80) / effect) ** 2), 2)
    while True:
        freedom, shift = 2 * n - 2, effect * np.sqrt(n / 2)
        limit = stdtrit(freedom, 0.975)
        power = 1 - nctdtr(freedom, shift, limit) + nctdtr(freedom, shift, -limit)
        if power >= 0.8:
            return n
        n += 1
