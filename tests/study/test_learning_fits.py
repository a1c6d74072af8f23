"""Fits of many cells at once against reference libraries, cell by cell."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.study import fits
from analysis.study.regression import Work, log_mean
from tests.examples import examples
from tests.study.session_bootstrap import bootstrap_exponents

SIZES = (40, 3, 500, 7, 120, 60)


def cells(seed=1, sizes=SIZES):
    """Noisy laps of cells of unlike sizes: (log n, log seconds, starts)."""
    rng = np.random.default_rng(seed)
    log_n = np.log(np.concatenate([np.arange(1.0, size + 1) for size in sizes]))
    cell = np.repeat(np.arange(len(sizes)), sizes)
    first = rng.uniform(60, 300, len(sizes))[cell]
    b = np.log2(rng.uniform(0.7, 0.92, len(sizes)))[cell]
    f = rng.uniform(0.1, 0.7, len(sizes))[cell]
    seconds = first * (f + (1 - f) * np.exp(b * log_n))
    log_y = np.log(seconds) + 0.15 * rng.standard_normal(len(log_n))
    return log_n, log_y, np.cumsum(sizes) - np.array(sizes)


def each(starts, laps):
    return [slice(a, z) for a, z in zip(starts, np.append(starts[1:], laps), strict=True)]


def test_unit_curves_equal_ordinary_least_squares_of_statsmodels():
    import statsmodels.api as sm

    log_n, log_y, starts = cells()
    ours = fits.fit_unit_curves(log_n, log_y, starts)
    for i, here in enumerate(each(starts, len(log_n))):
        theirs = sm.OLS(log_y[here], sm.add_constant(log_n[here])).fit()
        assert ours.log_first[i] == pytest.approx(theirs.params[0], rel=1e-12)
        assert ours.exponent[i] == pytest.approx(theirs.params[1], rel=1e-12, abs=1e-12)


def test_a_cell_of_one_lap_has_no_slope_and_harms_no_other():
    log_n = np.log([1.0, 1, 2, 3])
    log_y = np.log([50.0, 100, 80, 70])
    ours = fits.fit_unit_curves(log_n, log_y, np.array([0, 1]))
    assert np.isnan(ours.exponent[0])
    assert ours.exponent[1] == pytest.approx(np.polyfit(log_n[1:], log_y[1:], 1)[0])


def scipy_best_of_three(log_n, log_y):
    from scipy.optimize import least_squares

    def residual(p):
        return log_y - np.log(p[1] + (p[0] - p[1]) * np.exp(p[2] * log_n))

    bounds = ([0, 0, fits.STEEPEST], [np.inf, np.inf, fits.FLATTEST])
    starts = ((-0.2, 0.1), (-0.5, 0.4), (-0.9, 0.7))
    last = np.exp(log_y[-50:]).mean()
    found = [
        least_squares(residual, [np.exp(log_y[0]), c * last, b], bounds=bounds) for b, c in starts
    ]
    return min(2 * one.cost for one in found if one.success)


@pytest.mark.parametrize("seed", range(4))
def test_plateau_curves_fit_no_worse_than_scipys_best_of_three_starts(seed):
    log_n, log_y, starts = cells(seed, sizes=(60, 150, 500, 300, 90))
    ours = fits.fit_plateau_curves(log_n, log_y, starts)
    for i, here in enumerate(each(starts, len(log_n))):
        theirs = scipy_best_of_three(log_n[here], log_y[here])
        assert ours.residual_squares[i] <= theirs * (1 + 1e-8)


def test_plateau_fits_stand_where_the_score_is_zero():
    """The slope of the squares, by differences, over its own scale (curvature x standard error):
    at a solution inside the bounds both parameters are within 1e-4 standard errors."""
    log_n, log_y, starts = cells(2, sizes=(200, 500, 400))
    ours = fits.fit_plateau_curves(log_n, log_y, starts)
    inside = (ours.fraction > 0) & (ours.fraction < fits.FULLEST)
    inside &= (ours.exponent > fits.STEEPEST) & (ours.exponent < fits.FLATTEST)
    assert inside.any()
    for i in np.flatnonzero(inside):
        here = each(starts, len(log_n))[i]
        at = np.array([ours.log_first[i], ours.exponent[i], ours.fraction[i]])

        def squares(p, here=here):
            shape = p[2] + (1 - p[2]) * np.exp(p[1] * log_n[here])
            return ((log_y[here] - p[0] - np.log(shape)) ** 2).sum()

        variance = squares(at) / (here.stop - here.start - 3)
        for parameter in range(3):
            step = np.zeros(3)
            step[parameter] = 1e-4
            up, middle, down = (squares(at + s) for s in (step, 0 * step, -step))
            slope, curvature = (up - down) / 2e-4, (up - 2 * middle + down) / 1e-8
            assert abs(slope) / curvature < 1e-3 * np.sqrt(2 * variance / curvature)


def test_a_plateau_is_recovered_exactly_where_there_is_no_noise():
    n = np.arange(1.0, 301)
    log_y = np.log(30 + 70 * n**-0.4)
    ours = fits.fit_plateau_curves(np.log(n), log_y, np.array([0]))
    assert np.exp(ours.log_first[0]) * ours.fraction[0] == pytest.approx(30, rel=1e-5)
    assert ours.exponent[0] == pytest.approx(-0.4, rel=1e-5)


@settings(max_examples=examples(25), deadline=None)
@given(st.lists(st.integers(2, 60), min_size=1, max_size=8), st.integers(0, 10_000))
def test_a_cells_fit_does_not_depend_on_the_other_cells(sizes, seed):
    log_n, log_y, starts = cells(seed, sizes=sizes)
    together = fits.fit_plateau_curves(log_n, log_y, starts)
    for i, here in enumerate(each(starts, len(log_n))):
        alone = fits.fit_plateau_curves(log_n[here], log_y[here], np.array([0]))
        assert together.residual_squares[i] == pytest.approx(
            alone.residual_squares[0], rel=1e-8, abs=1e-14
        )


def test_bootstrap_of_sessions_is_the_fit_of_the_sessions_drawn():
    log_n, log_y, _ = cells(3, sizes=(120,))
    session_starts = np.arange(0, 120, 10)
    ours = bootstrap_exponents(log_n, log_y, session_starts, 50, np.random.default_rng(8))
    drawn = np.random.default_rng(8).integers(0, 12, (50, 12))
    for exponent, sessions in zip(ours, drawn, strict=True):
        laps = np.concatenate([np.arange(10 * s, 10 * s + 10) for s in sessions])
        assert exponent == pytest.approx(np.polyfit(log_n[laps], log_y[laps], 1)[0], rel=1e-9)


@pytest.mark.parametrize("curve", ["constant", "unit", "cumulative_average", "plateau", "prior"])
def test_a_lap_takes_the_same_whatever_laps_stand_beside_it(curve):
    """Laps of a cell share the terms of their restart, and of a series only those that tell."""
    rng = np.random.default_rng(5)
    pieces = rng.choice([1.0, 2.0, 5.0, 24.0, 25.0], 300)
    before = np.cumsum(pieces) - pieces
    in_spell = np.where(rng.random(300) < 0.2, 0.0, before % 70)
    theta = np.array([[4.0, -0.4, 0.3, 1.2, 0.25]])
    together = log_mean(curve, Work.of(before, pieces, np.array([300]), in_spell), theta)
    alone = Work.of(before, pieces, np.ones(300, int), in_spell)
    each = log_mean(curve, alone, np.repeat(theta, 300, axis=0))
    assert together[0] == pytest.approx(each[0], rel=1e-13)
    for ours, theirs in zip(together[1], each[1], strict=True):
        assert ours == pytest.approx(theirs, rel=1e-13)


def test_a_lap_of_several_pieces_takes_the_mean_of_its_pieces_however_late_it_is():
    """Against the sum over its pieces, one by one."""
    for before, pieces in [(0, 25), (40, 25), (700, 5), (30_000, 2), (400_000, 25)]:
        work = Work.of(np.array([float(before)]), np.array([float(pieces)]), np.array([1]))
        for exponent in (-0.9, -0.3, 0.2):
            theta = np.array([[0.0, exponent, 0.0, 0.0, 0.0]])
            numbers = np.arange(before + 1, before + pieces + 1, dtype=float)
            mean = np.log((numbers**exponent).mean())
            assert log_mean("unit", work, theta)[0][0] == pytest.approx(mean, abs=1e-7)
