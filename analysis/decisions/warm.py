"""Compiling ahead: machine code is made by a process of its own and kept on disk.

`python -m analysis.decisions.warm` makes it, once on each machine and for each version.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.decisions.code_folder import cache_folder

if TYPE_CHECKING:
    from analysis.decisions.shop_model import ShopModel

MADE, IN_THE_MAKING = "made", "in the making"
LONGEST_SECONDS = 180.0  # what is then still in the making was broken off
KEPT_VERSIONS = 4  # two at work side by side, and those before


def machine_code_is_there() -> bool:
    """Whether this version has been compiled on this machine."""
    return (cache_folder() / MADE).exists()


def begin() -> subprocess.Popen | None:
    """Have another process compile, unless one is at it or it is done; does not wait."""
    folder = cache_folder()
    if machine_code_is_there() or _is_fresh(folder / IN_THE_MAKING):
        return None
    folder.mkdir(parents=True, exist_ok=True)
    (folder / IN_THE_MAKING).touch()
    process = subprocess.Popen(
        [sys.executable, "-m", "analysis.decisions.warm"],
        cwd=Path(__file__).parents[2],
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    if hasattr(os, "setpriority"):
        with suppress(OSError):  # it has ended already
            os.setpriority(os.PRIO_PROCESS, process.pid, 5)  # pages that are drawn go first
    return process


def is_in_the_making(process: subprocess.Popen | None) -> bool:
    """Whether there is still something to wait for: ours, or another's that is not too old."""
    if machine_code_is_there():
        return False
    if process is not None:
        return process.poll() is None
    return _is_fresh(cache_folder() / IN_THE_MAKING)


def note_made() -> None:
    """Note that the machine code is on disk."""
    folder = cache_folder()
    if not (folder / MADE).exists():
        folder.mkdir(parents=True, exist_ok=True)
        (folder / MADE).touch()
        (folder / IN_THE_MAKING).unlink(missing_ok=True)
        forget_old_versions(folder)


def forget_old_versions(folder: Path) -> None:
    """Delete the machine code of all but the KEPT_VERSIONS newest versions; `folder` stays."""
    made = {}
    for other in folder.parent.glob("kernel-*"):
        with suppress(OSError):  # another process deletes it
            made[other] = other.stat().st_mtime
    made.pop(folder, None)
    for old in sorted(made, key=lambda other: made[other], reverse=True)[KEPT_VERSIONS - 1 :]:
        shutil.rmtree(old, ignore_errors=True)


def _is_fresh(path: Path) -> bool:
    try:
        return time.time() - path.stat().st_mtime < LONGEST_SECONDS
    except FileNotFoundError:
        return False


def smallest_shop() -> ShopModel:
    """One hand, one product, one step: enough to compile all."""
    from analysis.decisions.shop_model import Hand, Line, ShopModel, Skill, Step  # loads numpy

    line = Line("piece", "", (Step("make"),), 1, 1.0)
    return ShopModel((line,), {("hand", "piece", "make"): Skill(60.0)}, (Hand("hand"),))


def main() -> None:
    """Compile all that simulated weeks need."""
    from analysis.decisions.simulate import simulate

    simulate(smallest_shop(), weeks=1, runs=1, seed=0)


if __name__ == "__main__":
    main()
