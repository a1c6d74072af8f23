"""What was worked out of a store, kept on disk until the store or the program changes.

A file holds one line that names what it was worked out from, then a pickle. A pickle can run code,
so a file is read only where it is the user's own and nobody else could have written it; whatever
else is wrong with it (foreign, half written, out of date), it is as if it were not there.
"""

from __future__ import annotations

import errno
import hashlib
import os
import pickle
import stat
import sys
import tempfile
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from analysis.store.glance import Unopened, last_change

if TYPE_CHECKING:
    from analysis.store.store import Store  # slow to import, and only named here

PACKAGE = Path(__file__).parents[1]
PICKLED_WITH = ("pandas", "pyarrow", "numpy")  # not imported here: plain answers need none of them
MOST_BYTES = 128_000_000  # a year of 500,000 laps is 81 MB; beyond, the disk is worth more
PIECE_BYTES = 2_000_000
_too_large: set[Path] = set()  # found so by this process: not written again to find it again
MOST_FILES = 8  # those of stores long gone make room


class Kept:
    """What was worked out of one store as it stands, by name, in a folder of the user's own."""

    def __init__(self, folder: Path, store: Store | Unopened):
        """`store` may be a Store or one not opened yet."""
        self.folder, self.url = Path(folder) / "kept", store.url
        stamp = str(last_change(store))
        self.made_from = _digest(self.url, stamp, program()).encode() + b"\n"

    def get(self, name: str) -> Any:
        """What was kept under a name; None where there is nothing, or nothing to be trusted."""
        try:
            with open(self._file(name), "rb", opener=_not_through_a_link) as file:
                if _is_private(file.fileno()) and file.readline(200) == self.made_from:
                    return pickle.load(file)
        except Exception:  # whatever a damaged pickle brings up: it is only made anew
            pass
        return None

    def put(self, name: str, value: object) -> None:
        """Keep a value under a name, in the place of what was there; silent where that fails."""
        if self._file(name) in _too_large:
            return
        unfinished = None
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle, unfinished = tempfile.mkstemp(dir=self.folder)  # for the user alone: 0600
            with open(handle, "wb") as file:
                pieces = _InPieces(file)
                pieces.write(self.made_from)
                pickle.dump(value, pieces, pickle.HIGHEST_PROTOCOL)
                pieces.to_the_disk()
            os.replace(unfinished, self._file(name))
            self._make_room()
        except (OSError, pickle.PicklingError, TypeError, AttributeError) as error:
            if isinstance(error, OSError) and error.errno == errno.EFBIG:
                _too_large.add(self._file(name))
        finally:
            if unfinished:  # still there under that name only where something failed
                Path(unfinished).unlink(missing_ok=True)

    def _make_room(self) -> None:
        files = sorted(self.folder.iterdir(), key=lambda file: file.stat().st_mtime, reverse=True)
        for file in files[MOST_FILES:]:
            file.unlink(missing_ok=True)

    def _file(self, name: str) -> Path:
        return self.folder / f"{_digest(self.url)}-{name}"


class _InPieces:
    """Writes a file to the disk piece by piece, and no file that is too large.

    A lap's commit waits for the disk, and on some file systems for all that other files have still
    to write: so it waits for one piece at most. The pickle is never in memory as a whole, either.
    """

    def __init__(self, file: BinaryIO):
        self.file, self.written, self.waiting = file, 0, 0

    def write(self, some: bytes | memoryview) -> None:
        """Take some of the file, as `pickle` hands it over."""
        view = memoryview(some).cast("B")
        for start in range(0, len(view), PIECE_BYTES):
            self._write(view[start : start + PIECE_BYTES])

    def _write(self, piece: memoryview) -> None:
        self.written += len(piece)
        if self.written > MOST_BYTES:
            raise OSError(errno.EFBIG, "too large to be kept")
        self.file.write(piece)
        self.waiting += len(piece)
        if self.waiting >= PIECE_BYTES:
            self.to_the_disk()

    def to_the_disk(self) -> None:
        """Until what was written so far lies there."""
        self.file.flush()
        os.fsync(self.file.fileno())
        self.waiting = 0


@cache
def program() -> str:
    """Names this program as it is: each of its files, and what its pickles are made with."""
    libraries = [spec.origin for spec in map(find_spec, PICKLED_WITH) if spec and spec.origin]
    own = sorted(
        os.path.join(folder, name)
        for folder, _, names in os.walk(PACKAGE)
        for name in names
        if name.endswith(".py")
    )
    files = [(file, os.stat(file)) for file in (*libraries, *own)]
    stamps = [f"{file} {found.st_size} {found.st_mtime_ns}" for file, found in files]
    return _digest(sys.version, *stamps)


def _digest(*texts: str) -> str:
    return hashlib.sha256("\n".join(texts).encode()).hexdigest()[:32]


def _not_through_a_link(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0))


def _is_private(handle: int) -> bool:
    """Whether only this user can have written the file; Windows keeps the cache folder so."""
    if not hasattr(os, "getuid"):
        return True
    found = os.fstat(handle)
    return found.st_uid == os.getuid() and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)
