"""The command line, as its user runs it: arguments in, output and exit status out.

`run` calls the program's own entry in this process, which saves loading its libraries at each
call; `run_process` starts `python -m analysis`, where it matters that a process ends.
"""

import contextlib
import io
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]


@dataclass(frozen=True)
class Done:
    """What one call has printed."""

    stdout: str
    stderr: str


def run(*arguments, status=0) -> Done:
    """The verb with these arguments; no exception, and the status asked for."""
    from analysis.__main__ import main

    out, err = io.StringIO(), io.StringIO()
    on_interrupt = signal.getsignal(signal.SIGINT)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            ended = main([*map(str, arguments)])
    except SystemExit as left:  # how argparse refuses
        ended = left.code
    finally:
        signal.signal(signal.SIGINT, on_interrupt)  # a process would end with its own
    done = Done(out.getvalue(), err.getvalue())
    assert ended == status, done.stderr
    assert "Traceback" not in done.stderr
    return done


def run_process(*arguments, status=0):
    """`python -m analysis` with these arguments; no traceback, and the status asked for."""
    done = subprocess.run(
        [sys.executable, "-m", "analysis", *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == status, done.stderr
    assert "Traceback" not in done.stderr
    return done
