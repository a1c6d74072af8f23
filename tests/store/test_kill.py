"""The process is killed in the middle of an import, for real: nothing is half there afterwards."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.records.laps import read_laps
from analysis.store.backup import is_whole
from analysis.store.store import open_store

LAPS = 2000
WORK = f"""
import sys
from analysis.records.laps import read_laps
from analysis.store import laps
from analysis.store.store import open_store
laps.CHUNK = {LAPS // 2}
store = open_store(sys.argv[1])
def told(done, total):
    print(done, flush=True)
    sys.stdin.readline()
report = store.import_laps(read_laps(sys.argv[2]), told)
print("committed", flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def url(request, tmp_path):
    """Where the store is: a file, or a server, whose connection breaks off with the process."""
    if request.param == "postgresql":
        return request.getfixturevalue("postgres_url")
    return str(tmp_path / "workshop.sqlite")


@pytest.fixture
def csv(tmp_path, url):
    line = "2026-03-02T08:00:00Z,{},journal,sew,new-{}\n"
    with open(tmp_path / "big.csv", "w") as file:
        file.write("started_at,seconds,product,operation,lap_id\n")
        file.writelines(line.format(1 + n % 500, n) for n in range(LAPS))
    store = open_store(url)
    store.import_laps(
        read_laps(b"started_at,seconds,product,operation\n2026-03-02,5,journal,sew\n")
    )
    store.close()
    return str(tmp_path / "big.csv")


# In the normal run a server is broken off from before and after the commit once, a file at each.
CASES = [("sqlite", step) for step in (1, 2, 3, 4)]
CASES += [("postgresql", step) for step in (2, 4)]
CASES += [pytest.param("postgresql", step, marks=pytest.mark.slow) for step in (1, 3)]


@pytest.mark.parametrize("url, step", CASES, indirect=["url"])
def test_killed_at_any_step_the_store_is_as_before_or_complete(csv, url, step):
    """Steps: before the first lap, after half and all of them, after the commit."""
    kept = LAPS + 1 if step == 4 else 1
    work = subprocess.Popen([sys.executable, "-c", WORK, url, csv], text=True,
                            stdin=subprocess.PIPE, stdout=subprocess.PIPE)  # fmt: skip
    with work:
        said = [work.stdout.readline()]
        for _ in range(step - 1):
            work.stdin.write("\n")
            work.stdin.flush()
            said.append(work.stdout.readline())
        work.send_signal(signal.SIGKILL)
    assert work.returncode == -signal.SIGKILL
    assert said[-1].strip() == ["0", f"{LAPS // 2}", f"{LAPS}", "committed"][step - 1]

    store = open_store(url)
    assert len(store.laps()) == kept and store.version() == (1 if kept == 1 else 2)
    assert store.weeks().laps.sum() == kept
    if url.endswith(".sqlite"):
        assert is_whole(Path(url))
    report = store.import_laps(read_laps(csv))
    assert report.new == LAPS + 1 - kept and len(store.laps()) == LAPS + 1
    assert store.weeks().laps.sum() == LAPS + 1
    store.close()
