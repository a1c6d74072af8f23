"""Means over runs with their own standard errors, and how far they may lie from what is known."""

import math

import numpy as np

FARTHEST = 4.0  # standard errors: a right program fails one comparison in 16,000


def ratio(top, bottom) -> tuple[float, float]:
    """sum(top) / sum(bottom) over independent runs, and its standard error (delta method).

    se = sqrt(n / (n - 1) sum (y_i - r x_i)^2) / sum x  (Cochran, Sampling Techniques, 1977)
    """
    top, bottom = np.asarray(top, float), np.asarray(bottom, float)
    n, value = len(top), top.sum() / bottom.sum()
    return value, math.sqrt(n / (n - 1) * ((top - value * bottom) ** 2).sum()) / bottom.sum()


def mean(values) -> tuple[float, float]:
    """Mean of independent runs and its standard error."""
    values = np.asarray(values, float)
    return values.mean(), values.std(ddof=1) / math.sqrt(len(values))


def away(estimate: tuple[float, float], known: float, known_error: float = 0.0) -> float:
    """Standard errors between an estimate and what is known to within known_error."""
    value, error = estimate
    return max(abs(value - known) - known_error, 0.0) / error


def apart(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Standard errors between two independent estimates."""
    return abs(one[0] - other[0]) / math.hypot(one[1], other[1])
