"""`whatif`, as its user calls it: arguments in, output and exit status out."""

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from tests import demo
from tests.command import run

ROOT = Path(__file__).parents[2]
SAMPLES = demo.SAMPLES
SCENARIOS = sorted(SAMPLES.glob("what_if_*.toml"))
SHOP = ("--laps", SAMPLES / "laps.csv", "--routing", SAMPLES / "routing.csv")


@pytest.fixture(autouse=True)
def one_study(monkeypatch):
    """Every command here asks for the study of the same laps: it is made once."""
    monkeypatch.setattr("analysis.study.summary.study", demo.studied_once)


def whatif(scenario, *more, status=0, shop=SAMPLES / "shop.toml"):
    return run("whatif", *SHOP, "--shop", shop, scenario, *more, status=status)


def written(folder, text):
    path = folder / "scenario.toml"
    path.write_text("[scenario]\nhorizon_weeks = 12\n" + text)
    return path


def test_there_is_a_sample_of_each_kind_of_change():
    texts = "".join(path.read_text() for path in SCENARIOS)
    for part in ("[helper]", "[equipment]", "[move]", "[demand]", "[[demand.orders]]"):
        assert part in texts
    readme = (SAMPLES / "README.md").read_text()
    assert all(path.name in readme for path in SCENARIOS)


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda path: path.stem)
def test_every_sample_scenario_is_answered_with_the_contracts_fields(scenario):
    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    whole = json.loads(whatif(scenario, "--runs", 4, "--json").stdout, parse_constant=refuse)
    for part in ("baseline", "changed", "difference"):
        for name in (
            "good_units_per_week", "sold_per_week", "lead_time_hours", "bench_hours_per_week",
            "idle_hours_per_week", "contribution_per_week",
        ):  # fmt: skip
            figure = whole[part][name]
            assert set(figure) == {"mean", "p5", "p50", "p95"}
            assert figure["p5"] <= figure["p50"] <= figure["p95"]
    money = whole["money"]
    assert set(money["net_present_value"]) == {"mean", "p5", "p50", "p95"}
    assert 0 <= money["probability_of_payback"] <= 1
    assert whole["headline"] and whole["assumptions"] and whole["cautions"]


def test_the_same_seed_gives_the_same_answer_and_another_another(tmp_path):
    scenario = written(tmp_path, '[equipment]\noperation = "sew"\ntime_factor = 0.5\nprice = 900')
    one, two, other = (
        whatif(scenario, "--runs", 2, "--seed", seed, "--json").stdout for seed in (7, 7, 8)
    )
    assert one == two != other


def test_the_table_says_the_answer_first(tmp_path):
    scenario = written(tmp_path, "[move]\nrent_per_week = 50\nfit_out = 100")
    lines = whatif(scenario, "--runs", 6).stdout.splitlines()
    assert lines[0].startswith("Do not do it as it stands")
    assert any("What it rests on" in line for line in lines)


def test_a_scenario_that_changes_nothing_says_so(tmp_path):
    whole = json.loads(whatif(written(tmp_path, ""), "--runs", 3, "--json").stdout)
    assert whole["verdict"] == "changes nothing"
    assert whole["difference"]["sold_per_week"]["mean"] == 0
    assert whole["money"]["payback_weeks"] == dict.fromkeys(("mean", "p5", "p50", "p95"))


@pytest.mark.parametrize(
    "text, column",
    [
        ('[equipment]\noperation = "fly"', ":4: equipment.operation: names no operation"),
        ("[helper]\nhours_per_week = 4", ":3: helper: has no cost_per_hour"),
        ("[demand]\nfactor = 0", ":4: demand.factor: leaves nothing to sell"),
        ("[move]\nrent_per_week = -3", ":4: move.rent_per_week: is less than nothing"),
    ],
)
def test_bad_input_is_told_by_file_row_and_column_with_status_2(tmp_path, text, column):
    path = written(tmp_path, text)
    done = whatif(path, "--json", status=2)
    assert done.stdout == ""
    assert done.stderr.startswith(f"{path}{column}")


def test_a_shop_without_prices_or_demand_is_told_so(tmp_path):
    scenario, shop = written(tmp_path, ""), tmp_path / "shop.toml"
    text = (SAMPLES / "shop.toml").read_text()
    shop.write_text(text.replace("\nprice", "\n# price"))
    told = whatif(scenario, status=2, shop=shop).stderr.splitlines()
    for line in told:
        row, column = line.removeprefix(f"{shop}:").split(":")[:2]
        table = shop.read_text().splitlines()[int(row) - 1]
        assert "has no price" in line and column.split(".")[-1].strip() in table
    assert len(told) == text.count("[products."), "each product and variant in its own line"
    shop.write_text(text.replace("\ndemand_per_week", "\n# demand_per_week"))
    assert "products: have no demand_per_week" in whatif(scenario, status=2, shop=shop).stderr


def test_a_stop_at_the_terminal_keeps_the_runs_done(tmp_path):
    scenario = written(tmp_path, "[move]\nrent_per_week = 50")
    ours, theirs = os.openpty()
    arguments = ["whatif", *SHOP, "--shop", SAMPLES / "shop.toml", scenario, "--json"]
    running = subprocess.Popen(
        [sys.executable, "-m", "analysis", *map(str, arguments), "--runs", "100000"],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=theirs, text=True,
    )  # fmt: skip
    os.close(theirs)
    assert "the shop as it is: " in os.read(ours, 200).decode()  # the estimate so far
    running.send_signal(signal.SIGINT)
    drain = threading.Thread(target=_read_all, args=(ours,))
    drain.start()
    whole = json.loads(running.communicate()[0])
    drain.join()
    assert running.returncode == 0
    assert whole["stopped"] and 0 < whole["runs"] < 100_000


def _read_all(terminal):
    """Read what is written until the other end is closed, which Linux tells as an error."""
    try:
        while os.read(terminal, 4096):
            pass
    except OSError:
        os.close(terminal)


def test_a_cluster_that_is_not_there_is_told_in_a_line(tmp_path):
    done = whatif(written(tmp_path, ""), "--backend", "dask://127.0.0.1:9", status=2)
    assert len(done.stderr.splitlines()) == 1 and "no Dask cluster answers" in done.stderr
