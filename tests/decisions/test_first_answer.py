"""The first answer does not wait for the compiler, and is the same to the bit."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from analysis.decisions.code_folder import COMPILED_FILES
from analysis.decisions.simulate import simulate, simulate_piece
from analysis.decisions.warm import forget_old_versions
from tests.decisions.test_simulate import doubtful_shop

ROOT = Path(__file__).parents[2]


def test_uncompiled_runs_are_the_compiled_ones_to_the_bit():
    plain, plain_draws = simulate_piece(doubtful_shop(), 6, 5, 3, 2, plainly=True)
    results, draws = simulate_piece(doubtful_shop(), 6, 5, 3, 2)
    assert results.good.sum() > 100
    for name, one, other in zip(results._fields, plain, results, strict=True):
        np.testing.assert_array_equal(one, other, name)
    assert plain_draws.keys() == draws.keys()
    for name in draws:
        np.testing.assert_array_equal(plain_draws[name], draws[name], name)


def test_a_change_in_any_compiled_file_makes_new_machine_code():
    """numba itself would notice a change in the outermost function's file only."""
    folder = ROOT / "analysis" / "decisions"
    compiled = {file.name for file in folder.glob("*.py") if "@compiled" in file.read_text()}
    assert len(compiled) > 5
    assert compiled <= set(COMPILED_FILES)


def test_machine_code_of_old_versions_does_not_pile_up(tmp_path):
    folders = [tmp_path / f"kernel-{n}" for n in range(7)]
    for age, folder in enumerate(folders):
        (folder / "part").mkdir(parents=True)
        os.utime(folder, (1_000_000 - age, 1_000_000 - age))
    (tmp_path / "kept").mkdir()
    forget_old_versions(folders[6])  # the oldest, and the one in use
    left = {folder.name for folder in tmp_path.iterdir()}
    assert left == {"kept", "kernel-0", "kernel-1", "kernel-2", "kernel-6"}


COLD = """
from analysis.decisions.simulate import simulate
from tests.decisions.rich_shop import rich_shop
told = []
runs = simulate(rich_shop(), weeks=4, runs=2000, seed=8, report=told.append)
print(told[0].runs_done, told[0].so_far.good.sum(), runs.runs, runs.good.sum())
"""


@pytest.mark.slow
def test_a_machine_that_never_compiled_answers_with_one_run_and_ends_with_the_same(tmp_path):
    """In a process of its own with an empty cache: the first report holds one uncompiled run."""
    from tests.decisions.rich_shop import rich_shop

    done = subprocess.run(
        [sys.executable, "-c", COLD], cwd=ROOT, capture_output=True, text=True, check=True,
        env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)},
    )  # fmt: skip
    first, good_of_first, runs, good = done.stdout.split()
    here = simulate(rich_shop(), weeks=4, runs=2000, seed=8)
    assert int(first) == 1
    assert float(good_of_first) == here.good[0].sum()
    assert int(runs) == 2000
    assert float(good) == here.good.sum()
    assert list(tmp_path.rglob("made"))
