"""What the simulated weeks were like: the arrays that the kernel fills."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Results(NamedTuple):
    """Arrays (runs, weeks, lines) of pieces, then (runs, weeks), and so on as noted."""

    started: np.ndarray
    good: np.ndarray
    scrapped: np.ndarray
    sold: np.ndarray
    lost_demand: np.ndarray
    stock_end: np.ndarray
    finished: np.ndarray  # (runs, weeks) batches
    lead_time: np.ndarray  # (runs, weeks) seconds, summed over the batches finished
    in_process: np.ndarray  # (runs, weeks) batches x seconds
    bench: np.ndarray  # (runs, hands, weeks) seconds
    unfinished_age: np.ndarray  # (runs,) seconds, summed over the batches open at the end
    pieces_open: np.ndarray  # (runs, lines) at the end


def results_for(runs: int, weeks: int, lines: int, hands: int) -> Results:
    """Empty results."""
    by_line = np.zeros((6, runs, weeks, lines))
    by_week = np.zeros((3, runs, weeks))
    last = np.zeros((runs, hands, weeks)), np.zeros(runs), np.zeros((runs, lines))
    return Results._make((*by_line, *by_week, *last))
