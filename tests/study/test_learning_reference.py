"""The regression of laps on a curve against certified and published figures."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.study.experience import Practice
from analysis.study.likeness import Sums, inverse, restricted_likelihood, solve, split
from analysis.study.regression import (
    EXPONENT,
    FRACTION,
    LEVEL,
    LOG_PRIOR,
    Observed,
    Prior,
    Work,
    fit,
    log_mean,
)

REFERENCE = Path(__file__).parents[1] / "reference"
NIST = json.loads((REFERENCE / "nist_strd_power.json").read_text())
MIXED = json.loads((REFERENCE / "mixed_models.json").read_text())


def one_cell(laps, session_starts=None):
    """A Practice of one cell, of which only the grouping is looked at."""
    starts = np.arange(laps) if session_starts is None else np.asarray(session_starts)
    return Practice(
        position=np.arange(laps),
        seconds=np.ones(laps),
        pieces=np.ones(laps),
        pieces_before=np.zeros(laps),
        pieces_before_in_spell=np.full(laps, 60.0),
        weeks_away=np.zeros(laps),
        weeks_rested=np.zeros(1),
        cell=np.zeros(laps, int),
        cell_starts=np.array([0]),
        session_starts=starts,
        session_cell_starts=np.array([0]),
        session_cell=np.zeros(len(starts), int),
        cells=pd.DataFrame({"operation": ["sew"]}),
    )


NOTHING_HELD = Prior(np.zeros((1, 5)), np.zeros((1, 5)))


def fitted_in_seconds(curve, n, y, theta, prior=NOTHING_HELD):
    """Least squares of y itself, by our regression on log residuals: with weights mu^2 and the
    response log mu + (y - mu) / mu its steps are those of ordinary Gauss-Newton."""
    work = Work.of(n - 1, np.ones(len(n)), np.array([len(n)]))
    practice = one_cell(len(n))
    for _ in range(60):
        log_mu = log_mean(curve, work, theta)[0]
        mu = np.exp(log_mu)
        laps = Observed(log_mu + (y - mu) / mu, mu**2, np.zeros(1), practice, work)
        found = fit(curve, theta, laps, prior)
        theta = found.theta
    mu = np.exp(log_mean(curve, work, theta)[0])
    return theta[0], np.sqrt(found.unscaled[0].diagonal()), ((y - mu) ** 2).sum()


def test_a_power_curve_agrees_with_nist_certified_values():
    """NIST StRD DanWood, y = b1 x^b2. Pieces are numbered n = x^-4, so that the exponent -b2 / 4
    lies where learning curves do."""
    case = NIST["DanWood"]
    x, y = np.array(case["x"]), np.array(case["y"])
    start = np.array([[np.log(0.7), -1.0, 0, 0, 0]])
    theta, error, squares = fitted_in_seconds("unit", x**-4, y, start)
    deviation = np.sqrt(squares / 4)
    assert squares == pytest.approx(case["rss"], rel=1e-8)
    assert np.exp(theta[LEVEL]) == pytest.approx(case["certified"][0], rel=1e-7)
    assert -4 * theta[EXPONENT] == pytest.approx(case["certified"][1], rel=1e-7)
    assert 4 * error[EXPONENT] * deviation == pytest.approx(case["certified_sd"][1], rel=1e-6)


def test_a_curve_with_prior_experience_agrees_with_nist_certified_values():
    """NIST StRD Bennett5, y = b1 (b2 + x)^(-1 / b3) with y < 0: a curve with b2 prior pieces."""
    case = NIST["Bennett5"]
    x, y = np.array(case["x"]), -np.array(case["y"])
    # NIST's second start, written in our terms
    b1, b2, b3 = 1500.0, 45.0, 0.85
    start = np.array([[np.log(b1) - np.log1p(b2) / b3, -1 / b3, 0, np.log1p(b2), 0]])
    theta, _, squares = fitted_in_seconds("prior", x, y, start)
    prior, exponent = np.expm1(theta[LOG_PRIOR]), theta[EXPONENT]
    assert squares == pytest.approx(case["rss"], rel=1e-6)
    assert prior == pytest.approx(case["certified"][1], rel=1e-5)
    assert -1 / exponent == pytest.approx(case["certified"][2], rel=1e-5)
    b1 = np.exp(theta[LEVEL] - exponent * np.log1p(prior))
    assert -b1 == pytest.approx(case["certified"][0], rel=1e-4)


@pytest.mark.parametrize("name", ["Misra1a", "BoxBOD"])
def test_a_plateau_agrees_with_nist_certified_values(name):
    """NIST StRD Misra1a and BoxBOD, y = b1 (1 - exp(-b2 x)). Taken from 500, over pieces numbered
    n = exp(s x), what is left is (500 - b1) + b1 n^(-b2 / s): a plateau of 500 - b1 after a first
    piece of 500, which is given."""
    case = NIST[name]
    x, y = np.array(case["x"]), 500 - np.array(case["y"])
    scale = np.log(100) / x.max()
    held = Prior(np.array([[np.log(500), 0, 0, 0, 0]]), np.array([[1e13, 0, 0, 0, 0]]))
    start = np.array([[np.log(500), -0.5, 0.3, 0, 0]])
    theta, error, squares = fitted_in_seconds("plateau", np.exp(scale * x), y, start, held)
    plateau, deviation = 500 * theta[FRACTION], np.sqrt(squares / (len(x) - 2))
    assert squares == pytest.approx(case["rss"], rel=1e-7)
    assert 500 - plateau == pytest.approx(case["certified"][0], rel=1e-6)
    assert -scale * theta[EXPONENT] == pytest.approx(case["certified"][1], rel=1e-6)
    spread = 500 * error[FRACTION] * deviation, scale * error[EXPONENT] * deviation
    assert spread == pytest.approx(case["certified_sd"], rel=1e-4)


def mixed_model(case):
    """(sums, practice, laps): indicator columns by machine or type, sessions the workers."""
    rows = sorted(MIXED[case]["rows"])
    group, kind, value = (np.array(column) for column in zip(*rows, strict=True))
    columns = [(kind == name).astype(float) for name in sorted(set(kind))]
    starts = np.flatnonzero(np.append(True, group[1:] != group[:-1]))
    practice = one_cell(len(rows), starts)
    return Sums.of([*columns, value], np.ones(len(rows)), practice), len(rows)


def restricted_estimates(case):
    """(tau, sigma, column estimates, their errors, restricted log likelihood), by our pieces."""
    sums, laps = mixed_model(case)
    nothing = np.zeros((1, 1, 1))
    grid = np.linspace(0.2, 6, 5801)
    likelihood = restricted_likelihood(sums, np.array([laps]), nothing, grid)[:, 0]
    likeness = grid[likelihood.argmax()]
    matrix, vector, squares = split(sums.whitened(likeness))
    beta = solve(matrix, vector)[0]
    freedom = laps - len(beta)
    sigma = np.sqrt((squares[0] - beta @ vector[0]) / freedom)
    errors = sigma * np.sqrt(inverse(matrix)[0].diagonal())
    whole = likelihood.max() - freedom / 2 * (1 + np.log(2 * np.pi) - np.log(freedom))
    return sigma * np.sqrt(likeness), sigma, beta, errors, whole


def test_sessions_agree_with_a_published_worker_by_machine_mixed_model():
    """Machines, 6 workers by 3 machines; Pinheiro & Bates 2000, section 1.3 (from memory)."""
    published, fixed = MIXED["Machines"]["published"], MIXED["Machines"]["fixed"]
    tau, sigma, beta, _, likelihood = restricted_estimates("Machines")
    # the grid of the likeness is 0.001 wide, which is 2e-4 of its root
    assert tau == pytest.approx(published["sd_worker"], rel=1e-3)
    assert sigma == pytest.approx(published["sd_resid"], rel=1e-4)
    assert likelihood == pytest.approx(published["reml_loglik"], abs=0.005)
    offsets = [fixed["Intercept"], fixed["MachineB"], fixed["MachineC"]]
    assert [beta[0], beta[1] - beta[0], beta[2] - beta[0]] == pytest.approx(offsets, abs=6e-4)


def test_sessions_agree_with_a_published_mixed_model_of_stools():
    """ergoStool, 9 subjects by 4 stools (a public lmer fit of the data)."""
    published = MIXED["ergoStool"]["published"]
    tau, sigma, beta, errors, likelihood = restricted_estimates("ergoStool")
    assert tau == pytest.approx(published["sd_subject"], rel=1e-3)
    assert sigma == pytest.approx(published["sd_resid"], abs=0.005)
    assert beta == pytest.approx([published[f"TypeT{i}"] for i in (1, 2, 3, 4)], abs=6e-4)
    assert errors == pytest.approx([published["se"]] * 4, abs=6e-4)
    assert likelihood == pytest.approx(published["reml_loglik"], abs=0.05)


@pytest.mark.parametrize("case", ["Machines", "ergoStool"])
def test_sessions_agree_with_statsmodels_mixed_model(case):
    """MixedLM by REML on the same rows. Its descent stops where the likelihood is flat: a maximum
    known to 1e-8 of its height leaves 1e-4 of the place. Both designs are balanced, so that effects
    and variances do not mix in its observed information and its errors are those of GLS."""
    import statsmodels.api as sm

    group, kind, value = (np.array(column) for column in zip(*MIXED[case]["rows"], strict=True))
    columns = (kind[:, None] == sorted(set(kind))).astype(float)
    theirs = sm.MixedLM(value, columns, groups=group).fit(reml=True)
    tau, sigma, beta, errors, likelihood = restricted_estimates(case)
    assert beta == pytest.approx(theirs.fe_params, rel=1e-7)
    assert likelihood == pytest.approx(theirs.llf, rel=1e-7)
    assert tau == pytest.approx(np.sqrt(theirs.cov_re[0, 0]), rel=3e-4)
    assert sigma == pytest.approx(np.sqrt(theirs.scale), rel=3e-4)
    assert errors == pytest.approx(theirs.bse_fe, rel=3e-4)


def test_the_slope_of_practice_and_its_error_are_statsmodels_generalised_least_squares():
    """GLS with the sessions' covariance written out in full, laps of unlike numbers of pieces.

    MixedLM knows no laps of several pieces; and where sessions are of unlike length its errors,
    from the observed information of effects and variances together, are up to 1 % above these,
    which take the variances as given and leave their doubt to Student's t.
    """
    import statsmodels.api as sm

    rng = np.random.default_rng(4)
    laps, sessions, likeness = 240, 24, 0.7
    starts = np.sort(rng.choice(np.arange(1, laps), sessions - 1, replace=False))
    starts = np.append(0, starts)
    session = np.repeat(np.arange(sessions), np.diff(np.append(starts, laps)))
    log_n, pieces = np.log(np.arange(1.0, laps + 1)), rng.integers(1, 9, laps).astype(float)
    y = 4.5 - 0.25 * log_n + 0.1 * rng.standard_normal(laps) / np.sqrt(pieces)
    covariance = np.diag(1 / pieces) + likeness * (session[:, None] == session)
    theirs = sm.GLS(y, sm.add_constant(log_n), sigma=covariance).fit()
    sums = Sums.of([np.ones(laps), log_n, y], pieces, one_cell(laps, starts))
    matrix, vector, squares = split(sums.whitened(likeness))
    beta = solve(matrix, vector)[0]
    sigma = np.sqrt((squares[0] - beta @ vector[0]) / (laps - 2))
    assert beta == pytest.approx(theirs.params, rel=1e-9)
    assert sigma * np.sqrt(inverse(matrix)[0].diagonal()) == pytest.approx(theirs.bse, rel=1e-7)
