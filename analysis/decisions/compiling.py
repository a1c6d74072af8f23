"""Compiling the kernel with numba, and where the machine code is kept.

numba takes 0.3 s to import and the kernel seconds to compile, so this module and those that use it
are imported only when weeks are simulated. The machine code is kept on disk, in a folder named by
the source text of all compiled files: numba itself looks only at the file of the outermost
function, and would go on using old code where another one changed.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from functools import cache
from pathlib import Path

import numba
import platformdirs

COMPILED_FILES = (
    "batch.py", "compiling.py", "draws.py", "floor.py", "hands.py", "hours.py", "kernel.py",
    "layout.py", "pieces.py", "practice.py", "shelf.py",
)  # fmt: skip


@cache
def cache_folder() -> Path:
    """Where this version of the compiled functions is kept."""
    here = Path(__file__).parent
    text = b"".join((here / name).read_bytes() for name in COMPILED_FILES)
    name = hashlib.sha256(text + numba.__version__.encode()).hexdigest()[:16]
    return _writable_folder() / f"kernel-{name}"


@cache
def _writable_folder() -> Path:
    """The user's cache; where it cannot be written to, a folder of this process alone (machine
    code is not to be read from where others may write)."""
    folder = platformdirs.user_cache_path("workshop-time-study")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        writable = os.access(folder, os.W_OK)
    except OSError:
        writable = False
    return folder if writable else Path(tempfile.mkdtemp(prefix="workshop-kernel-"))


def compiled(function):
    """The function as machine code: releases the lock, divides by zero as numpy does.

    Not `fastmath`: sums keep their order, and a run has the same bits however it is done.
    """
    return numba.njit(cache=True, nogil=True, error_model="numpy")(function)


numba.config.CACHE_DIR = str(cache_folder())
