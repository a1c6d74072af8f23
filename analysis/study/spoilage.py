"""Pace against spoilage: how the chance that a piece is spoiled changes with how fast it is worked.

`spoilage` is the main path: laps -> paces -> a logistic curve per operation, in two readings ->
what the operations tell of each other -> what can be said, and what other explanation shows.

The chance of a fault at pace x (log of seconds over expected seconds) is, per operation, over all
products, variants and workers,
    chance(x) = 1 / (1 + exp(-(intercept + slope x))),
binomial in the pieces of each lap, clustered by batch. x is the pace just before (pace.py). Which
of its two readings holds, carried or steady, is weighed by their likelihoods; draws are of both.

What is held before the laps are seen: a slope is normal about 0 with a spread of one of SPREADS,
each operation having its own; how common each spread is at this bench is learnt from all its
operations (a scale mixture by empirical Bayes, Laird 1978; Stephens 2017), beginning from all
alike, with the weight of GUESS_WEIGHS_AS operations. So a chance association in few data is drawn
to 0 where other operations show none, and a strong one is left as it is. 0 is the centre because
that haste spoils at THIS operation is for its own laps to show.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.study.logistic import LogisticFit, chance, fit_logistic
from analysis.study.pace import paces
from analysis.study.quality import wilson
from analysis.study.rates import Z95

SPREADS = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
GUESS_WEIGHS_AS = 4.0  # operations
WEAK_SPREAD = 16.0  # of a slope in the fits before pooling: 10 % faster, odds up to fivefold
NOTICEABLE = -np.log(1.5) / np.log(10 / 9)  # a tenth less time, half as many faults again
POWER_Z = 0.8416212335729143  # standard normal quantile .8
SIGNIFICANCE = 0.05
DRAWS = 1000
BINS = 6
LINE = 25
SEEN = (0.05, 0.95)  # the paces the middle nine tenths of the pieces were made at
LEAST_WIDTH = 0.01  # of that range: below, everything was worked at one pace

CURVE_COLUMNS = (
    "operation", "laps", "pieces", "faults", "scrap_share", "batches", "workers", "pace_low",
    "pace_high", "usual_pace", "usual_chance", "usual_chance_low", "usual_chance_high", "slope",
    "slope_low", "slope_high", "slope_alone", "slope_alone_low", "slope_alone_high", "p_value",
    "p_holm", "own_slope", "own_slope_low", "own_slope_high", "within_batch_slope",
    "within_batch_low", "within_batch_high", "within_worker_slope", "within_worker_low",
    "within_worker_high", "differs", "steady_weight", "reliability", "laps_more", "verdict", "note",
)  # fmt: skip
POINT_COLUMNS = ("operation", "measure", "pace", "pieces", "faults", "chance", "low", "high")
LINE_COLUMNS = ("operation", "pace", "chance", "low", "high")
VERDICTS = ("haste spoils", "slowness spoils", "hardly matters", "cannot tell", "no fault yet",
            "nothing good yet", "no pace before")  # fmt: skip


@dataclass(frozen=True)
class Spoilage:
    """curves: CURVE_COLUMNS, a row an operation, those with the surest effect first:

    laps, pieces, faults, batches, workers   those with pieces just before them; scrap_share: of
        the faults, the share that is lost
    pace_low, pace_high   range of the pace seen (SEEN), as log of seconds over expected
    usual_pace, usual_chance   mean pace just before, and the chance of a fault at it
    slope    of the log-odds on pace: below 0 haste spoils. Pooled; interval over both readings
    slope_alone   this operation's laps alone, carried reading, cluster-robust by batch, t
    p_value, p_holm   of slope_alone; p_holm allows for the operations looked at (Holm 1979)
    own_slope   on the lap's own pace: fooled by the spoiled piece's own time, to be shown so
    within_batch_slope, within_worker_slope   against pieces of the same worker and batch, of the
        same worker and product only (Neuhaus & Kalbfleisch 1998): free of what batches or
        workers differ in
    differs   "batch", "worker", "batch and worker" or "": where the slope within differs from the
        slope between (p < .05), and the pooled one may be confounded
    steady_weight   how likely the steady reading is against the carried one, by likelihood
    reliability   how well earlier laps tell the pace of the next: 1 perfectly, 0 not
    laps_more   about how many more laps until a slope of NOTICEABLE would show (power 80 %), from
        the information of the laps so far; 0 where it is told already
    verdict, note   one of VERDICTS, and a plain sentence

    points: POINT_COLUMNS: share of faults in bins of pace; measure "just before" or "own".
    line: LINE_COLUMNS: the curve with its 95 % band over the paces seen.
    draws: (DRAWS, operations, 2) of intercept and slope, in the order of curves; NaN where no
        curve can be fitted.
    """

    curves: pd.DataFrame
    points: pd.DataFrame
    line: pd.DataFrame
    draws: np.ndarray


def spoilage(laps: pd.DataFrame, rng: np.random.Generator) -> Spoilage:
    """How faults depend on pace, per operation. laps: `Study.laps`."""
    raise NotImplementedError
