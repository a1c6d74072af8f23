"""The command line, run as its user runs it: a process, its output, its exit status."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def run(*arguments, status=0):
    """`python -m analysis` with these arguments; no traceback, and the status asked for."""
    done = subprocess.run(
        [sys.executable, "-m", "analysis", *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    return done
