"""Learning-curve fits: many cells at once against a reference library cell by cell."""

from dataclasses import replace

import numpy as np

from analysis.study import fits
from analysis.study.learning import fit_learning
from tests.benchmarks.rows import Row, median_seconds
from tests.study.known_truth import Truth, laps_of
from tests.study.session_bootstrap import bootstrap_exponents

CELLS, LAPS = 2000, 500
SCIPY_CELLS = 60  # of the 2,000, scaled up: scipy takes a quarter of a minute over all of them
BOOTSTRAP_DRAWS = 1000


def rows() -> list[Row]:
    log_n, log_y, starts = _cells()
    return [
        _unit_row(log_n, log_y, starts),
        *_plateau_rows(log_n, log_y, starts),
        _bootstrap_row(log_n[:LAPS], log_y[:LAPS]),
        _whole_row("6,000 laps of 24 cells", Truth(products=12, batches=10), 0.5),
        _whole_row("100,000 laps of 100 cells", Truth(products=50, batches=40), 1.5),
    ]


def _cells():
    """Laps of one piece each with a plateau between 10 and 70 % of the first time, 15 % noise."""
    rng = np.random.default_rng(1)
    log_n = np.tile(np.log(np.arange(1.0, LAPS + 1)), CELLS)
    first = np.repeat(rng.uniform(60, 300, CELLS), LAPS)
    exponent = np.repeat(np.log2(rng.uniform(0.7, 0.92, CELLS)), LAPS)
    fraction = np.repeat(rng.uniform(0.1, 0.7, CELLS), LAPS)
    seconds = first * (fraction + (1 - fraction) * np.exp(exponent * log_n))
    log_y = np.log(seconds) + 0.15 * rng.standard_normal(CELLS * LAPS)
    return log_n, log_y, np.arange(0, CELLS * LAPS, LAPS)


def _each(log_n, log_y, cells):
    shape = (CELLS, LAPS)
    return zip(log_n.reshape(shape)[:cells], log_y.reshape(shape)[:cells], strict=True)


def _unit_row(log_n, log_y, starts) -> Row:
    import statsmodels.api as sm

    def one_by_one():
        return [sm.OLS(y, sm.add_constant(x)).fit().params for x, y in _each(log_n, log_y, CELLS)]

    ours = fits.fit_unit_curves(log_n, log_y, starts)
    theirs = np.array(one_by_one())
    apart = np.abs(np.array([ours.log_first, ours.exponent]).T - theirs).max()
    reference = median_seconds(one_by_one)
    mine = median_seconds(lambda: fits.fit_unit_curves(log_n, log_y, starts), 11)
    return Row(
        "unit curves, 2,000 cells x 500 laps, statsmodels OLS per cell", reference, mine,
        reference / mine, "at least 100x, equal to 1e-12",
        reference / mine >= 100 and apart < 1e-12, f"largest difference {apart:.0e}",
    )  # fmt: skip


def _plateau_rows(log_n, log_y, starts) -> list[Row]:
    """Against scipy from three starts, in time as in squares: that one start would have been enough
    is known only once the others were tried. One start alone is shown beside it; against that the
    gain in time is under 100x."""
    ours = fits.fit_plateau_curves(log_n, log_y, starts)
    cells = list(_each(log_n, log_y, SCIPY_CELLS))
    best = np.array([min(_scipy(x, y, start) for start in range(3)) for x, y in cells])
    worse = int((ours.residual_squares[:SCIPY_CELLS] > best * (1 + 1e-8)).sum())
    alone = np.array([_scipy(x, y, 0) for x, y in cells])
    astray = int((alone > best * (1 + 1e-6)).sum())
    one_start = median_seconds(lambda: [_scipy(x, y, 0) for x, y in cells]) * CELLS / SCIPY_CELLS
    three = median_seconds(lambda: [_scipy(x, y, s) for s in range(3) for x, y in cells])
    three *= CELLS / SCIPY_CELLS
    mine = median_seconds(lambda: fits.fit_plateau_curves(log_n, log_y, starts), 11)
    name = "plateau curves, 2,000 cells x 500 laps, scipy least_squares per cell"
    return [
        Row(
            f"{name}, best of three starts", three, mine, three / mine,
            "at least 200x, no cell with larger squares", three / mine >= 200 and not worse,
            f"{worse} of {SCIPY_CELLS} cells worse",
        ),
        Row(
            f"{name}, its first start alone", one_start, mine, one_start / mine, "for comparison",
            True, f"that start ends above the best in {astray} of {SCIPY_CELLS} cells",
        ),
    ]  # fmt: skip


def _scipy(log_n, log_y, start):
    """Residual squares of scipy's fit, on the same log residuals, from one of three starts."""
    from scipy.optimize import least_squares

    n = np.exp(log_n)
    exponent, share = ((-0.2, 0.1), (-0.5, 0.4), (-0.9, 0.7))[start]
    found = least_squares(
        lambda p: log_y - np.log(p[1] + (p[0] - p[1]) * n ** p[2]),
        [np.exp(log_y[0]), share * np.exp(log_y[-50:].mean()), exponent],
        bounds=([0, 0, fits.STEEPEST], [np.inf, np.inf, fits.FLATTEST]),
    )
    return 2 * found.cost if found.success else np.inf


def _bootstrap_row(log_n, log_y) -> Row:
    session_starts = np.arange(0, LAPS, 10)
    session = np.repeat(np.arange(len(session_starts)), 10)
    members = [np.flatnonzero(session == s) for s in range(len(session_starts))]

    def plain_loop():
        rng = np.random.default_rng(0)
        exponents = []
        for _ in range(BOOTSTRAP_DRAWS):
            drawn = rng.integers(0, len(members), len(members))
            laps = np.concatenate([members[s] for s in drawn])
            x, y = log_n[laps], log_y[laps]
            x = x - x.mean()
            exponents.append(x @ y / (x @ x))
        return exponents

    def ours():
        rng = np.random.default_rng(0)
        return bootstrap_exponents(log_n, log_y, session_starts, BOOTSTRAP_DRAWS, rng)

    reference, mine = median_seconds(plain_loop), median_seconds(ours, 11)
    return Row(
        "bootstrap of 50 sessions, 1,000 draws, plain loop", reference, mine, reference / mine,
        "at least 20x", reference / mine >= 20,
    )  # fmt: skip


def _whole_row(name, truth: Truth, seconds) -> Row:
    laps, _ = laps_of(replace(truth, retention=0.9, restart=0.15))
    mine = median_seconds(lambda: fit_learning(laps))
    return Row(
        f"whole learning study, {name}", None, mine, None, f"at most {seconds} s", mine <= seconds,
        f"{len(laps)} laps",
    )  # fmt: skip
