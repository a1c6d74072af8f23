"""Make the bindery's files from known true values: `python data_samples/make_samples.py`.

Everything a test may ask back stands in `Truth` (truth.py) and is written to truth.json beside
the files; shop.toml and messy_laps.csv are written by hand. The seed is frozen: it was chosen
before any result was seen and is not tuned. The same numpy gives the same bytes.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime
import io
import json
import pathlib
import sys
import zoneinfo

import numpy as np

FOLDER = pathlib.Path(__file__).parent
if not __package__:  # run as a script: its own folder is on the path, the project's is not
    sys.path.insert(0, str(FOLDER.parent))

from data_samples.bindery import DAY, VARIANTS, WEEK, Bindery  # noqa: E402
from data_samples.truth import HOUR, Truth, mean_seconds  # noqa: E402

LAP_COLUMNS = (
    "lap_id", "started_at", "seconds", "worker", "product", "variant", "batch", "operation",
    "activity", "units", "rework_units", "scrap_units", "cause", "cause_operation", "rating",
    "note",
)  # fmt: skip


def lap_rows(bindery: Bindery) -> list[dict]:
    """The laps in the order of their start, numbered, with a local time and its offset."""
    truth, zone = bindery.truth, zoneinfo.ZoneInfo(bindery.truth.timezone)
    order = sorted(range(len(bindery.laps)), key=lambda i: (bindery.laps[i]["start"], i))
    forgotten = set(bindery.forgotten)
    rows = []
    for number, i in enumerate(order, start=1):
        lap = bindery.laps[i]
        lap_id = f"lap-{number:05d}"
        if i in forgotten:
            bindery.forgotten_ids.append(lap_id)
        local = bindery.monday + datetime.timedelta(seconds=lap["start"])
        rating = truth.rating_percent[lap["worker"]]
        rows.append(
            {
                "units": 1,
                "rework_units": 0,
                "scrap_units": 0,
                "cause": "",
                "cause_operation": "",
                "note": "",
                **lap,
                "lap_id": lap_id,
                "started_at": local.replace(tzinfo=zone).isoformat(),
                "rating": "" if rating == 100 else rating,
            }
        )
    _add_notes(rows)
    return rows


def _add_notes(rows: list[dict]) -> None:
    """A few words as a maker leaves them: commas, quotes and an accent belong in the file."""
    rows[0]["note"] = "first day with the watch"
    previous = None
    for row in rows:
        day = datetime.date.fromisoformat(row["started_at"][:10])
        if previous and (day - previous).days > 10:
            row["note"] = "back at the bench, hands cold"
        previous = day
    for row in [r for r in rows if r["operation"] == "marble paper"][::40]:
        row["note"] = 'papier à la cuve, "size" a little thin'


def as_csv(columns: tuple[str, ...], rows: list[dict]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


ROUTING_COLUMNS = (
    "product", "operation", "variant", "after", "seconds", "setup_seconds", "wait_seconds",
    "setup_wait_seconds", "station", "skill", "pieces_at_once", "wait_holds_station", "rack",
    "rack_places", "max_wait_seconds",
)  # fmt: skip


def routing_rows(truth: Truth) -> list[dict]:
    rows = []
    for product, steps in truth.routing.items():
        operations = {o.name: o for o in truth.operations[product]}
        for step in steps:
            o = operations[step.operation]
            rows.append(
                {
                    "product": product,
                    "operation": o.name,
                    "variant": step.variant,
                    "after": step.after,
                    "seconds": int(o.planned_seconds),
                    "setup_seconds": int(o.setup_seconds),
                    "wait_seconds": int(o.wait_seconds),
                    "setup_wait_seconds": int(o.setup_wait_seconds),
                    "station": o.station,
                    "skill": "" if len(o.workers) == 2 else "|".join(o.workers),
                    "pieces_at_once": 1,
                    "wait_holds_station": "true" if o.wait_holds_station else "",
                    "rack": o.rack,
                    "rack_places": o.rack_places or "",
                }
            )
    return rows


STOCK_COLUMNS = ("moved_at", "kind", "product", "variant", "pieces")
LAST_PUT_AWAY = "2026-11-19"  # what was wrapped later still lies on the bench
# fmt: off
WEEKLY_SALES = {
    ("pocket notebook", "linen"): 36, ("pocket notebook", "marbled"): 26,
    ("desk journal", "linen"): 14, ("desk journal", "marbled"): 12,
    ("desk journal", "left-open"): 10, ("desk journal", "quarter-cloth"): 8,
}
# fmt: on


def stock_rows(bindery: Bindery) -> list[dict]:
    """One count of the shelf after the second break, then sales and put-aways in order."""
    zone = zoneinfo.ZoneInfo(bindery.truth.timezone)
    rows, stock = [], {}
    for at, kind, product, variant, pieces in _stock_events(bindery):
        on_shelf = stock.get((product, variant), 0)
        if kind == "sale":
            pieces = min(pieces, on_shelf)  # nobody buys what is not there
        change = {"count": pieces - on_shelf, "sale": -pieces, "put_away": pieces}
        stock[product, variant] = on_shelf + change[kind]
        local = bindery.monday + datetime.timedelta(seconds=at)
        moved_at = local.replace(tzinfo=zone).isoformat()
        rows.append(dict(zip(STOCK_COLUMNS, (moved_at, kind, product, variant, pieces),
                             strict=True)))  # fmt: skip
    return rows


def _stock_events(bindery: Bindery) -> list[tuple]:
    """(seconds, kind, product, variant, pieces): asked for, where a sale; in order of time."""
    rng = np.random.default_rng(bindery.truth.seed + 1)
    first = bindery.seconds_at(bindery.truth.breaks[-1][1])
    last = bindery.seconds_at(LAST_PUT_AWAY)
    kinds = [(product, variant) for product, named in VARIANTS.items() for variant in named]
    counts = [(first + 10 * HOUR, "count", *kind, int(rng.integers(20, 45))) for kind in kinds]
    put_away = [
        (b.done_at["wrap"] // DAY * DAY + 16.5 * HOUR, "put_away", b.product, b.variant,
         int(b.whole.sum()))
        for b in bindery.batches if first < b.done_at.get("wrap", 0) < last
    ]  # fmt: skip
    sales = [
        (first + week * WEEK + 5 * DAY + 15 * HOUR, "sale", *kind, int(rng.poisson(pieces)))
        for week in range(5) for kind, pieces in WEEKLY_SALES.items()
    ]  # fmt: skip
    return counts + sorted(put_away + sales)


def cell_truths(bindery: Bindery) -> list[dict]:
    """Per worker, product and operation: the curve, and where practice stands at the end."""
    truth, cells = bindery.truth, []
    for (worker, product, name), made in sorted(bindery.pieces_made.items()):
        operation = next(o for o in truth.operations[product] if o.name == name)
        factor = truth.helper_first_unit_factor if worker == "helper" else 1.0
        experience = bindery.experience[worker, product, name]
        cells.append(
            {
                "worker": worker,
                "product": product,
                "operation": name,
                "curve": operation.curve,
                "first_unit_seconds": round(operation.first_unit_seconds * factor, 4),
                "learning_rate": operation.learning_rate,
                "plateau_seconds": round(operation.plateau_seconds * factor, 4) or None,
                "prior_pieces": operation.prior_pieces or None,
                "batch_sd": operation.batch_sd,
                "pieces_made": made,
                "experience_at_end": round(experience, 4),
                "mean_restart_multiple": round(
                    np.divide(*bindery.restart_seconds[worker, product, name]), 6
                ),
                "present_seconds": round(mean_seconds(operation, worker, experience + 1, truth), 4),
            }
        )
    return cells


def truth_json(bindery: Bindery) -> str:
    values = dataclasses.asdict(bindery.truth)
    values["cells"] = cell_truths(bindery)
    values["forgotten_stop_lap_ids"] = bindery.forgotten_ids
    return json.dumps(values, indent=1) + "\n"


def make_files(truth: Truth | None = None) -> dict[str, str]:
    """File name -> text of every sample file."""
    bindery = Bindery(truth or Truth())
    bindery.work()
    laps = lap_rows(bindery)
    return {
        "laps.csv": as_csv(LAP_COLUMNS, laps),
        "routing.csv": as_csv(ROUTING_COLUMNS, routing_rows(bindery.truth)),
        "stock_movements.csv": as_csv(STOCK_COLUMNS, stock_rows(bindery)),
        "truth.json": truth_json(bindery),
    }


def main(folder: pathlib.Path = FOLDER) -> None:
    for name, text in make_files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
