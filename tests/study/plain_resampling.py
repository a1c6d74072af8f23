"""The bootstrap of whole batches as anybody would write it first: draw batches, gather their laps,
add up. What the one in analysis/study/cost_of_quality.py is checked and timed against."""

import numpy as np
import pandas as pd

from analysis.study.cost_of_quality import CELL
from analysis.study.quality import KEYS
from analysis.study.rates import clusters, is_activity, is_regular


def laps_by_batch(study) -> list[np.ndarray]:
    """The rows of each batch."""
    batch = clusters(study.laps, study.timezone)
    order = np.argsort(batch, kind="stable")
    return np.split(order, np.cumsum(np.bincount(batch))[:-1])


def failure_seconds(study, by_batch: list[np.ndarray], taken, work_seconds: pd.Series) -> float:
    """Seconds of rework, timed or not, and of the work in lost pieces, of the batches taken.

    work_seconds: of a piece lost, by CELL. Every place is taken to have some rework timed.
    """
    laps = study.laps.iloc[np.concatenate([by_batch[batch] for batch in taken])]
    rework = laps[is_activity(laps, "rework")]
    regular = laps[is_regular(laps)]
    flagged = regular.groupby(KEYS, observed=True)["rework_units"].sum()
    mended = rework.groupby(KEYS, observed=True)[["units", "seconds"]].sum()
    mended = mended.reindex(flagged.index.union(mended.index)).fillna(0.0)
    short = (flagged.reindex(mended.index).fillna(0.0) - mended["units"]).clip(lower=0.0)
    untimed = (short * mended["seconds"] / mended["units"].where(mended["units"] > 0)).sum()
    lost = pd.concat([regular, rework])
    lost = lost[lost["scrap_units"] > 0].astype(dict.fromkeys(CELL, str))
    worth = work_seconds.reindex(pd.MultiIndex.from_frame(lost[CELL])).to_numpy()
    return mended["seconds"].sum() + untimed + (lost["scrap_units"].to_numpy() * worth).sum()
