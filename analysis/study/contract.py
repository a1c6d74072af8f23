"""A study as the one JSON object that `study --json` prints: plain numbers, null for not known."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from analysis.study.summary import Study

# Column of the answer -> column of the frame, or (low, high) columns of an interval.
OPERATIONS = {
    "product": "product", "operation": "operation", "laps": "laps", "units": "units",
    "observed_seconds": "observed_seconds", "observed_ci95": ("observed_low", "observed_high"),
    "normal_seconds": "normal_seconds", "standard_seconds": "standard_seconds",
    "laps_needed": "laps_needed", "share_of_bench_time": "share_of_bench_time",
}  # fmt: skip
LEARNING = {
    "product": "product", "operation": "operation", "worker": "worker", "curve": "curve",
    "first_unit_seconds": "first_unit_seconds", "learning_rate": "learning_rate",
    "learning_rate_ci95": ("learning_rate_low", "learning_rate_high"),
    "plateau_seconds": "plateau_seconds", "pieces_made": "pieces_made",
    "next_unit_seconds": "next_unit_seconds",
    "next_unit_pi95": ("next_unit_low", "next_unit_high"),
    "retention_per_week": "retention_per_week", "restart_effect": "restart_effect",
    "pooled": "pooled", "note": "note",
}  # fmt: skip
QUALITY = {
    "product": "product", "operation": "operation", "first_pass_yield": "first_pass_yield",
    "first_pass_yield_ci95": ("first_pass_yield_low", "first_pass_yield_high"),
    "scrap_rate": "scrap_rate", "rework_seconds_per_unit": "rework_seconds_per_unit",
    "scrap_rate_ci95": ("scrap_rate_low", "scrap_rate_high"), "units": "units",
    "rework_units": "rework_units", "scrap_units": "lost_units", "batches": "batches",
    "likeness": "likeness",
}  # fmt: skip
TAKT = {
    "product": "product", "demand_per_week": "demand_per_week", "takt_seconds": "takt_seconds",
    "work_content_seconds": "work_content_seconds",
    "work_content_ci95": ("work_content_low", "work_content_high"),
    "workers_needed": "workers_needed", "bottleneck": "bottleneck",
    "bottleneck_probability": "bottleneck_probability", "note": "note",
}  # fmt: skip
COST = {
    "product": "product", "variant": "variant", "labour": "labour", "material": "material",
    "rework_and_scrap": "rework_and_scrap", "overhead": "overhead",
    "cost_per_good_piece": "cost_per_good_piece", "cost_ci95": ("cost_low", "cost_high"),
    "price": "price", "earned_per_hour": "earned_per_hour",
    "earned_per_hour_ci95": ("earned_low", "earned_high"), "note": "note",
}  # fmt: skip
WEEKS = {
    "week_start": "week_start",
    "good_units": "good_units",
    "bench_hours": "bench_hours",
    "good_units_per_bench_hour": "good_units_per_bench_hour",
}

WHOLE = ("laps_needed",)  # counts that may be unknown, and are floats in their frame for it


def as_contract(study: Study) -> dict:
    """The answer of the command line's `study`; without a shop, takt and cost are left empty."""
    rolled = study.rolled_yield
    return {
        "laps": {
            "read": study.laps_read, "used": study.laps_used,
            "set_aside": _rows(study.set_aside, {k: k for k in ("row", "lap_id", "reason")}),
        },
        "operations": _rows(study.operations, OPERATIONS),
        "learning": _rows(study.learning.cells, LEARNING),
        "quality": _rows(study.quality, QUALITY),
        "rolled_throughput_yield": {
            product: plain(value) for product, value in
            zip(rolled["product"], rolled["rolled_throughput_yield"], strict=True)
        },
        "takt": _rows(study.takt, TAKT) if study.shop_given else [],
        "cost": _rows(study.cost, COST) if study.shop_given else [],
        "weeks": _rows(study.weeks, WEEKS),
    }  # fmt: skip


def _rows(frame: pd.DataFrame, columns: dict) -> list[dict]:
    values = {
        name: _pairs(frame, source)
        if isinstance(source, tuple)
        else [_whole(value) if name in WHOLE else plain(value) for value in frame[source]]
        for name, source in columns.items()
    }
    return [dict(zip(values, row, strict=True)) for row in zip(*values.values(), strict=True)]


def _whole(value: float) -> int | None:
    return None if pd.isna(value) else int(value)


def _pairs(frame: pd.DataFrame, ends: tuple[str, str]) -> list[list | None]:
    """[low, high] of every row; null where the interval is not known."""
    lows, highs = ([plain(value) for value in frame[end]] for end in ends)
    return [
        None if low is None or high is None else [low, high]
        for low, high in zip(lows, highs, strict=True)
    ]


def plain(value: object) -> bool | int | float | str | None:
    """A value JSON can carry: NaN and infinities are null, whole floats of counts stay floats."""
    if value is None or value is pd.NaT:
        return None
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return str(value)
