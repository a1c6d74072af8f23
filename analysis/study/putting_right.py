"""Everything the screen Putting right reads out of a study."""

from __future__ import annotations

from copy import deepcopy
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.best_pace import best_paces, stakes
from analysis.study.care import Care, care
from analysis.study.cost_of_quality import CostOfQuality, Tally, cost_of_quality, tallied
from analysis.study.more_time import MoreTime, more_time
from analysis.study.p_chart import PChart, weekly_faults
from analysis.study.quality import likeness, wilson
from analysis.study.spoilage import Spoilage, spoilage
from analysis.study.starts import starts
from analysis.study.yields import worker_yields, yields

if TYPE_CHECKING:
    from analysis.study.summary import Study

CARE_BINS = 6
CARE_BIN_COLUMNS = ("percent", "batches", "pieces", "faults", "share", "low", "high")


class PuttingRight:
    """The figures of the screen, each worked out when it is first asked for, since a part of the
    screen shows few of them.

    The draws do not hang on what is asked first: those of spoilage come before those of cost, and
    those of starts last.
    """

    def __init__(self, study: Study, rng: np.random.Generator):
        self._study, self._rng = study, rng

    @cached_property
    def _drawn(self) -> tuple[Spoilage, CostOfQuality, np.random.Generator]:
        rng = deepcopy(self._rng)
        found = spoilage(self._study.laps, rng, self._study.timezone)
        return found, cost_of_quality(self._study, rng, tally=self._tally), rng

    @cached_property
    def _tally(self) -> Tally:
        return tallied(self._study)

    @property
    def spoilage(self) -> Spoilage:
        """Pace against faults by operation."""
        return self._drawn[0]

    @property
    def cost(self) -> CostOfQuality:
        """What faults cost."""
        return self._drawn[1]

    @cached_property
    def variants(self) -> pd.DataFrame:
        """The yields (shares of pieces) of the variants, one row a product and variant."""
        return yields(self._study.laps, ["product", "variant"], self._study.timezone)

    @cached_property
    def workers(self) -> pd.DataFrame:
        """The yields (shares of pieces) of the workers, one row a worker, product and operation."""
        return worker_yields(self._study.laps, self._study.timezone)

    @cached_property
    def _weekly(self) -> tuple[pd.DataFrame, PChart]:
        return weekly_faults(self._study.laps, self._study.timezone)

    @property
    def weeks(self) -> pd.DataFrame:
        """The weekly share of faults."""
        return self._weekly[0]

    @property
    def chart(self) -> PChart:
        """The chart of the weekly share."""
        return self._weekly[1]

    @cached_property
    def starts(self) -> pd.DataFrame:
        """Pieces to start for a batch of good ones, one row a product and variant."""
        study, rng = self._study, deepcopy(self._drawn[2])
        return starts(study.quality, study.route, batch_sizes(study), rng)

    @cached_property
    def at_stake(self) -> pd.DataFrame:
        """What hangs on a fault, in seconds and money, one row a product and operation."""
        return stakes(self._study, self._tally)

    @cached_property
    def paces(self) -> pd.DataFrame:
        """The cheapest pace, in seconds per piece, one row a product and operation."""
        return best_paces(self.spoilage, self.at_stake)

    @cached_property
    def care(self) -> Care:
        """Time at one operation against faults found at a later one."""
        return care(self._study.laps)

    @cached_property
    def more_time(self) -> MoreTime:
        """What more or fewer seconds for a piece would do."""
        return more_time(self._study, self.spoilage, self.at_stake, self.care)


def putting_right(study: Study, rng: np.random.Generator) -> PuttingRight:
    """The figures of the screen, each worked out when it is first asked for; `rng` draws what is
    resampled."""
    return PuttingRight(study, rng)


def care_bins(points: pd.DataFrame, bins: int = CARE_BINS) -> pd.DataFrame:
    """The batches of one pair in bins of as many each, by the time they got: CARE_BIN_COLUMNS.

    points: of `Care`, of one operation and one later. percent: mean time of the bin's batches in
    percent of what was expected; share of pieces at fault with Wilson's interval, widened for the
    likeness of pieces of one batch.
    """
    rows = points.sort_values("pace", kind="stable").reset_index(drop=True)
    part = (np.arange(len(rows)) * min(bins, len(rows)) // max(len(rows), 1)).astype("int64")
    cells = int(part.max(initial=-1)) + 1
    pieces, faults = (np.bincount(part, rows[name], cells) for name in ("pieces", "faults"))
    alike = likeness(rows["faults"], rows["pieces"], part, np.arange(len(rows)), cells)
    low, high = wilson(faults, pieces, alike)
    mean = np.exp(np.bincount(part, rows["pace"] * rows["pieces"], cells) / pieces)
    return pd.DataFrame({
        "percent": 100 * mean, "batches": np.bincount(part, minlength=cells), "pieces": pieces,
        "faults": faults, "share": faults / pieces, "low": low, "high": high,
    }, columns=list(CARE_BIN_COLUMNS))  # fmt: skip


def batch_sizes(study: Study) -> dict[tuple[str, str], int]:
    """Pieces of a batch by product and variant, as Shop says; its default where it does not."""
    routes = study.route[["product", "variant"]].drop_duplicates()
    return {
        route: study.shop.batch_size(*route) for route in routes.itertuples(index=False, name=None)
    }
