"""The demo store: made once from the sample files, anew when they change, by any number at once."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.records.laps import read_laps
from analysis.store.demo import open_demo

ROOT = Path(__file__).parents[2]
LAPS = (
    "lap_id,started_at,seconds,product,operation,units\n"
    "a,2026-03-02T09:00:00Z,300,card box,cut,5\n"
    "b,2026-03-02T09:10:00Z,200,card box,fold,5\n"
)


@pytest.fixture
def samples(tmp_path):
    folder = tmp_path / "samples"
    folder.mkdir()
    (folder / "laps.csv").write_text(LAPS)
    (folder / "routing.csv").write_text("product,operation,seconds\ncard box,cut,60\n")
    (folder / "shop.toml").write_text('[products."card box"]\nprice = 9\n')
    (folder / "stock_movements.csv").write_text(
        "moved_at,kind,product,variant,pieces\n2026-03-03T09:00:00Z,count,card box,,12\n"
    )
    return folder


def test_the_demo_holds_what_the_sample_files_say(samples, tmp_path):
    store = open_demo(samples, tmp_path / "cache")
    assert store.laps().equals(read_laps(samples / "laps.csv").frame)
    assert store.shop().product("card box").price == 9
    assert list(store.routing().operation) == ["cut"]
    assert list(store.stock_events().units) == [12]


def test_what_is_tried_on_the_demo_is_there_next_time(samples, tmp_path):
    open_demo(samples, tmp_path / "cache").remove_laps(["a"])
    assert open_demo(samples, tmp_path / "cache").lap_count() == 1


def test_changed_samples_make_another_demo(samples, tmp_path):
    first = open_demo(samples, tmp_path / "cache")
    (samples / "laps.csv").write_text(LAPS + "c,2026-03-02T09:20:00Z,100,card box,fold,1\n")
    assert open_demo(samples, tmp_path / "cache").lap_count() == 3
    assert first.lap_count() == 2


def test_a_demo_half_made_by_a_process_that_died_is_made_anew(samples, tmp_path):
    cache = tmp_path / "cache"
    made = open_demo(samples, cache)
    made.close()
    whole = next(cache.glob("demo-*"))
    shutil.rmtree(whole)
    (cache / "unfinished-demo-old").mkdir()
    assert open_demo(samples, cache).lap_count() == 2


def test_several_processes_at_once_open_one_demo(samples, tmp_path):
    script = (
        "import sys; from pathlib import Path; from analysis.store.demo import open_demo\n"
        "print(open_demo(Path(sys.argv[1]), Path(sys.argv[2])).lap_count())"
    )
    command = [sys.executable, "-c", script, str(samples), str(tmp_path / "cache")]
    several = [
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        for _ in range(4)
    ]
    answers = [process.communicate(timeout=120) for process in several]
    assert [out.split() for out, _ in answers] == [[b"2"]] * 4, answers
    assert [path.name[:5] for path in (tmp_path / "cache").iterdir()] == ["demo-"]


def test_samples_with_a_fault_leave_no_demo_behind(samples, tmp_path):
    from analysis.problems import BadInput

    (samples / "laps.csv").write_text(LAPS.replace("300", "soon"))
    with pytest.raises(BadInput, match="seconds"):
        open_demo(samples, tmp_path / "cache")
    assert list((tmp_path / "cache").iterdir()) == []
