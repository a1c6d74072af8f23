"""Two ways of working, tried on halves of a batch: which takes less time, which spoils less."""

from __future__ import annotations

import numpy as np
import pandas as pd

TRIAL_COLUMNS = (
    "operation", "products", "first_at", "last_at", "batches", "laps_a", "laps_b", "pieces_a",
    "pieces_b", "seconds_a", "seconds_b", "less_time_percent", "less_time_low", "less_time_high",
    "faults_a", "faults_b", "fault_share_a", "fault_share_b", "fewer_faults", "fewer_faults_low",
    "fewer_faults_high", "pieces_needed", "verdict", "note",
)  # fmt: skip


def compare_ways(laps: pd.DataFrame, ways: pd.DataFrame) -> pd.DataFrame:
    """TRIAL_COLUMNS, a row an operation and trial; B against A, percent and shares positive where
    B is better.

    laps: `Study.laps`; ways: lap_id, way ("A" or "B"), as `store.trial_ways` gives them.
    """
    raise NotImplementedError
