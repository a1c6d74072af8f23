"""The drawn path of practice: it ends at the present time, steps at breaks, and marks them."""

from pathlib import Path

import numpy as np
import pytest

from analysis.records.laps import read_laps
from analysis.study.learning import fit_learning
from analysis.study.learning_points import learning_points
from analysis.study.practice_path import AWAY_DAYS, CURVE_COLUMNS, MOST_BREAKS, practice_path

SAMPLES = Path(__file__).parents[2] / "data_samples"


@pytest.fixture(scope="module")
def demo():
    laps = read_laps(SAMPLES / "laps.csv").frame
    learning = fit_learning(laps)
    return laps, learning, learning_points(learning, laps)


@pytest.fixture
def sewing(demo):
    laps, learning, points = demo
    return practice_path(points, laps, learning, "desk journal", "sew")


def test_the_line_ends_at_the_present_time_that_the_sentence_says(demo, sewing):
    cells = demo[1].cells
    cell = cells[(cells["product"] == "desk journal") & (cells["operation"] == "sew")].iloc[0]
    assert sewing.curve["seconds"].iloc[-1] == pytest.approx(cell["present_seconds"], rel=1e-6)


def test_the_line_steps_up_only_where_somebody_was_away(sewing):
    rise = np.diff(sewing.curve["seconds"]) > 0
    after = sewing.curve["pieces_made"].to_numpy()[1:][rise] - 1
    assert len(after) > 0
    breaks = sewing.breaks["pieces_made"].to_numpy()
    assert all(np.abs(breaks - place).min() < 1e-9 for place in after)


def test_the_band_holds_the_line_and_the_points_are_near_it(sewing):
    curve, points = sewing.curve, sewing.points
    assert (curve["low"] < curve["seconds"]).all()
    assert (curve["high"] > curve["seconds"]).all()
    at = np.interp(points["pieces_made"], curve["pieces_made"], curve["seconds"])
    assert np.median(np.abs(points["seconds"] / at - 1)) < 0.15  # the demo's noise of one session


def test_breaks_are_the_demos_two_and_long_enough(sewing):
    assert len(sewing.breaks) == 2
    assert (sewing.breaks["days_away"] >= 14).all()


def test_no_worker_has_more_breaks_marked_than_can_be_read(demo):
    laps, learning, points = demo
    for product, operation in learning.cells[["product", "operation"]].drop_duplicates().to_numpy():
        path = practice_path(points, laps, learning, product, operation)
        assert path.breaks["worker"].value_counts().le(MOST_BREAKS).all()
        assert (path.breaks["days_away"] >= AWAY_DAYS).all()
        assert np.isfinite(path.curve[["seconds", "low", "high"]]).all(axis=None)


def test_one_worker_can_be_looked_at_alone(demo):
    laps, learning, points = demo
    path = practice_path(points, laps, learning, "pocket notebook", "fold sections")
    assert set(path.points["worker"]) == {"maker", "helper"}
    alone = path.of("helper")
    for table in (alone.points, alone.curve, alone.breaks):
        assert set(table["worker"]) <= {"helper"}
    assert len(path.of("").points) == len(path.points)


def test_a_file_without_timed_work_draws_no_line_instead_of_failing(demo):
    laps = demo[0]
    idle = laps[laps["activity"] == "setup"].reset_index(drop=True)
    learning = fit_learning(idle)
    path = practice_path(learning_points(learning, idle), idle, learning, "desk journal", "sew")
    assert path.curve.empty and list(path.curve) == list(CURVE_COLUMNS)
