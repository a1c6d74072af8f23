"""What every test shares: a store of its own, and never the user's."""

import os
from itertools import count

import platformdirs
import pytest
from hypothesis import settings

from tests import postgres

_shops = count(1)

# Simulated weeks are compiled once for all servers that tests start, each with a home of its own.
os.environ.setdefault(
    "NUMBA_CACHE_DIR", str(platformdirs.user_cache_path("workshop-time-study").absolute())
)

# A clean clone is asked the same examples each time; at a desk, new ones are looked for.
settings.register_profile("clone", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("clone")


@pytest.fixture(autouse=True)
def own_store(tmp_path, monkeypatch):
    """Point the program at an empty store in a temporary folder for the length of one test."""
    url = f"sqlite:///{tmp_path / 'workshop.sqlite'}"
    monkeypatch.setenv("WORKSHOP_STORE", url)
    monkeypatch.setenv("WORKSHOP_DEMO_FOLDER", str(tmp_path / "demo"))
    return url


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory):
    """Call with a name: a folder that all processes of this run share, for what is made once."""
    base = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        base = base.parent

    def folder(name: str):
        (base / name).mkdir(exist_ok=True)
        return base / name

    return folder


@pytest.fixture(scope="session")
def postgres_server():
    """The address of a PostgreSQL server that runs while the tests do; .ci/run requires it."""
    if postgres.programs() is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL is not installed: apt-get install postgresql")
        pytest.skip("PostgreSQL is not installed (apt install postgresql)")
    with postgres.server() as url:
        yield url


@pytest.fixture
def postgres_url(postgres_server):
    """The address of a shop of this test's own on the server."""
    return f"{postgres_server}&shop=shop_{next(_shops)}"


@pytest.fixture
def fault_table(request):
    """Call with a fault, its rounds and their losses: a row of the table that ends the output."""

    def tell(fault: str, rounds: int, losses: int) -> None:
        request.node.user_properties.append(("fault", [fault, rounds, losses]))

    return tell


def pytest_terminal_summary(terminalreporter):
    """Print the table of faults, from the reports, since tests may run in several processes."""
    reports = [one for kind in ("passed", "failed") for one in terminalreporter.getreports(kind)]
    rows = [value for report in reports if report.when == "call"
            for name, value in report.user_properties if name == "fault"]  # fmt: skip
    if rows:
        terminalreporter.section("faults, rounds, losses")
    for fault, rounds, losses in rows:
        terminalreporter.write_line(f"{fault:<55} {rounds:>6} {losses:>6}")
