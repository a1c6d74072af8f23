"""Simulated weeks against the same shop written in SimPy (`simpy_shop.py`)."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.decisions.simulate import simulate
from tests.decisions.estimates import FARTHEST, apart, mean
from tests.decisions.fed_chances import Fed
from tests.decisions.rich_shop import rich_shop
from tests.decisions.simpy_shop import ByChance, SimpyShop

FIGURES = ("started", "good", "scrapped", "sold", "lost_demand", "stock_end")
# Curves are followed by ratios good to 1e-11 a piece, over weeks of 600,000 s: within 1e-6 s.
SECONDS_APART = 1e-6


def figure(shop: SimpyShop, what: str, weeks: int, places: int) -> np.ndarray:
    """(weeks, places) of a SimPy run."""
    return np.array([[shop.figures[what, w, n] for n in range(places)] for w in range(weeks)])


def check_same(model, weeks, seed, runs):
    """With the same numbers the two must do the same things at the same moments."""
    ours = simulate(model, weeks=weeks, runs=runs, seed=seed)
    for run in range(runs):
        shop = SimpyShop(model, weeks, Fed(seed, run)).run()
        for what in FIGURES:
            own = getattr(ours, what)[run]
            np.testing.assert_array_equal(own, figure(shop, what, weeks, own.shape[1]), what)
        bench = figure(shop, "bench", weeks, len(model.hands))
        np.testing.assert_allclose(ours.bench_seconds[run], bench, atol=SECONDS_APART)
        lead = [shop.figures["lead_time", week, -1] for week in range(weeks)]
        np.testing.assert_allclose(ours.lead_time_seconds_sum[run], lead, atol=SECONDS_APART)
        finished = [shop.figures["finished", week, -1] for week in range(weeks)]
        np.testing.assert_array_equal(ours.batches_finished[run], finished)
    return ours


def check_alike(model, weeks, simpy_runs, runs, seed):
    """With numbers of their own the two must agree in distribution: in the means, and by the
    two-sample test of Kolmogorov and Smirnov."""
    from scipy.stats import ks_2samp

    ours = simulate(model, weeks=weeks, runs=runs, seed=seed)
    shops = [SimpyShop(model, weeks, ByChance(seed * 10_000 + n)).run() for n in range(simpy_runs)]
    for what in (*FIGURES, "bench", "finished", "lead_time"):
        name = {"bench": "bench_seconds", "finished": "batches_finished",
                "lead_time": "lead_time_seconds_sum"}.get(what, what)  # fmt: skip
        own = getattr(ours, name).reshape(runs, -1).sum(axis=1)
        theirs = np.array([
            sum(value for (kind, *_), value in shop.figures.items() if kind == what)
            for shop in shops
        ], float)  # fmt: skip
        assert apart(mean(own), mean(theirs)) < FARTHEST, what
        assert ks_2samp(own, theirs).pvalue > 1e-5, what


def test_simpy_with_the_same_numbers_does_the_same_at_the_same_moments():
    runs = check_same(rich_shop(), 12, 5, 2)
    assert runs.good.sum() > 500
    assert runs.scrapped.sum() > 10
    assert runs.lost_demand.sum() > 0


@pytest.mark.parametrize("release", ["orders", "always"])
def test_simpy_agrees_however_batches_are_begun(release):
    model = rich_shop()
    lines = (model.lines[0], replace(model.lines[1], release=release, demand_per_week=1.5))
    check_same(replace(model, lines=lines), 6, 6, 1)


def test_simpy_with_numbers_of_its_own_agrees_in_distribution():
    check_alike(rich_shop(), 2, 80, 1000, 1)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 5))
def test_simpy_agrees_in_distribution_over_hundreds_of_runs(seed):
    check_alike(rich_shop(), 8, 400, 4000, seed)


@pytest.mark.slow
def test_simpy_with_the_same_numbers_is_the_same_for_a_year():
    check_same(rich_shop(), 52, 9, 10)
