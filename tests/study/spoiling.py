"""Laps of pieces spoiled by a known rule, as the study judges them: pace, batches and all."""

import numpy as np
import pandas as pd

from analysis.study.logistic import chance
from tests.study.building import laps_frame

EXPECTED = 100.0  # seconds


def judged(rows: list[dict], expected=EXPECTED) -> pd.DataFrame:
    """A checked frame with the columns the study adds: every curve is level at `expected`."""
    laps = laps_frame(rows)
    return laps.assign(expected_seconds=float(expected), suspicious=False)


def days(batch: int) -> pd.Timestamp:
    return pd.Timestamp("2026-01-05T08:00:00Z") + pd.Timedelta(days=batch)


def steady_world(rng, batches=60, pieces=25, slope=-8.0, base=-2.8, tau=0.15, sigma=0.2):
    """Each session has a pace of its own, and spoils by that; the laps only scatter about it."""
    rows = []
    for batch in range(batches):
        pace, at = rng.normal(0, tau), days(batch)
        for _ in range(pieces):
            seconds = EXPECTED * np.exp(pace + rng.normal(0, sigma))
            spoiled = int(rng.random() < chance(base + slope * pace))
            rows.append({"seconds": seconds, "batch": str(batch), "rework_units": spoiled,
                         "started_at": at})  # fmt: skip
            at += pd.Timedelta(seconds=seconds + 1)
    return judged(rows)


def two_hands(rng, batches=40, pieces=25):
    """One worker is quick and careless, one slow and careful; within each, pace spoils nothing."""
    rows = []
    for batch in range(batches):
        quick = batch % 2
        at = days(batch)
        for _ in range(pieces):
            seconds = EXPECTED * np.exp((-0.15 if quick else 0.15) + rng.normal(0, 0.12))
            spoiled = int(rng.random() < (0.2 if quick else 0.03))
            rows.append({"seconds": seconds, "batch": str(batch), "rework_units": spoiled,
                         "worker": "Ada" if quick else "Bo", "started_at": at})  # fmt: skip
            at += pd.Timedelta(seconds=seconds + 1)
    return judged(rows)


def glued_batches(rng, batches=40, pieces=25, slope=-4.0, base=-2.5, named=True, spread=0.2):
    """Gluing takes a batch more or less time; the chance of trimming later follows it."""
    rows = []
    for batch in range(batches):
        pace, at = rng.normal(0, spread), days(batch)
        name = {"batch": f"b{batch}"}
        rows.append({"operation": "glue", "units": pieces, "started_at": at, **name,
                     "seconds": pieces * EXPECTED * np.exp(pace)})  # fmt: skip
        faults = int(rng.binomial(pieces, chance(base + slope * pace)))
        cause = {"cause_operation": "glue" if named else "", "cause": "glue"}
        at += pd.Timedelta(hours=3)
        rows.append({"operation": "trim", "units": pieces, "rework_units": faults, **name,
                     "seconds": pieces * EXPECTED * np.exp(rng.normal(0, 0.1)),
                     "started_at": at, **(cause if faults else {})})  # fmt: skip
        if faults:
            rows.append({"operation": "trim", "activity": "rework", "units": faults, **name,
                         "seconds": faults * 85.0, "started_at": at + pd.Timedelta(hours=1),
                         **cause})  # fmt: skip
    return judged(rows)
