"""Laps drawn from a known learning curve, with the error model the study assumes.

Mean time of the piece at experience E from the curve; time away over 7 days keeps retention^weeks
of E; the k-th piece of a spell takes exp(restart 2^-(k-1)) times longer; log-normal lap noise
(sigma / sqrt(k) for k pieces) and session noise tau, both with mean 1.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.study.curves import shape

CATEGORIES = [
    "product", "operation", "worker", "variant", "batch", "activity", "cause", "cause_operation",
]  # fmt: skip
FIRST_MONDAY = pd.Timestamp("2026-01-05", tz="UTC")


@dataclass(frozen=True)
class Truth:
    curve: str = "unit"
    first_unit_seconds: float = 120.0
    learning_rate: float = 0.85
    plateau_fraction: float = 0.4
    prior_pieces: float = 20.0
    sigma: float = 0.12
    tau: float = 0.06
    retention: float = 1.0
    restart: float = 0.0
    batches: int = 10
    batch_size: int = 25
    pieces_per_lap: int = 1
    days_between: int = 4
    long_breaks: tuple = (4, 8)  # batches before which the worker was away a fortnight longer
    products: int = 3
    workers: tuple = ("maker", "helper")

    def piece_seconds(self, experience):
        """Mean seconds of one piece made after so many others, no restart in it."""
        experience = np.asarray(experience, float)
        return self.first_unit_seconds * shape(
            self.curve, experience, np.ones(experience.shape), np.log2(self.learning_rate),
            self.plateau_fraction, self.prior_pieces,
        )  # fmt: skip

    @property
    def usual_restart(self):
        """Mean slowness of a batch done at one go."""
        return np.exp(self.restart * 0.5 ** np.arange(self.batch_size)).mean()

    def without_noise(self):
        return replace(self, sigma=0.0, tau=0.0)


def laps_of(truth: Truth, rng=None):
    """(checked laps frame, {(product, worker): experience after the last lap})."""
    rng = rng or np.random.default_rng(0)
    rows, experience = [], {}
    for number in range(truth.products):
        for worker in truth.workers:
            product = f"product {number}"
            batches = list(_batches(truth, number, rng))
            rows += [(product, worker, *lap) for batch in batches for lap in batch[0]]
            experience[product, worker] = batches[-1][1]
    return _frame(rows), experience


def _batches(truth: Truth, number, rng):
    experience, day, last_end = 0.0, 0, None
    for batch in range(truth.batches):
        day += truth.days_between * (batch > 0) + 14 * (batch in truth.long_breaks)
        moment = FIRST_MONDAY + pd.Timedelta(days=day, hours=6 + 3 * number)
        if last_end is not None:
            weeks = (moment - last_end).total_seconds() / (7 * 86400)
            experience *= truth.retention**weeks if weeks > 1 else 1.0
        session = _lognormal(truth.tau, rng)
        laps = []
        for made in range(0, truth.batch_size, truth.pieces_per_lap):
            pieces = np.arange(min(truth.pieces_per_lap, truth.batch_size - made))
            mean = truth.piece_seconds(experience + pieces)
            mean = mean * np.exp(truth.restart * 0.5 ** (made + pieces))
            seconds = mean.sum() * session * _lognormal(truth.sigma / np.sqrt(len(pieces)), rng)
            laps.append((f"batch {batch}", moment, seconds, len(pieces)))
            moment += pd.Timedelta(seconds=seconds)
            experience += len(pieces)
        last_end = moment
        yield laps, experience


def _lognormal(deviation, rng):
    return np.exp(deviation * rng.standard_normal() - deviation**2 / 2)


def _frame(rows):
    names = ["product", "worker", "batch", "started_at", "seconds", "units"]
    frame = pd.DataFrame(rows, columns=names)
    frame = frame.assign(
        row=np.arange(2, len(frame) + 2), lap_id=[f"lap-{i}" for i in range(len(frame))],
        operation="sew", variant="", activity="operation", cause="", cause_operation="", note="",
        rework_units=0, scrap_units=0, rating=100.0,
    )  # fmt: skip
    frame["started_at"] = frame["started_at"].dt.as_unit("us")
    return frame.astype(dict.fromkeys(CATEGORIES, "category"))
