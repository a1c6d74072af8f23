"""Logistic regression of many groups at once, against statsmodels and a published example."""

import json
import pathlib

import numpy as np
import pytest
import statsmodels.api as sm

from analysis.study.logistic import chance, fit_logistic
from analysis.study.power import laps_each_way, pieces_each_way

REFERENCE = pathlib.Path(__file__).parents[1] / "reference"
BEETLES = json.loads((REFERENCE / "logistic.json").read_text())["beetles"]
ONES = np.ones(8)


def drawn_groups(seed=5):
    """Three groups of laps in 12 batches each: (columns, hits, trials, group, cluster)."""
    rng = np.random.default_rng(seed)
    group = np.repeat([0, 1, 2], 240)
    cluster = np.repeat(np.arange(36), 20)
    batch = rng.normal(0, 0.15, 36)[cluster]
    pace = batch + rng.normal(0, 0.1, len(group))
    trials = rng.integers(1, 6, len(group)).astype(float)
    log_odds = np.array([-2.0, -3.0, -1.0])[group] + np.array([-6.0, 0.0, 3.0])[group] * pace
    hits = rng.binomial(trials.astype(int), chance(log_odds + 2 * rng.normal(0, 0.3, 36)[cluster]))
    return [np.ones(len(group)), pace], hits.astype(float), trials, group, cluster


def statsmodels_of(columns, hits, trials, used):
    design = np.column_stack([column[used] for column in columns])
    pairs = np.column_stack([hits[used], trials[used] - hits[used]])
    return sm.GLM(pairs, design, family=sm.families.Binomial())


def test_a_published_dose_response_is_found_again():
    """Grouped binomial data: coefficients and errors as published, to their last figure."""
    got = fit_logistic(
        [ONES, BEETLES["dose"]], BEETLES["killed"], BEETLES["beetles"], np.zeros(8, int), 1,
        np.arange(8), [0, 0],
    )  # fmt: skip
    assert got.beta[0] == pytest.approx(BEETLES["coefficients"], abs=0.006)
    assert np.sqrt(np.diag(got.covariance[0])) == pytest.approx(BEETLES["errors"], abs=0.006)


def test_every_group_is_fitted_as_statsmodels_fits_it_alone():
    """Newton's method on both sides: coefficients and errors agree to rounding."""
    data = drawn_groups()
    columns, hits, trials, group, cluster = data
    got = fit_logistic(columns, hits, trials, group, 3, cluster, [0, 0])
    for one in range(3):
        theirs = statsmodels_of(columns, hits, trials, group == one).fit(tol=1e-14)
        assert got.beta[one] == pytest.approx(theirs.params, abs=1e-8)
        assert got.covariance[one] == pytest.approx(theirs.cov_params(), rel=1e-6)


def test_batches_that_are_alike_widen_the_error_as_leaving_each_out_does():
    """The jackknife by statsmodels, fitted anew without each batch. Ours takes one Newton step for
    each, which at a twelfth of the data left out stops short by a few percent of the variance."""
    columns, hits, trials, group, cluster = drawn_groups()
    got = fit_logistic(columns, hits, trials, group, 3, cluster, [0, 0])
    for one in range(3):
        used = group == one
        whole = statsmodels_of(columns, hits, trials, used).fit(tol=1e-14)
        without = [
            statsmodels_of(columns, hits, trials, used & (cluster != c)).fit(tol=1e-14).params
            for c in np.unique(cluster[used])
        ]
        moved = np.array(without) - whole.params
        jackknife = 11 / 12 * np.einsum("ci,ci->i", moved, moved)
        model = np.diag(whole.cov_params())
        assert np.diag(got.robust[one]) == pytest.approx(np.maximum(jackknife, model), rel=0.08)
    assert got.clusters.tolist() == [12, 12, 12]


def test_batches_that_are_alike_are_never_taken_for_surer_than_statsmodels_takes_them():
    """Its sandwich by clusters, which with twelve of them is known to be too small."""
    columns, hits, trials, group, cluster = drawn_groups()
    got = fit_logistic(columns, hits, trials, group, 3, cluster, [0, 0])
    for one in range(3):
        used = group == one
        theirs = statsmodels_of(columns, hits, trials, used).fit(
            cov_type="cluster", cov_kwds={"groups": cluster[used]}
        )
        ratio = np.diag(got.robust[one]) / np.diag(theirs.cov_params())
        assert (ratio > 1).all() and (ratio < 2).all()


def test_what_is_held_beforehand_draws_a_slope_in_as_statsmodels_ridge_does():
    """A normal prior is a quadratic penalty: alpha = precision / n of the mean log likelihood."""
    columns, hits, trials, group, cluster = drawn_groups()
    used = group == 0
    got = fit_logistic(
        [column[used] for column in columns], hits[used], trials[used], group[used], 1,
        cluster[used], [0, 0.5],
    )  # fmt: skip
    rows = np.repeat(np.flatnonzero(used), trials[used].astype(int))
    spoiled = np.concatenate([np.arange(int(trials[i])) < hits[i] for i in np.flatnonzero(used)])
    design = np.column_stack([column[rows] for column in columns])
    model = sm.GLM(spoiled.astype(float), design, family=sm.families.Binomial())
    theirs = model.fit_regularized(alpha=[0, 0.5 / len(rows)], L1_wt=0, cnvrg_tol=1e-12)
    assert got.beta[0] == pytest.approx(theirs.params, abs=1e-4)


def test_a_group_parted_cleanly_by_pace_has_a_finite_answer():
    """All fast pieces spoiled and no slow one: likelihood alone would go to infinity."""
    pace = np.linspace(-1, 1, 40)
    hits = (pace < 0).astype(float)
    got = fit_logistic(
        [np.ones(40), pace], hits, np.ones(40), np.zeros(40, int), 1, np.arange(40), [1e-6, 1 / 256]
    )
    assert np.isfinite(got.beta).all() and got.beta[0, 1] < 0
    assert np.isfinite(got.robust).all()


@pytest.mark.parametrize("a, b", [(0.06, 0.03), (0.2, 0.1), (0.5, 0.45), (0.02, 0.0)])
def test_pieces_for_an_experiment_are_those_statsmodels_would_ask_for(a, b):
    """Rounded up to whole pieces; theirs counts the other tail too, less than a millionth here."""
    from statsmodels.stats.power import NormalIndPower
    from statsmodels.stats.proportion import proportion_effectsize

    theirs = NormalIndPower().solve_power(proportion_effectsize(a, b), alpha=0.05, power=0.8)
    assert pieces_each_way(a, b) == np.ceil(theirs)


@pytest.mark.parametrize(
    "difference, deviation", [(0.05, 0.15), (0.1, 0.15), (-0.3, 0.2), (1, 0.5)]
)
def test_laps_for_an_experiment_are_those_statsmodels_would_ask_for(difference, deviation):
    from statsmodels.stats.power import TTestIndPower

    theirs = TTestIndPower().solve_power(abs(difference) / deviation, alpha=0.05, power=0.8)
    assert laps_each_way(difference, deviation) == np.ceil(theirs)


def test_no_experiment_tells_equal_shares_apart():
    assert pieces_each_way(0.1, 0.1) == np.inf


def test_laps_that_hardly_scatter_need_but_two_each_way():
    assert laps_each_way(0.05, 1e-17) == laps_each_way(0.05, 1e-6) == 2
