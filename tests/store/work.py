"""A day's work on a store, the same for the same seed: what a process is killed in the middle of.

Each step reads the store and makes one change. Steps depend on the seed and on what is stored
alone, so that a second store taken through the same steps shows what the first must hold.
"""

import random
from itertools import count

import pandas as pd

from analysis.records.laps import check_laps
from analysis.store import bench
from analysis.store.connection import writing
from analysis.store.store import Store, open_store
from analysis.store.tables import CONTENT

NOON = 1_770_000_000_000_000  # microseconds of UTC
ZONES = ("UTC", "Europe/Berlin", "America/New_York", "Pacific/Auckland")


def opened(url: str) -> Store:
    """The store, with a clock that counts its own readings: the same changes at the same times."""
    readings = count(NOON, 1_000_000)
    return open_store(url, lambda: next(readings))


def step(store: Store, seed: int, number: int) -> None:
    """One change of the kind that seed and number draw."""
    chance = random.Random(f"{seed} {number}")
    ids = sorted(store.laps()["lap_id"])
    kinds = [_import, _import, _phone] + ([_correct, _remove, _many, _undo, _zone] if ids else [])
    chance.choice(kinds)(store, chance, ids, f"{seed}-{number}")


def _import(store: Store, chance: random.Random, ids: list[str], name: str) -> None:
    rows = [
        {"lap_id": f"{name}-{n}", "started_at": f"2026-0{1 + n % 9}-0{1 + n % 8}T10:00:{n % 60:02}",
         "seconds": repr(chance.uniform(1, 500)), "product": "desk journal", "operation": "sew"}
        for n in range(chance.choice((1, 40, 2500)))
    ]  # fmt: skip
    store.import_laps(check_laps(rows, f"{name}.csv", store.shop()))


def _phone(store: Store, chance: random.Random, ids: list[str], name: str) -> None:
    """Laps of a phone; some are corrected in the same delivery."""
    blank = dict.fromkeys(CONTENT, "") | {
        "units": 1, "rework_units": 0, "scrap_units": 0, "rating": 100.0, "activity": "operation",
        "product": "pocket notebook", "operation": "trim", "worker": "maker",
    }  # fmt: skip
    laps = []
    for n in range(chance.choice((1, 1, 60))):
        row = blank | {"lap_id": f"{name}-{n}", "started_at": NOON + n,
                       "seconds": chance.uniform(1, 99)}  # fmt: skip
        laps.append(bench.PhoneLap(row["lap_id"], 0, False, row))
        if chance.random() < 0.3:
            laps.append(bench.PhoneLap(row["lap_id"], 1, False, row | {"units": 2}))
    with writing(store.engine) as connection:
        bench.record(connection, [bench.Delivery("phone", NOON, NOON, tuple(laps))])


def _correct(store: Store, chance: random.Random, ids: list[str], name: str) -> None:
    store.correct_lap(chance.choice(ids), {"seconds": repr(chance.uniform(1, 500))})


def _many(store: Store, chance: random.Random, ids: list[str], name: str) -> None:
    store.correct_laps(chance.sample(ids, min(len(ids), 700)), {"batch": name})


def _remove(store: Store, chance: random.Random, ids: list[str], name: str) -> None:
    store.remove_laps(chance.sample(ids, min(len(ids), 30)))


def _undo(store: Store, chance: random.Random, ids: list[str], name: str) -> None:
    store.undo(store.version())


def _zone(store: Store, chance: random.Random, ids: list[str], name: str) -> None:
    """Another zone moves every lap written without an offset, and all totals."""
    others = [zone for zone in ZONES if zone != store.shop().timezone]
    store.save_shop(f'[shop]\ntimezone = "{chance.choice(others)}"')


def held(store: Store) -> tuple:
    """All that a store says, to be compared: laps, totals, log of changes."""
    laps = store.laps().astype("str")
    parts = (laps, store.weeks().astype("str"), store.changes(1000).astype("str"))
    return tuple(int(pd.util.hash_pandas_object(part, index=False).sum()) for part in parts)


def work_until_killed(url: str, seed: int, steps: int, told) -> None:
    """Open the store and work; `told.send(n)` when n steps are done. Ends by being killed."""
    store = opened(url)
    told.send(0)
    for number in range(steps):
        step(store, seed, number)
        told.send(number + 1)
    told.recv()  # nobody answers: wait for the end


def migrate_until_killed(url: str, told) -> None:
    """Open an older store, which brings its tables up to date."""
    told.send(0)
    open_store(url)
    told.send(1)
    told.recv()
