"""A million made-up laps as a CSV file: all columns of the contract, as a long-lived shop has."""

import numpy as np
import pandas as pd

LAPS = 1_000_000
OPERATIONS = (
    "cut boards", "fold sections", "punch", "sew", "glue spine", "round corners", "cover boards",
    "foil-stamp", "case in", "trim", "inspect", "wrap",
)  # fmt: skip


def million_laps(faults: int = 0) -> pd.DataFrame:
    """LAPS laps over about five years, texts as they stand in a file; some with a fault."""
    rng = np.random.default_rng(20)
    starts = np.datetime64("2021-01-04T08:00:00") + np.cumsum(rng.integers(30, 300, LAPS))

    def some(*choices: str) -> np.ndarray:
        return np.array(choices, object)[rng.integers(0, len(choices), LAPS)]

    numbers = np.arange(LAPS)
    frame = pd.DataFrame(
        {
            "lap_id": [f"lap-{n:08d}" for n in rng.permutation(LAPS)],
            "started_at": np.char.add(np.datetime_as_string(starts), "+01:00"),
            "seconds": np.round(rng.lognormal(4.5, 0.4, LAPS), 1).astype(str),
            "product": some("pocket notebook", "desk journal"),
            "operation": np.array(OPERATIONS, object)[numbers // 25 % len(OPERATIONS)],
            "worker": some("maker", "maker", "helper"),
            "variant": some("linen", "marbled", "left-open"),
            "batch": [f"{n // 300:04d}" for n in numbers],
            "activity": some(*["operation"] * 17, "setup", "inspection", "delay"),
            "units": some("1", "2", "5"),
            "rework_units": some(*"0" * 19, "1"),
            "scrap_units": "0",
            "cause": some(*[""] * 9, "mis-folded"),
            "cause_operation": some(*[""] * 9, "fold sections"),
            "rating": some("100", "95", "105"),
            "note": some(*[""] * 19, "the glue, once more, was thin"),
        }
    ).astype(object)
    for column, wrong in (("seconds", "three minutes"), ("started_at", "yesterday"),
                          ("activity", "sewing"), ("units", "2.5")):  # fmt: skip
        if faults:
            frame.loc[rng.choice(LAPS, faults // 4, replace=False), column] = wrong
    return frame
