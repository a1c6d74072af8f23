"""Small lap frames for tests, as the reader of laps would hand them on."""

import pandas as pd

CATEGORIES = (
    "product",
    "operation",
    "worker",
    "variant",
    "batch",
    "activity",
    "cause",
    "cause_operation",
)
DEFAULTS = {
    "product": "box",
    "operation": "glue",
    "worker": "maker",
    "variant": "",
    "batch": "",
    "activity": "operation",
    "cause": "",
    "cause_operation": "",
    "note": "",
    "units": 1,
    "rework_units": 0,
    "scrap_units": 0,
    "rating": 100.0,
}
COLUMNS = (
    "row",
    "lap_id",
    "started_at",
    "seconds",
    *CATEGORIES,
    "note",
    "units",
    "rework_units",
    "scrap_units",
    "rating",
)


def laps_frame(rows: list[dict], start: str = "2026-03-02T09:00:00Z") -> pd.DataFrame:
    """A checked laps frame; laps without started_at follow one another from `start`."""
    moment, filled = pd.Timestamp(start), []
    for number, row in enumerate(rows):
        moment = pd.Timestamp(row.get("started_at", moment))
        filled.append(
            {**DEFAULTS, **row, "row": number + 2, "lap_id": f"l{number}", "started_at": moment}
        )
        moment += pd.Timedelta(seconds=row["seconds"] + 1)
    frame = pd.DataFrame(filled, columns=list(COLUMNS))
    frame["started_at"] = pd.to_datetime(frame["started_at"], utc=True).dt.as_unit("us")
    for name in CATEGORIES:
        frame[name] = frame[name].astype("str").astype("category")
    kinds = {"row": "int64", "lap_id": "str", "note": "str", "seconds": float, "rating": float}
    return frame.astype(kinds | dict.fromkeys(("units", "rework_units", "scrap_units"), "int64"))


ROUTING = {
    "product": "box",
    "operation": "glue",
    "variant": "",
    "after": "",
    "seconds": 60.0,
    "setup_seconds": 0.0,
    "wait_seconds": 0.0,
    "setup_wait_seconds": 0.0,
    "station": "",
    "skill": "",
    "pieces_at_once": 1,
    "wait_holds_station": False,
    "rack": "",
    "rack_places": 0,
    "max_wait_seconds": float("nan"),
}


def routing_frame(rows: list[dict]) -> pd.DataFrame:
    """A routing frame with the contract's columns."""
    return pd.DataFrame([{"row": n + 2, **ROUTING, **row} for n, row in enumerate(rows)])
