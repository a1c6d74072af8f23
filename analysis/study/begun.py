"""Batches already begun: the operation each needs next, and how many pieces of it are left."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from analysis.study.rates import is_activity, is_regular

if TYPE_CHECKING:
    from analysis.study.summary import Study

COLUMNS = ["product", "variant", "batch", "pieces", "operation", "pieces_left", "first_at"]
_KEYS = ["product", "variant", "batch"]


def begun(study: Study) -> pd.DataFrame:
    """One row a batch that is not finished, the one begun first on top (COLUMNS).

    The operation is the first of the batch's route with pieces left, so that all before it are
    done:  pieces_left = pieces - (units - lost) of the operation, pieces = started - lost anywhere.
    A piece lost on the way is waited for nowhere. Laps that were not logged count as not done.
    """
    batches = study.batches[~study.batches.finished.astype(bool)]
    done = _done(study.laps[study.laps.batch.isin(batches.batch)])
    lost = done.groupby(_KEYS).lost.sum().rename("lost_anywhere").reset_index()
    route = study.route[["product", "variant", "operation", "position"]]
    steps = batches.merge(route, on=["product", "variant"]).merge(lost, on=_KEYS)
    steps = steps.merge(done, on=[*_KEYS, "operation"], how="left").fillna({"units": 0, "lost": 0})
    pieces = steps.units_started - steps.lost_anywhere
    left = (pieces - (steps.units - steps.lost)).astype("int64")
    steps = steps.assign(pieces=pieces, pieces_left=left)[left > 0]
    steps = steps.sort_values(["first_at", *_KEYS, "position"]).drop_duplicates(_KEYS)
    return steps[COLUMNS].reset_index(drop=True)


def _done(laps: pd.DataFrame) -> pd.DataFrame:
    """Pieces worked and lost, in mending too, by batch and operation."""
    texts = laps[[*_KEYS, "operation"]].astype("str")
    worked = is_regular(laps)
    counted = texts.assign(
        units=laps.units.where(worked, 0),
        lost=laps.scrap_units.where(worked | is_activity(laps, "rework"), 0),
    )
    return counted.groupby([*_KEYS, "operation"])[["units", "lost"]].sum().reset_index()
