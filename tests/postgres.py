"""A PostgreSQL server of the tests' own: in a temporary folder, on a socket, gone afterwards."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def programs() -> Path | None:
    """The folder of PostgreSQL's programs, None where it is not installed."""
    found = shutil.which("initdb")
    folders = [Path(found).parent] if found else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((folder for folder in folders if (folder / "initdb").exists()), None)


@contextmanager
def server() -> Iterator[str]:
    """Run a server for as long as the block lasts; the address of its database."""
    folder = Path(tempfile.mkdtemp(prefix="pg-"))  # short: a socket's path has 107 letters
    # PostgreSQL refuses to run as root; Debian's package brings a user for it.
    who = {"user": "postgres", "group": "postgres"} if os.getuid() == 0 else {}
    if who:
        shutil.chown(folder, "postgres", "postgres")
    data = folder / "data"
    try:
        _run("initdb", "-D", data, "-A", "trust", "-U", "tests", "-E", "UTF8", "-N", **who)
        # Nobody pulls this server's plug: it need not wait for the disk (its clients are killed).
        options = f"-c fsync=off -c listen_addresses= -c unix_socket_directories={folder}"
        _run("pg_ctl", "-D", data, "-w", "-l", folder / "log", "-o", options, "start", **who)
        yield f"postgresql+psycopg://tests@/postgres?host={folder}"
    finally:
        if (data / "postmaster.pid").exists():
            _run("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop", **who)
        shutil.rmtree(folder, ignore_errors=True)


def _run(program: str, *arguments: object, **who: str) -> None:
    command = [str(programs() / program), *map(str, arguments)]
    done = subprocess.run(
        command, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, **who
    )
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)}: {done.stderr}")
