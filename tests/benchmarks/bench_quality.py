"""What faults cost: the bootstrap of batches against a plain one, and all at 100,000 laps."""

import time
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.records.shop import read_shop
from analysis.study.cost_of_quality import DRAWS, cost_of_quality, tallied
from analysis.study.putting_right import PuttingRight, putting_right
from analysis.study.summary import study
from tests.benchmarks.rows import Row, median_seconds
from tests.study.plain_resampling import failure_seconds, laps_by_batch

SAMPLES = Path(__file__).parents[2] / "data_samples"
LAPS = 100_000
PLAIN_DRAWS = 10  # of the 1,000, scaled up: all of them take minutes


def rows() -> list[Row]:
    shop, routing = read_shop(SAMPLES / "shop.toml"), read_routing(SAMPLES / "routing.csv")
    found = study(many_laps(LAPS), routing, shop)
    return [_bootstrap_row(found, routing), _whole_row(found, routing)]


def many_laps(laps: int) -> pd.DataFrame:
    """The demo's laps over and over, each time with batches of their own, 21 weeks later."""
    once = read_laps(SAMPLES / "laps.csv", read_shop(SAMPLES / "shop.toml")).frame
    copies = []
    for number in range(-(-laps // len(once))):
        named = once["batch"].astype(str)
        named = named.where(named == "", named + f"/{number}")
        copies.append(
            once.assign(
                batch=named,
                lap_id=once["lap_id"] + f"/{number}",
                started_at=once["started_at"] + number * pd.Timedelta(weeks=21),
            )
        )
    frame = pd.concat(copies, ignore_index=True).head(laps)
    return frame.assign(batch=frame["batch"].astype("category"), row=np.arange(len(frame)) + 2)


def _bootstrap_row(found, routing) -> Row:
    by_batch = laps_by_batch(found)
    worth = tallied(found).cells
    worth = worth.set_index(list(worth.columns[:5]))["work_seconds"]
    rng = np.random.default_rng(1)

    def plainly() -> None:
        for _ in range(PLAIN_DRAWS):
            taken = rng.integers(0, len(by_batch), len(by_batch))
            failure_seconds(found, by_batch, taken, worth)

    ours = median_seconds(lambda: cost_of_quality(found, rng), 3)
    plain = median_seconds(plainly, 1) * DRAWS / PLAIN_DRAWS
    return Row(
        f"cost of faults, {DRAWS:,} draws of {len(by_batch):,} batches, {LAPS:,} laps, "
        "laps gathered draw by draw",
        plain, ours, plain / ours, "at least 20x", plain / ours >= 20,
        "ours: all views, kinds and products; plain: seconds in all only",
    )  # fmt: skip


def _whole_row(found, routing) -> Row:
    parts = [name for name in vars(PuttingRight) if not name.startswith("_")]

    def everything() -> None:  # each part is worked out when it is first asked for
        asked = putting_right(found, np.random.default_rng(1))
        for name in parts:
            getattr(asked, name)

    start = time.process_time()
    everything()
    spent = time.process_time() - start
    ours = median_seconds(everything, 3)
    return Row(
        f"everything on Putting right, {LAPS:,} laps", None, ours, None, "under 2 s", ours < 2,
        f"{spent:.2f} s of processor time, all cores",
    )  # fmt: skip
