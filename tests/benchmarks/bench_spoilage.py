"""Pace against spoilage, care and trials on 100,000 laps; and the regression beside statsmodels."""

import numpy as np
import pandas as pd

from analysis.study.best_pace import best_paces
from analysis.study.care import care
from analysis.study.logistic import chance, fit_logistic
from analysis.study.spoilage import spoilage
from analysis.study.trial import compare_ways
from tests.benchmarks.rows import Row, median_seconds
from tests.study.building import CATEGORIES

OPERATIONS, BATCHES, PIECES = 10, 400, 25
GROUPS, ROWS = 40, 2500  # of the regression alone


def rows() -> list[Row]:
    laps = hundred_thousand_laps()
    ways = pd.DataFrame({"lap_id": laps["lap_id"], "way": np.where(laps["row"] // 5 % 2, "A", "B")})
    at_stake = pd.DataFrame(
        {"product": "box", "operation": [f"step {n}" for n in range(OPERATIONS)], "seconds": 100.0,
         "wage_per_hour": 20.0, "rework_seconds": 90.0, "value_before": 8.0, "in_money": True}
    )  # fmt: skip

    def whole():
        found = spoilage(laps, np.random.default_rng(0))
        return best_paces(found, at_stake), care(laps)

    parts = {
        "pace against spoilage and the cheapest pace, and care that pays later": whole,
        "two ways compared": lambda: compare_ways(laps, ways),
    }
    told = f"{len(laps):,} laps, {OPERATIONS} operations, {BATCHES} batches"
    return [
        *(
            Row(f"{name}, {told}", None, seconds, None, "at most 1 s", seconds <= 1)
            for name, seconds in ((name, median_seconds(run)) for name, run in parts.items())
        ),
        _regression(),
    ]


def hundred_thousand_laps() -> pd.DataFrame:
    """Laps of one piece as the study judges them; haste spoils at every other operation."""
    rng = np.random.default_rng(1)
    shape = (OPERATIONS, BATCHES, PIECES)
    pace = rng.normal(0, 0.15, shape[:2])[:, :, None] + rng.normal(0, 0.15, shape)
    slope = np.where(np.arange(OPERATIONS) % 2, 0.0, -6.0)[:, None, None]
    spoiled = rng.random(shape) < chance(-3.0 + slope * pace.mean(axis=2, keepdims=True))
    operation, batch, piece = (places.ravel() for places in np.indices(shape))
    started = pd.Timestamp("2024-01-01T06:00:00Z") + pd.to_timedelta(
        86400 * batch + 3600 * operation + 130 * piece, unit="s"
    )
    laps = pd.DataFrame(
        {
            "row": np.arange(operation.size) + 2,
            "lap_id": np.char.add("l", np.arange(operation.size).astype(str)),
            "started_at": started.as_unit("us"), "seconds": 100 * np.exp(pace.ravel()),
            "product": "box", "operation": np.char.add("step ", operation.astype(str)),
            "worker": "maker", "variant": "", "batch": np.char.add("b", batch.astype(str)),
            "activity": "operation", "cause": "", "cause_operation": "", "note": "", "units": 1,
            "rework_units": spoiled.ravel().astype("int64"), "scrap_units": 0, "rating": 100.0,
            "expected_seconds": 100.0, "suspicious": False,
        }
    )  # fmt: skip
    return laps.astype(dict.fromkeys(CATEGORIES, "category"))


def _regression() -> Row:
    import statsmodels.api as sm

    rng = np.random.default_rng(2)
    group, x = np.repeat(np.arange(GROUPS), ROWS), rng.normal(0, 0.2, GROUPS * ROWS)
    hits = (rng.random(len(x)) < chance(-2.5 - 5 * x)).astype(float)
    cluster = np.arange(len(x)) // 25
    columns, ones = [np.ones(len(x)), x], np.ones(len(x))

    def ours():
        return fit_logistic(columns, hits, ones, group, GROUPS, cluster, [0, 0])

    def theirs():
        return np.array([
            sm.GLM(hits[group == one], np.column_stack([c[group == one] for c in columns]),
                   family=sm.families.Binomial())
            .fit(cov_type="cluster", cov_kwds={"groups": cluster[group == one]}).params
            for one in range(GROUPS)
        ])  # fmt: skip

    apart = np.abs(ours().beta - theirs()).max()
    reference, mine = median_seconds(theirs), median_seconds(ours)
    return Row(
        f"logistic regression, {GROUPS} x {ROWS:,} rows, clustered, statsmodels GLM one by one",
        reference, mine, reference / mine, "no slower, equal to 1e-6",
        reference >= mine and apart < 1e-6, f"largest difference {apart:.0e}",
    )  # fmt: skip
