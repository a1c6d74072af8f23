"""Simulated weeks of the bindery: against the same model in SimPy, growth, memory, first answer."""

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from analysis.decisions.model_of import model_of
from analysis.decisions.shop_model import ShopModel
from analysis.decisions.simulate import simulate
from analysis.records.laps import read_laps
from analysis.records.routing import read_routing
from analysis.records.shop import read_shop
from analysis.study.summary import study
from tests.benchmarks.rows import Row
from tests.decisions.simpy_shop import ByChance, SimpyShop

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "data_samples"
RUNS = 1000
SIMPY_RUNS = 40
ROUNDS = 7
COMPILE = "from analysis.decisions.warm import main; main(); print(1)"
MEGABYTE = 1e6


def rows():
    """Speed with and without stations, what random numbers alone cost, growth, memory, start."""
    model = without_doubts(bindery())
    simulate(model, weeks=1, runs=1, seed=0)
    bare = without_stations(model)
    yield _against_simpy("without stations", bare, 70)
    yield _against_simpy("with stations", model, 50)
    yield from _growth(model)
    yield _memory()
    yield from _start()


def bindery() -> ShopModel:
    """The demo's shop as it is simulated."""
    shop = read_shop(SAMPLES / "shop.toml")
    routing = read_routing(SAMPLES / "routing.csv")
    return model_of(
        study(read_laps(SAMPLES / "laps.csv", shop).frame, routing, shop), routing, shop
    )


def without_doubts(model: ShopModel) -> ShopModel:
    """Every run has the same figures, as the SimPy shop's have."""
    sure = {"level_doubt": 0.0, "exponent_doubt": 0.0, "loss_doubt": 0.0}
    doubts = ("rework_doubt", "scrap_doubt", "setup_doubt", "time_factor_doubt")
    lines = tuple(
        replace(
            line,
            demand_doubt=0.0,
            steps=tuple(replace(step, **dict.fromkeys(doubts, 0.0)) for step in line.steps),
        )
        for line in model.lines
    )
    skills = {key: replace(skill, **sure) for key, skill in model.skills.items()}
    return replace(model, lines=lines, skills=skills, delay_doubt=0.0)


def without_stations(model: ShopModel) -> ShopModel:
    lines = tuple(
        replace(line, steps=tuple(replace(step, station="") for step in line.steps))
        for line in model.lines
    )
    return replace(model, lines=lines, stations={})


def _quickest(run) -> float:
    """Processor seconds of the quickest of some rounds: others may use the machine."""
    seconds = []
    for _ in range(ROUNDS):
        begun = time.process_time()
        run()
        seconds.append(time.process_time() - begun)
    return min(seconds)


def _against_simpy(kind: str, model: ShopModel, wanted: float) -> Row:
    def simpy():
        for seed in range(SIMPY_RUNS):
            SimpyShop(model, 1, ByChance(seed)).run()

    theirs = _quickest(simpy) * RUNS / SIMPY_RUNS
    ours = _quickest(lambda: simulate(model, weeks=1, runs=RUNS, seed=1))
    ratio = theirs / ours
    return Row(f"{RUNS} runs of one bindery week {kind}, against SimPy", theirs, ours, ratio,
               f"at least {wanted}x", ratio >= wanted,
               f"SimPy from {SIMPY_RUNS} runs; processor time, one core")  # fmt: skip


def _growth(model: ShopModel):
    """Per run and week, over four times as many of each."""
    small = _quickest(lambda: simulate(model, weeks=26, runs=50, seed=1))
    for name, size in (("weeks", {"weeks": 104, "runs": 50}), ("runs", {"weeks": 26, "runs": 200})):
        large = _quickest(lambda size=size: simulate(model, seed=1, **size))
        ratio = large / small
        yield Row(f"four times the {name} of 50 runs of 26 weeks", small, large, ratio,
                  "3.2 to 4.8 times the time", 3.2 <= ratio <= 4.8)  # fmt: skip


def _memory() -> Row:
    program = (
        "from tests.benchmarks.bench_simulated import bindery\n"
        "from tests.benchmarks.rows import most_memory\n"
        "from analysis.decisions.simulate import simulate\n"
        "model = bindery()\n"
        "kept = [simulate(model, weeks=52, runs=1000, seed=1) for _ in range(2)]\n"
        "print(most_memory())\n"
    )
    peak = int(_in_a_process(program)) / MEGABYTE
    return Row("memory of 1,000 runs of a year, before and after, with the study", None, peak,
               None, "under 500 MB", peak < 500, unit="MB")  # fmt: skip


def _start():
    """A new process: with the machine code on disk, and without."""
    program = (
        "import time\n"
        "from tests.benchmarks.bench_simulated import bindery\n"
        "model = bindery()\n"
        "begun, first = time.perf_counter(), []\n"
        "from analysis.decisions.simulate import simulate\n"
        "report = lambda _: first.append(time.perf_counter() - begun)\n"
        "simulate(model, weeks=52, runs=60, seed=1, report=report, stop=lambda: True)\n"
        "print(first[0])\n"
    )
    _in_a_process(COMPILE)
    kept = float(_in_a_process(program))
    yield Row("first figures of a year in a new process", None, kept, None, "under 1 s", kept < 1)
    with tempfile.TemporaryDirectory() as folder:
        anew = float(_in_a_process(program, XDG_CACHE_HOME=folder))
    name = "the same where the kernel has never been compiled"
    yield Row(
        name, None, anew, None, "under 1 s", anew < 1, "one run, while another process compiles"
    )
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        _in_a_process(COMPILE, XDG_CACHE_HOME=folder)
        seconds = time.perf_counter() - begun
    yield Row("compiling, once on a machine", None, seconds, None, "is told", True)


def _in_a_process(program: str, **environment: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True,
        env={**os.environ, **environment},
    )  # fmt: skip
    return done.stdout.strip().splitlines()[-1]
