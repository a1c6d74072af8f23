"""The pace with the least cost per good piece, and the time below which haste costs more than it
saves.

At pace x (log of seconds over expected) a piece takes s e^x seconds and is spoiled with the chance
p(x) of its operation's curve; of the spoiled a share q is lost, the others are mended in r seconds:
    cost per good piece = (V + w (s e^x + p (1 - q) r)) / (1 - p q) - V
w the wage of a second, V what a piece is worth when it comes here (work so far, and material). The
least is sought over the paces seen, never beyond.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.study.spoilage import Spoilage

STAKE_COLUMNS = (
    "product", "operation", "seconds", "wage_per_hour", "rework_seconds", "value_before", "in_money",
)  # fmt: skip
BEST_COLUMNS = (
    "product", "operation", "usual_seconds", "best_seconds", "best_low", "best_high",
    "fastest_seconds", "slowest_seconds", "cost_now", "cost_best", "saved", "saved_low",
    "saved_high", "saved_per_100", "in_money", "laps_more", "verdict", "note",
)  # fmt: skip
RUSHED_COLUMNS = ("worker", "product", "operation", "rushed_below_seconds")


def stakes(study) -> pd.DataFrame:
    """STAKE_COLUMNS of every product and operation of a Study; in_money False where a wage or a
    material cost is not given: costs are then in seconds of work."""
    raise NotImplementedError


def best_paces(found: Spoilage, at_stake: pd.DataFrame) -> pd.DataFrame:
    """BEST_COLUMNS, a row a product and operation with a curve; cost in money (or seconds of work)
    per good piece at this operation. verdict: "slower", "faster", "as now", "cannot tell"."""
    raise NotImplementedError


def cost_at(found: Spoilage, at_stake: pd.DataFrame, product: str, operation: str,
            seconds) -> pd.DataFrame:  # fmt: skip
    """For the "try it" slider: seconds, chance, chance_low, chance_high, cost, cost_low, cost_high
    per good piece at these seconds per piece."""
    raise NotImplementedError


def rushed_below_seconds(
    found: Spoilage, at_stake: pd.DataFrame, cells: pd.DataFrame
) -> pd.DataFrame:
    """RUSHED_COLUMNS for every worker, product and operation of `learning.cells`: the seconds per
    piece under which this shop's own spoilage costs more than is saved, with 95 % certainty; NaN
    where the data cannot tell."""
    raise NotImplementedError
