"""What the bindery's true values say of the end of its laps, for tests that ask them back."""

import dataclasses
import json

import numpy as np
import pandas as pd

from data_samples.bindery import Bindery
from data_samples.make_samples import LAP_COLUMNS, as_csv, lap_rows, truth_json
from data_samples.truth import Truth, mean_seconds

CELL = ["product", "operation", "worker"]


def cells_at_the_end(truth: dict, laps: pd.DataFrame) -> pd.DataFrame:
    """The true cells of truth.json, `present_seconds` at the laps' last one: practice that has
    rested for more than a week by then is less than it was at the cell's own last lap."""
    cells = pd.DataFrame(truth["cells"])
    made = laps[laps["activity"].isin(["operation", "inspection"])]
    end = made["started_at"] + pd.to_timedelta(made["seconds"], unit="s")
    end = end.groupby([made[key].astype(str) for key in CELL]).max()
    weeks = (laps["started_at"].max() - end).dt.total_seconds() / (7 * 86400)
    weeks = weeks.reindex(pd.MultiIndex.from_frame(cells[CELL])).to_numpy()
    kept = cells["worker"].map(truth["retention_per_week"]) ** np.where(weeks > 1, weeks, 0.0)
    operations = {
        (product, operation.name): operation
        for product, every in Truth().operations.items()
        for operation in every
    }
    cells["present_seconds"] = [
        mean_seconds(operations[product, name], worker, experience + 1, Truth())
        for product, name, worker, experience in zip(
            *(cells[key] for key in CELL), cells["experience_at_end"] * kept, strict=True
        )
    ]
    return cells


class RecordedBindery(Bindery):
    """The bindery, which also keeps how long pieces took against their true mean.

    The mean over pieces is not 1: a spoiled piece takes longer, and of a slow stretch fewer pieces
    are made before the hours end than of a quick one.
    """

    def __init__(self, truth: Truth):
        super().__init__(truth)
        self.taken = []

    def _expected_seconds(self, worker, batch, operation, k):
        self.expected = super()._expected_seconds(worker, batch, operation, k)
        return self.expected

    def _lap(self, worker, batch, operation, session_pace):
        place, forgotten = len(self.laps), len(self.forgotten)
        super()._lap(worker, batch, operation, session_pace)
        lap = self.laps[place]
        if len(self.forgotten) == forgotten:
            times = lap["seconds"] / self.expected
            self.taken.append((batch.product, operation.name, worker, lap["units"], times))


def recorded(seed: int) -> tuple[str, dict, pd.DataFrame]:
    """(laps.csv, truth.json, pieces and the mean of taken / expected by CELL) of one seed."""
    bindery = RecordedBindery(dataclasses.replace(Truth(), seed=seed))
    bindery.work()
    laps = as_csv(LAP_COLUMNS, lap_rows(bindery))
    taken = pd.DataFrame(bindery.taken, columns=[*CELL, "pieces", "times"])
    taken["times"] *= taken["pieces"]
    return laps, json.loads(truth_json(bindery)), taken.groupby(CELL)[["pieces", "times"]].sum()
