"""`simulate`: progress and stop, the same bits wherever it is done, and common random numbers."""

from dataclasses import fields, replace

import numpy as np
import pytest

from analysis.decisions.backend import NoCluster
from analysis.decisions.simulate import Runs, simulate
from tests.decisions.rich_shop import rich_shop

DOUBTFUL = {"level_doubt": 0.1, "exponent_doubt": 0.03, "loss_doubt": 0.1}


def doubtful_shop():
    """The rich shop with every kind of figure in doubt."""
    model = rich_shop(delay_doubt=0.2)
    skills = {key: replace(skill, **DOUBTFUL) for key, skill in model.skills.items()}
    lines = tuple(
        replace(
            line,
            demand_doubt=0.1,
            steps=tuple(
                replace(step, rework_doubt=0.2, scrap_doubt=0.3, setup_doubt=0.1,
                        time_factor_doubt=0.05) for step in line.steps
            ),
        )
        for line in model.lines
    )  # fmt: skip
    return replace(model, skills=skills, lines=lines)


def assert_same(one: Runs, other: Runs) -> None:
    """To the bit."""
    for field in fields(Runs):
        mine, theirs = getattr(one, field.name), getattr(other, field.name)
        if field.name == "draws":
            assert mine.keys() == theirs.keys()
            for name in mine:
                np.testing.assert_array_equal(mine[name], theirs[name], name)
        else:
            np.testing.assert_array_equal(mine, theirs, field.name)


@pytest.fixture(scope="module")
def whole():
    return simulate(doubtful_shop(), weeks=8, runs=90, seed=4)


def test_pieces_are_neither_lost_nor_found(whole):
    """started = good + scrapped + under way; stock = stock before + good - sold, in every run."""
    made = whole.good.sum(axis=1) + whole.scrapped.sum(axis=1) + whole.pieces_open
    np.testing.assert_array_equal(whole.started.sum(axis=1), made)
    stock = np.array([line.stock for line in doubtful_shop().lines])
    left = stock + whole.good.sum(axis=1) - whole.sold.sum(axis=1)
    np.testing.assert_allclose(whole.stock_end[:, -1], left)
    assert whole.stock_end.min() >= 0


def test_batches_under_way_are_their_rate_times_their_stay_in_a_shop_with_hours(whole):
    """Little's law in every run; see test_simulated_queues.py."""
    stays = whole.lead_time_seconds_sum.sum(axis=1) + whole.unfinished_age_seconds
    np.testing.assert_allclose(whole.in_process_seconds.sum(axis=1), stays, rtol=1e-9)


def test_nobody_works_longer_than_they_are_there(whole):
    """But for who leaves: they stay until the work in hand is done."""
    maker = whole.hands.index("maker")
    over = whole.bench_seconds[:, :, maker] - whole.available_seconds[:, :, maker]
    assert over.max() < 1e-6
    assert whole.idle_seconds.min() >= 0


def test_progress_is_told_with_what_is_known_so_far(whole):
    told = []
    simulate(doubtful_shop(), weeks=8, runs=90, seed=4, report=told.append)
    assert [p.runs_done for p in told] == sorted({p.runs_done for p in told})
    assert told[0].runs_done < 90 == told[-1].runs_done
    assert_same(told[0].so_far, whole.first(told[0].runs_done))


def test_a_stop_keeps_what_is_done(whole):
    stopped = simulate(doubtful_shop(), weeks=8, runs=90, seed=4, stop=lambda: True)
    assert 0 < stopped.runs < 90
    assert_same(stopped, whole.first(stopped.runs))


def test_threads_give_the_same_bits(whole):
    assert_same(simulate(doubtful_shop(), weeks=8, runs=90, seed=4, jobs=3), whole)


def test_fewer_runs_are_the_first_of_many(whole):
    assert_same(simulate(doubtful_shop(), weeks=8, runs=17, seed=4), whole.first(17))


@pytest.mark.parametrize("processes", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_a_cluster_of_two_workers_gives_the_same_bits(whole, processes):
    from distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, processes=processes, protocol="tcp://",
                      dashboard_address=None, silence_logs="ERROR") as cluster:  # fmt: skip
        address = cluster.scheduler_address.removeprefix("tcp://")
        told = []
        runs = simulate(doubtful_shop(), weeks=8, runs=90, seed=4, backend=f"dask://{address}",
                        report=told.append)  # fmt: skip
    assert_same(runs, whole)
    assert told[-1].runs_done == 90


@pytest.mark.parametrize("backend", ["spark://here", "dask://", "dask://127.0.0.1:9"])
def test_a_cluster_that_is_not_there_is_said_plainly(backend, monkeypatch):
    monkeypatch.setattr("analysis.decisions.backend.PATIENCE", "1s")
    with pytest.raises(NoCluster) as error:
        simulate(rich_shop(), weeks=1, runs=2, seed=1, backend=backend)
    assert "\n" not in str(error.value)


@pytest.mark.slow  # the larger record is compiled for it
def test_a_line_longer_than_the_record_is_simulated_in_a_larger_one():
    """Customers who cannot be served pile up far beyond the smallest lists."""
    line = replace(rich_shop().lines[1], release="orders", demand_per_week=600.0)
    runs = simulate(rich_shop(lines=(line,)), weeks=2, runs=2, seed=1)
    assert (runs.pieces_open / line.batch_size).min() > 500


def test_doubts_move_what_they_are_of(whole):
    """A run with a slow maker makes less: the draws kept are those that were used."""
    slow = whole.draws["time: sew, box, by maker"]
    good = whole.good[:, :, 0].sum(axis=1)
    assert np.corrcoef(slow, good)[0, 1] < -0.3
    assert len(np.unique(slow)) == whole.runs


def test_before_and_after_share_their_chances(capsys):
    """A new frame makes sewing a fifth quicker: with the same random numbers the variance of the
    difference is at least five times smaller than with numbers of their own."""
    before = doubtful_shop()
    box = before.lines[0]
    steps = tuple(
        replace(step, time_factor=0.8) if step.operation == "sew" else step for step in box.steps
    )
    after = replace(before, lines=(replace(box, steps=steps), before.lines[1]))

    def boxes(model, seed):
        return simulate(model, weeks=8, runs=300, seed=seed).good[:, :, 0].sum(axis=1)

    old, new, strange = boxes(before, 1), boxes(after, 1), boxes(after, 2)
    gain = np.var(strange - old, ddof=1) / np.var(new - old, ddof=1)
    with capsys.disabled():
        print(f"\ncommon random numbers: variance of the difference {gain:.0f} times smaller")
    assert gain >= 5
