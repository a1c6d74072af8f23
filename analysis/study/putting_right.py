"""Everything the screen Putting right reads out, made of a study in one go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.best_pace import best_paces, stakes
from analysis.study.care import Care, care
from analysis.study.cost_of_quality import CostOfQuality, cost_of_quality
from analysis.study.p_chart import PChart, weekly_faults
from analysis.study.spoilage import Spoilage, spoilage
from analysis.study.starts import starts
from analysis.study.yields import worker_yields, yields

if TYPE_CHECKING:
    from analysis.study.summary import Study


@dataclass(frozen=True)
class PuttingRight:
    """cost: what faults cost; variants, workers: their yields; weeks: the weekly share of faults
    with its chart; starts: pieces to start for a batch of good ones; spoilage: pace against faults
    by operation, with what hangs on a fault there (at_stake) and the cheapest pace (paces); care:
    time at one operation against faults found at a later one."""

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


def putting_right(
    study: Study, routing: pd.DataFrame | None, rng: np.random.Generator
) -> PuttingRight:
    """The figures of the screen. routing: the checked one behind the study, where there is one."""
    weeks, chart = weekly_faults(study.laps, study.timezone)
    found, at_stake = spoilage(study.laps, rng), stakes(study, routing)
    return PuttingRight(
        cost=cost_of_quality(study, routing, rng),
        variants=yields(study.laps, ["product", "variant"], study.timezone),
        workers=worker_yields(study.laps, study.timezone),
        weeks=weeks,
        chart=chart,
        starts=starts(study.quality, study.route, batch_sizes(study), rng),
        spoilage=found,
        at_stake=at_stake,
        paces=best_paces(found, at_stake),
        care=care(study.laps),
    )


def batch_sizes(study: Study) -> dict[tuple[str, str], int]:
    """Pieces of a batch by product and variant, as Shop says; 25 where it does not."""
    routes = study.route[["product", "variant"]].drop_duplicates().itertuples(index=False)
    known = {tuple(route): study.shop.product(*route) for route in routes}
    return {route: row.batch_size if row else 25 for route, row in known.items()}
