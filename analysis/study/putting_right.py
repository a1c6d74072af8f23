"""Everything the screen Putting right reads out, made of a study in one go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.best_pace import best_paces, stakes
from analysis.study.care import Care, care
from analysis.study.cost_of_quality import CostOfQuality, cost_of_quality
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


@dataclass(frozen=True)
class PuttingRight:
    """cost: what faults cost; variants, workers: their yields; weeks: the weekly share of faults
    with its chart; starts: pieces to start for a batch of good ones; spoilage: pace against faults
    by operation, with what hangs on a fault there (at_stake) and the cheapest pace (paces); care:
    time at one operation against faults found at a later one; more_time: what more or fewer
    seconds for a piece would do."""

    cost: CostOfQuality
    variants: pd.DataFrame
    workers: pd.DataFrame
    weeks: pd.DataFrame
    chart: PChart
    starts: pd.DataFrame
    spoilage: Spoilage
    at_stake: pd.DataFrame
    paces: pd.DataFrame
    care: Care
    more_time: MoreTime


def putting_right(study: Study, rng: np.random.Generator) -> PuttingRight:
    """The figures of the screen."""
    weeks, chart = weekly_faults(study.laps, study.timezone)
    found, at_stake = spoilage(study.laps, rng), stakes(study)
    followed = care(study.laps)
    return PuttingRight(
        cost=cost_of_quality(study, rng),
        variants=yields(study.laps, ["product", "variant"], study.timezone),
        workers=worker_yields(study.laps, study.timezone),
        weeks=weeks,
        chart=chart,
        starts=starts(study.quality, study.route, batch_sizes(study), rng),
        spoilage=found,
        at_stake=at_stake,
        paces=best_paces(found, at_stake),
        care=followed,
        more_time=more_time(study, found, at_stake, followed),
    )


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
    """Pieces of a batch by product and variant, as Shop says; 25 where it does not."""
    routes = study.route[["product", "variant"]].drop_duplicates().itertuples(index=False)
    known = {tuple(route): study.shop.product(*route) for route in routes}
    return {route: row.batch_size if row else 25 for route, row in known.items()}
