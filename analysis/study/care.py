"""Care that pays later: do batches that got more time at one operation need less mending later?

An association between batches, not proof: a careful day may be careful throughout. What settles it
is an experiment, half a batch one way and half the other; its size is worked out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

PAIR_COLUMNS = (
    "operation", "later", "named", "batches", "pieces", "faults", "chance", "slope", "slope_low",
    "slope_high", "p_value", "p_holm", "mending_seconds", "seconds_now", "extra_seconds",
    "saved_seconds", "saved_low", "saved_high", "batches_more", "pieces_each_way",
    "batches_for_trial", "verdict", "note",
)  # fmt: skip


@dataclass(frozen=True)
class Care:
    """pairs: PAIR_COLUMNS, a row a pair of operations of the same batch, the surest first:

    operation, later   where time was spent, and where faults were found later in the batch
    named       True where faults at `later` name `operation` as their cause: those are counted;
                else those that name no other operation
    batches, pieces, faults   followed from one to the other
    chance      share of pieces at fault
    slope       of the log-odds of a fault on the log of the batch's time at `operation` over what
                was expected; 95 % interval, robust to pieces of a batch being alike
    p_value     permutation of batches within products, p_holm: all pairs looked at allowed for
    mending_seconds   to mend one piece at `later`
    seconds_now, extra_seconds   per piece at `operation`, and a tenth of it
    saved_seconds   of mending per piece at `later` that go with extra_seconds more (an
                association); 95 % interval
    pieces_each_way, batches_for_trial   for an experiment to tell (power 80 %, two-sided 5 %)
    verdict     "pays", "costs", "too weak", "cannot follow"
    note        a plain sentence

    points: operation, later, batch, product, pace (log), pieces, faults: to draw told pairs.
    note: why nothing could be followed, "" otherwise.
    """

    pairs: pd.DataFrame
    points: pd.DataFrame
    note: str


def care(laps: pd.DataFrame) -> Care:
    """How time at one operation goes with faults later in the same batch. laps: `Study.laps`."""
    raise NotImplementedError
