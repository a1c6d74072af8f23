"""Batches already begun: the operation each needs next, and how many pieces of it are left."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from analysis.study.rates import is_activity, is_regular
from analysis.study.route import passed_operations

if TYPE_CHECKING:
    from analysis.study.summary import Study

COLUMNS = [
    "product", "variant", "batch", "pieces", "operation", "pieces_left", "before", "short",
    "first_at",
]  # fmt: skip
SHORT_SHARE = 0.1  # of a batch's pieces that may be lost without a lap; common practice, no source
_KEYS = ["product", "variant", "batch"]


def begun(study: Study) -> pd.DataFrame:
    """One row a batch that is not finished, the one begun first on top (COLUMNS).

    The operation is the first of the batch's route with pieces left, so that all before it are
    done:  pieces_left = pieces - (units - lost there or at what comes after it) of the operation,
    pieces = started - lost anywhere. A piece lost on the way is waited for nowhere, and one lost
    later is no piece done. Laps that were not logged count as not done.
    before: the operation before it on the route (itself where it is the first). short: most of the
    pieces went through it, one or a tenth of them did not and went no further either, and since the
    batch's last lap another day of work has begun: they may be lost, and nobody has said so.
    """
    batches = study.batches[~study.batches.finished.astype(bool)]
    done = _done(study.laps[study.laps.batch.isin(batches.batch)])
    lost = done.groupby(_KEYS).lost.sum().rename("lost_anywhere").reset_index()
    route = study.route[["product", "variant", "operation", "position"]]
    steps = batches.merge(route, on=["product", "variant"]).merge(lost, on=_KEYS)
    steps = steps.merge(done, on=[*_KEYS, "operation"], how="left")
    steps = steps.merge(_lost_later(done, study.route), on=[*_KEYS, "operation"], how="left")
    steps = steps.fillna({"units": 0, "lost": 0, "lost_later": 0})
    pieces = steps.units_started - steps.lost_anywhere
    kept = (steps.units - steps.lost - steps.lost_later).clip(lower=0)
    left = (pieces - kept).astype("int64")
    route = steps.sort_values([*_KEYS, "position"], ascending=False)
    most_after = route.groupby(_KEYS).units.cummax()  # of this operation and those that follow
    few = (left <= np.maximum(1, SHORT_SHARE * pieces)) & (
        most_after.reindex(steps.index) <= steps.units
    )
    short = few & (left < pieces) & _on_an_earlier_day(steps.last_at, study)
    route = route.iloc[::-1]
    before = route.groupby(_KEYS).operation.shift().fillna(route.operation)
    steps = steps.assign(pieces=pieces, pieces_left=left, short=short, before=before)[left > 0]
    steps = steps.sort_values(["first_at", *_KEYS, "position"]).drop_duplicates(_KEYS)
    return steps[COLUMNS].reset_index(drop=True)


def _on_an_earlier_day(moments: pd.Series, study: Study) -> pd.Series:
    """Whether moments lie on a day before that of the newest lap, by the shop's clock."""
    if moments.empty:
        return pd.Series(False, moments.index)
    newest = study.laps.started_at.max().tz_convert(study.timezone).normalize()
    return moments.dt.tz_convert(study.timezone) < newest


def _done(laps: pd.DataFrame) -> pd.DataFrame:
    """Pieces worked and lost, in mending too, by batch and operation."""
    texts = laps[[*_KEYS, "operation"]].astype("str")
    worked = is_regular(laps)
    counted = texts.assign(
        units=laps.units.where(worked, 0),
        lost=laps.scrap_units.where(worked | is_activity(laps, "rework"), 0),
    )
    return counted.groupby([*_KEYS, "operation"])[["units", "lost"]].sum().reset_index()


def _lost_later(done: pd.DataFrame, routes: pd.DataFrame) -> pd.DataFrame:
    """Pieces lost at what comes after an operation (lost_later), by batch and operation."""
    passed = [
        (product, variant, before, operation)
        for (product, variant, operation), through in passed_operations(routes).items()
        for before in through
    ]
    names = ["product", "variant", "before", "operation"]
    passed = pd.DataFrame(passed, columns=names).astype(str)
    later = done.merge(passed, on=["product", "variant", "operation"])
    later = later.assign(operation=later.before)
    return later.groupby([*_KEYS, "operation"]).lost.sum().rename("lost_later").reset_index()
