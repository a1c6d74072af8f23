"""The demo: a store of its own made from the sample files, and made anew when they change."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.store.glance import Unopened

if TYPE_CHECKING:
    from analysis.store.store import Store

FILES = ("laps.csv", "routing.csv", "shop.toml", "stock_movements.csv")
STORE_FILE = "demo.sqlite"


def open_demo(samples_folder: Path, cache_folder: Path) -> Unopened:
    """The demo store in the cache folder; made from the sample files where it is missing.

    The folder's name carries the hash of the sample files, so changed files make another demo.
    It is filled under a name of its own and then renamed, which only the first of several
    processes can do; the others open what the first has made.
    """
    folder = Path(cache_folder) / f"demo-{_hash_of_files(Path(samples_folder))}"
    if not folder.exists():
        _make(Path(samples_folder), folder)
    return Unopened(_url(folder), lambda: _opened(folder))


def _opened(folder: Path) -> Store:
    from analysis.store.store import open_store  # slow to import, and kept answers need none of it

    return open_store(_url(folder))


def _make(samples: Path, folder: Path) -> None:
    folder.parent.mkdir(parents=True, exist_ok=True)
    unfinished = Path(tempfile.mkdtemp(prefix="unfinished-demo-", dir=folder.parent))
    try:
        _fill(samples, unfinished)
        os.rename(unfinished, folder)
    except OSError:
        if not folder.exists():
            raise
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)


def _fill(samples: Path, folder: Path) -> None:
    """Put the sample files into a new store and close it, so that all of it is in the file."""
    from analysis.records.laps import read_laps
    from analysis.records.routing import read_routing
    from analysis.records.shop import read_shop

    store = _opened(folder)
    shop = read_shop(samples / "shop.toml")
    store.save_shop(shop)
    store.save_routing(read_routing(samples / "routing.csv"))
    _take_in_stock(store, samples / "stock_movements.csv")
    store.import_laps(read_laps(samples / "laps.csv", shop))
    store.close()


def _take_in_stock(store: Store, file: Path) -> None:
    """Put the sample's counts, sales and put-aways into the stock book, where there are any."""
    if not file.exists():
        return
    from analysis.records.movements import read_movements

    for row in read_movements(file, store.shop()).itertuples():
        store.add_stock_event(
            row.kind, row.product, row.pieces, row.variant, row.moved_at, row.note
        )


def _hash_of_files(samples: Path) -> str:
    together = hashlib.sha256()
    for name in FILES:
        file = samples / name
        together.update(file.read_bytes() if file.exists() else b"")
    return together.hexdigest()[:12]


def _url(folder: Path) -> str:
    return f"sqlite:///{folder / STORE_FILE}"
