"""Where an input comes from: a path, bytes or an open file, read and decoded once."""

from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import BinaryIO

from analysis.problems import BadInput, Fault

Source = str | PathLike | bytes | BinaryIO

MOST_BYTES = 1 << 30


@dataclass(frozen=True)
class Input:
    """The bytes of one input as UTF-8 without BOM, the name it is shown by, and how it was read."""

    name: str
    data: bytes
    encoding: str

    @property
    def text(self) -> str:
        return self.data.decode("utf-8")


def read_source(source: Source, name: str = "") -> Input:
    """Read a source whole; BadInput where it is missing, empty, too large or not text."""
    shown, data = _shown_name(source, name), _bytes(source, name)
    if len(data) > MOST_BYTES:
        raise _too_large(shown)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _fault(shown, "is UTF-16 text", "save it again as CSV UTF-8")
    data = data.removeprefix(b"\xef\xbb\xbf")
    position = data.find(b"\0")
    if position >= 0:
        raise _not_text(shown, data, position)
    if data.isascii():
        return Input(shown, data, "utf-8")
    return _decoded(shown, data)


def _decoded(shown: str, data: bytes) -> Input:
    try:
        data.decode("utf-8")
        return Input(shown, data, "utf-8")
    except UnicodeDecodeError:
        pass
    try:
        return Input(shown, data.decode("cp1252").encode("utf-8"), "cp1252")
    except UnicodeDecodeError as error:
        raise _not_text(shown, data, error.start) from None


def _not_text(shown: str, data: bytes, position: int) -> BadInput:
    row = data.count(b"\n", 0, position) + 1
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


def _bytes(source: Source, name: str) -> bytes:
    shown = _shown_name(source, name)
    if isinstance(source, bytes):
        return source
    try:
        if hasattr(source, "read"):
            return bytes(source.read())
        if Path(source).stat().st_size > MOST_BYTES:
            raise _too_large(shown)
        return Path(source).read_bytes()
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise _fault(
            shown, f"cannot be read ({reason.lower()})", "check its name and place"
        ) from None


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
