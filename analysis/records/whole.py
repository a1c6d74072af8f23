"""A file is written whole or not at all: what stood there stays as it is until the new one is."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from analysis.problems import Problem


def write_whole(target: str | Path, write: Callable[[BinaryIO], None]) -> None:
    """Have `write` fill a file that then takes the name of `target`.

    Problem where that cannot be done; what stood there is then unchanged.
    """
    try:
        _write_anew(Path(target), write)
    except OSError as error:
        raise Problem(f"{target} cannot be written ({error.strerror}); choose another place."
                      ) from None  # fmt: skip


def _write_anew(target: Path, write: Callable[[BinaryIO], None]) -> None:
    if target.exists() and not target.is_file():  # a device or a pipe is not replaced
        with open(target, "wb") as file:
            write(file)
        return
    target = target.resolve()  # what a link points to is replaced, not the link
    unfinished = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        with open(unfinished, "xb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            os.chmod(unfinished, target.stat().st_mode)
        os.replace(unfinished, target)
    finally:
        unfinished.unlink(missing_ok=True)
