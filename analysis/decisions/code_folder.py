"""Where the kernel's machine code is kept: a folder named by the source text of all compiled files.

numba itself looks only at the file of the outermost function, and would go on using old code where
another one changed. Nothing here imports numba, so that to look whether there is machine code costs
next to nothing.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from functools import cache
from importlib.metadata import version
from pathlib import Path

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
    name = hashlib.sha256(text + version("numba").encode()).hexdigest()[:16]
    return _writable_folder() / f"kernel-{name}"


@cache
def _writable_folder() -> Path:
    """NUMBA_CACHE_DIR, else the user's cache; where that cannot be written to, a folder of this
    process alone (machine code is not to be read from where others may write)."""
    named = os.environ.get("NUMBA_CACHE_DIR")
    folder = Path(named) if named else platformdirs.user_cache_path("workshop-time-study")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        writable = os.access(folder, os.W_OK)
    except OSError:
        writable = False
    return folder if writable else Path(tempfile.mkdtemp(prefix="workshop-kernel-"))
