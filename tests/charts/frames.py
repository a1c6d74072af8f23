"""Small frames such as a study gives, for charts to draw."""

import numpy as np
import pandas as pd

MINUTES = pd.DataFrame(
    [
        ("sew", "operation", 4.6),
        ("sew", "setup", 0.2),
        ("sew", "rework", 0.4),
        ("trim", "operation", 0.7),
        ("trim", "transport", 0.1),
        ("inspect", "inspection", 0.6),
        ("inspect", "delay", 0.2),
    ],
    columns=["operation", "activity", "minutes"],
)

PIECES = pd.DataFrame(
    [
        ("notebook, linen", 6.7, 3.8, 0.4, 0.8, 11.7, 11.5, 12.0, 12.0),
        ("journal, linen", 10.4, 9.2, 0.4, 1.2, 21.2, 20.9, 21.8, 28.0),
        ("card box", np.nan, 2.0, np.nan, 0.5, np.nan, np.nan, np.nan, np.nan),
    ],
    columns=["piece", "labour", "material", "rework_and_scrap", "overhead",
             "cost_per_good_piece", "cost_low", "cost_high", "price"],
)  # fmt: skip


def practice(laps: int = 40, workers: tuple[str, ...] = ("maker", "helper")) -> dict:
    """Points, curve, plateaus and breaks of made-up workers on one operation."""
    made = np.linspace(1, 400, laps)
    seconds = 40 + 80 * made**-0.3
    points = [
        pd.DataFrame({"worker": w, "pieces_made": made, "seconds": seconds, "laps": 3})
        for w in workers
    ]
    curve = [
        pd.DataFrame(
            {
                "worker": w,
                "pieces_made": made,
                "seconds": seconds,
                "low": 0.9 * seconds,
                "high": 1.1 * seconds,
            }
        )
        for w in workers
    ]
    return {
        "points": pd.concat(points, ignore_index=True),
        "curve": pd.concat(curve, ignore_index=True),
        "plateaus": pd.DataFrame({"worker": [workers[0]], "seconds": [41.0]}),
        "breaks": pd.DataFrame(
            {"worker": [workers[0]] * 2, "pieces_made": [100.0, 250.0], "days_away": [16.0, 11.0]}
        ),
    }


LOAD = pd.DataFrame(
    {
        "kind": ["person", "person", "station"],
        "name": ["maker", "helper", "press"],
        "share": [0.9, 1.3, 0.4],
        "low": [0.8, 1.1, 0.3],
        "high": [1.05, 1.5, 0.5],
    }
)
WEEKS = pd.DataFrame(
    {
        "week_start": pd.date_range("2026-08-03", periods=6, freq="7D"),
        "good_units": [40, 42, 39, 80, 41, 5],
        "good_units_per_bench_hour": [1.2, 1.3, np.nan, 2.4, 1.2, 0.2],
    }
)
LIMITS = {"centre": 41.0, "lower": 20.0, "upper": 62.0}
STOCK = pd.DataFrame(
    {
        "product": ["journal", "journal", "notebook"],
        "variant": ["linen", "marbled", ""],
        "stock": [10, 4, 300],
        "lasts_days": [20.0, 3.0, 250.0],
        "lasts_days_low": [12.0, 1.0, np.nan],
        "lasts_days_high": [31.0, 6.0, np.nan],
    }
)
FAULTS = pd.DataFrame(
    {
        "name": ["torn section", "loose thread", "smudge"],
        "amount": [22.5, 18.7, 3.0],
        "low": [15.0, 10.0, np.nan],
        "high": [31.0, 29.0, np.nan],
        "cumulative": [0.51, 0.93, 1.0],
    }
)
PACES = pd.DataFrame(
    {
        "measure": ["just before"] * 3 + ["own"] * 3,
        "percent": [80.0, 100.0, 125.0, 75.0, 100.0, 130.0],
        "pieces": 300,
        "share": [0.18, 0.05, 0.01, 0.05, 0.06, 0.07],
        "low": [0.14, 0.03, 0.0, 0.03, 0.04, 0.05],
        "high": [0.23, 0.08, 0.03, 0.08, 0.09, 0.1],
    }
)
PACE_LINE = PACES[PACES["measure"] == "just before"][["percent", "share", "low", "high"]]
CARE = PACES[PACES["measure"] == "own"].assign(batches=9)
COSTS = pd.DataFrame(
    {
        "seconds": [35.0, 40.0, 45.0, 50.0],
        "cost": [0.36, 0.35, 0.37, 0.4],
        "low": [0.33, 0.34, 0.36, 0.39],
        "high": [0.4, 0.36, 0.38, 0.42],
        "seen": [True, True, True, False],
    }
)
SHARES = pd.DataFrame(
    {
        "week_start": pd.date_range("2026-08-03", periods=5, freq="7D"),
        "share": [0.02, 0.03, np.nan, 0.08, 0.01],
        "centre": 0.02,
        "lower": [0.0, 0.0, np.nan, 0.0, 0.0],
        "upper": [0.05, 0.06, np.nan, 0.05, 0.05],
        "news": ["", "", "", "above", ""],
    }
)


def totals(minutes: pd.DataFrame = MINUTES) -> pd.DataFrame:
    """Each operation's minutes with a range of a tenth either way; the last has none."""
    table = minutes.groupby("operation", sort=False)["minutes"].sum().rename("total").reset_index()
    table = table.assign(low=0.9 * table["total"], high=1.1 * table["total"])
    table.loc[table.index[-1:], ["low", "high"]] = float("nan")
    return table
