"""Where an input comes from: a path, bytes or an open file, read and decoded once."""

from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import BinaryIO

import numpy as np

from analysis.problems import BadInput, Fault
from analysis.records.side_by_side import side_by_side

Source = str | PathLike | bytes | BinaryIO

MOST_BYTES = 1 << 30
PART = 1 << 23  # bytes


@dataclass(frozen=True)
class Input:
    """The bytes of one input as UTF-8 without BOM, the name it is shown by, and how it was read."""

    name: str
    data: memoryview
    encoding: str

    @property
    def text(self) -> str:
        """The whole of it, decoded anew at each call."""
        return str(self.data, "utf-8")


def read_source(source: Source, name: str = "") -> Input:
    """Read a source whole, shown by `name` in messages.

    Bytes that are not UTF-8 are read as cp1252. Raises BadInput where the source is missing, larger
    than MOST_BYTES, UTF-16 or not text. An empty one is read: its reader says what it lacks.
    """
    shown, data = _shown_name(source, name), _bytes(source, name)
    if len(data) > MOST_BYTES:
        raise _too_large(shown)
    mark = bytes(data[:3])
    if mark[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise _fault(shown, "is UTF-16 text", "save it again as CSV UTF-8")
    if mark == b"\xef\xbb\xbf":
        data = data[3:]
    letters = np.frombuffer(data, np.int8)  # those beyond ASCII are negative
    parts = [letters[start : start + PART] for start in range(0, len(letters), PART)]
    if min(side_by_side(np.min, parts, len(letters)), default=1) > 0:
        return Input(shown, data, "utf-8")
    for position in np.flatnonzero(letters == 0)[:1]:
        raise _not_text(shown, data, position)
    return _decoded(shown, data)


def _decoded(shown: str, data: memoryview) -> Input:
    try:
        str(data, "utf-8")
        return Input(shown, data, "utf-8")
    except UnicodeDecodeError:
        pass
    try:
        return Input(shown, memoryview(str(data, "cp1252").encode("utf-8")), "cp1252")
    except UnicodeDecodeError as error:
        raise _not_text(shown, data, error.start) from None


def _not_text(shown: str, data: memoryview, position: int) -> BadInput:
    row = bytes(data[:position]).count(b"\n") + 1
    return BadInput(
        [
            Fault(
                shown,
                row,
                "",
                "holds a byte that is no text",
                f"0x{data[position]:02x}",
                "save it again as CSV UTF-8",
            )
        ]
    )


def _bytes(source: Source, name: str) -> memoryview:
    shown = _shown_name(source, name)
    if isinstance(source, bytes):
        return memoryview(source)
    try:
        if hasattr(source, "read"):
            return memoryview(bytes(source.read()))
        return _file_bytes(Path(source), shown)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _fault(
            shown, f"cannot be read ({reason.lower()})", "check its name and place"
        ) from None


def _file_bytes(path: Path, shown: str) -> memoryview:
    """The bytes of a file, several parts at a time, in NumPy's memory: it comes in large pages."""
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise _too_large(shown)
    held = np.empty(size, np.uint8)

    def read(start: int) -> int:
        with open(path, "rb") as file:
            file.seek(start)
            return file.readinto(held.data[start : start + PART])

    if size and sum(side_by_side(read, range(0, size, PART), size)) == size:
        return held.data
    return memoryview(path.read_bytes())  # a pipe, or a file that has become shorter


def _too_large(shown: str) -> BadInput:
    return _fault(shown, f"is larger than {MOST_BYTES >> 30} GB", "split it into several files")


def _shown_name(source: Source, name: str) -> str:
    if name:
        return name
    if isinstance(source, bytes):
        return "the text given"
    return str(getattr(source, "name", source))


def _fault(name: str, problem: str, remedy: str) -> BadInput:
    return BadInput([Fault(name, 0, "", problem, "", remedy)])
