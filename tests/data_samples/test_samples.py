"""The demo's files are what the script in the repository makes, and say what it says they say."""

import json
import pathlib
import subprocess
import sys

import pandas as pd
import pytest

from data_samples import make_samples

FOLDER = pathlib.Path(make_samples.__file__).parent


@pytest.fixture(scope="module")
def laps() -> pd.DataFrame:
    return pd.read_csv(FOLDER / "laps.csv", dtype={"batch": str}, keep_default_na=False)


def test_the_script_runs_from_anywhere_and_writes_the_files(tmp_path):
    script = [sys.executable, str(FOLDER / "make_samples.py"), str(tmp_path)]
    subprocess.run(script, cwd=tmp_path, check=True)
    written = sorted(file.name for file in tmp_path.iterdir())
    assert written == ["laps.csv", "routing.csv", "stock_movements.csv", "truth.json"]
    for name in written:
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes()


def test_no_worker_is_in_two_places_at_once(laps):
    start = pd.to_datetime(laps["started_at"], utc=True)
    end = start + pd.to_timedelta(laps["seconds"], unit="s")
    for _, rows in laps.groupby("worker"):
        assert (start[rows.index].to_numpy()[1:] >= end[rows.index].to_numpy()[:-1]).all()


def test_no_piece_is_wrapped_that_was_lost_on_the_way(laps):
    regular = laps[laps["activity"].isin(["operation", "inspection"])]
    done = regular.groupby(["batch", "operation"])["units"].sum().unstack(fill_value=0)
    lost = regular.groupby("batch")["scrap_units"].sum()
    finished = done["wrap"] > 0
    started = done[finished]["cut boards"]
    assert (done[finished]["wrap"] <= started).all()
    assert (done[finished]["wrap"] + lost[finished] >= started).all()


def test_the_file_holds_the_hard_things_it_promises(laps):
    assert len(laps) > 5000
    assert set(laps["activity"]) == {
        "operation",
        "setup",
        "inspection",
        "rework",
        "transport",
        "delay",
    }
    assert set(laps["started_at"].str[-6:]) == {"-05:00", "-06:00"}
    day = pd.to_datetime(laps["started_at"].str[:10])
    assert day.max() == pd.Timestamp("2026-11-20")
    assert (day.drop_duplicates().diff().dt.days > 14).sum() == 2
    truth = json.loads((FOLDER / "truth.json").read_text())
    forgotten = laps[laps["lap_id"].isin(truth["forgotten_stop_lap_ids"])]
    assert len(forgotten) >= 3 and (forgotten["seconds"] > 1500).all()
