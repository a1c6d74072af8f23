"""Laps fitted in runs of cells, and cells that have arrived left behind: the same fits as whole."""

from functools import partial

import numpy as np
import pytest

from analysis.study import fits, regression
from analysis.study.experience import practice_of
from analysis.study.noise import work_of
from analysis.study.regression import ACTIVE, EXPONENT, FRACTION, LEVEL, Observed, Prior, fit
from tests import demo


@pytest.fixture
def observed():
    """The demo's laps, those of several pieces and of several sessions among them; made anew each
    time, since it keeps its parts."""
    practice = practice_of(demo.laps())
    likeness = np.linspace(0.0, 0.4, len(practice.cell_starts))
    response = practice.log_seconds_per_piece
    return Observed(response, practice.pieces, likeness, practice, work_of(practice))


def start_of(observed):
    """A level near each cell's own, a fall of 20 % a doubling, a third that stays."""
    practice = observed.practice
    theta = np.zeros((len(practice.cell_starts), 5))
    theta[:, LEVEL] = np.add.reduceat(observed.response, practice.cell_starts)
    theta[:, LEVEL] /= np.bincount(practice.cell)
    theta[:, [EXPONENT, FRACTION]] = -0.3, 0.3
    return theta


def weakly_held(cells):
    return Prior(np.zeros((cells, 5)), np.full((cells, 5), 1e-3))


@pytest.mark.parametrize("curve", ACTIVE)
def test_some_cells_alone_weigh_as_they_do_among_all(observed, curve):
    theta = start_of(observed)
    whole = observed.whitened(curve, theta)
    rng = np.random.default_rng(3)
    for share in (0.1, 0.5, 0.9):
        chosen = rng.random(len(theta)) < share
        chosen[rng.integers(len(theta))] = True
        alone = observed.of_cells(chosen).whitened(curve, theta[chosen])
        assert alone == pytest.approx(whole[chosen], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("curve", ACTIVE)
def test_a_cell_fitted_alone_has_the_fit_it_has_among_all(observed, curve):
    theta = start_of(observed)
    prior = weakly_held(len(theta))
    together = fit(curve, theta, observed, prior)
    for cell in range(0, len(theta), 5):
        chosen = np.arange(len(theta)) == cell
        alone = fit(curve, theta[chosen], observed.of_cells(chosen), prior.of_cells(chosen))
        assert alone.squares == pytest.approx(together.squares[chosen], rel=1e-8)
        error = np.sqrt(np.einsum("cii->ci", together.unscaled[chosen]))
        assert (np.abs(alone.theta - together.theta[chosen]) <= 0.01 * error + 1e-6).all()


def test_runs_of_cells_give_the_fit_of_all_laps_at_once(observed, monkeypatch):
    theta = start_of(observed)
    prior = weakly_held(len(theta))
    whole = fit("plateau", theta, observed, prior)
    monkeypatch.setattr(regression, "chunks", partial(fits.chunks, size=500))
    again = Observed(*(getattr(observed, name) for name in Observed.__dataclass_fields__))
    in_runs = fit("plateau", theta, again, prior)
    assert len(observed.parts) == 1 < len(again.parts)
    assert in_runs.squares == pytest.approx(whole.squares, rel=1e-8)
