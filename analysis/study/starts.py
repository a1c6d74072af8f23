"""How many pieces to start so that enough come out good."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from analysis.study.frames import Values
from analysis.study.quality import KEYS, share_draws
from analysis.study.rates import cell_codes

CHANCE = 0.95
DRAWS = 1000
MOST = 10_000_000  # pieces; a share of good ones that asks for more is as good as none
COLUMNS = (
    "product", "variant", "good", "chance", "good_share", "good_share_low", "good_share_high",
    "pieces", "pieces_low", "pieces_high", "pieces_with_doubt", "note",
)  # fmt: skip


def pieces_to_start(
    good: float | Values, good_share: float | Values, chance: float = CHANCE
) -> np.ndarray:
    """Fewest pieces to start so that at least `good` come out good with probability `chance`.

    Each piece comes out good with probability `good_share` by itself, so the pieces started when
    the last good one is done are negative binomial:
        P(at least g of n) = I_s(g, n - g + 1),    the regularised incomplete beta function,
    and the answer is the smallest n for which that is >= chance. Arrays broadcast; float, NaN
    where no piece ever comes out good. `good` 0 needs none.
    """
    from scipy.special import betainc  # imported where used: scipy is slow to import

    good, share = np.broadcast_arrays(np.asarray(good, float), np.asarray(good_share, float))
    return _smallest(lambda n: betainc(np.maximum(good, 1), n - good + 1, share) >= chance, good)


def pieces_in_doubt(good: float, good_shares: np.ndarray, chance: float = CHANCE) -> float:
    """The same where the share of good pieces is one of these draws, one does not know which.

    Smallest n with mean over the draws of P(at least g of n) >= chance (posterior predictive).
    """
    from scipy.special import betainc  # imported where used: scipy is slow to import

    def enough(n: np.ndarray) -> np.ndarray:
        return np.mean(betainc(max(good, 1), n - good + 1, good_shares)) >= chance

    return float(_smallest(enough, np.asarray(float(good))))


def _smallest(enough: Callable[[np.ndarray], np.ndarray], good: np.ndarray) -> np.ndarray:
    """Smallest whole n >= good for which `enough` holds, by doubling and halving; NaN past MOST."""
    low, high = good.astype(float), np.maximum(good, 1.0)
    with np.errstate(invalid="ignore"):
        while True:
            short = ~enough(high) & (high < MOST)
            if not short.any():
                break
            high = np.where(short, 2 * high, high)
        found = enough(high)
        while (low < high).any():
            middle = np.floor((low + high) / 2)
            reached = enough(np.maximum(middle, good))
            high, low = np.where(reached, middle, high), np.where(reached, low, middle + 1)
            low = np.minimum(low, high)
    return np.where(good <= 0, 0.0, np.where(found, high, np.nan))


def starts(
    quality: pd.DataFrame,
    routes: pd.DataFrame,
    good: dict[tuple[str, str], int],
    rng: np.random.Generator,
    chance: float = CHANCE,
) -> pd.DataFrame:
    """Pieces to start by product and variant (COLUMNS), so that `good` of each come out good.

    quality, routes: of the study. A piece comes out good with the product over its route of
    (1 - scrap rate): reworked pieces survive. pieces is exact at the measured rates; pieces_low
    and pieces_high at the ends of the share's 95 % interval; pieces_with_doubt counts that the
    rates are only measured, and that the next batch may be a good or a bad one (each operation's
    scrap rate is drawn from its posterior and then, for the batch, from a beta distribution with
    the likeness found between batches). Operations without laps count as losing none.
    """
    quality = quality[quality["units"] > 0]
    lost, units, alike = (
        quality[name].to_numpy(float) for name in ("lost_units", "units", "scrap_likeness")
    )
    measured = share_draws(lost, units, alike, DRAWS, rng)
    passing = 1 - quality["scrap_rate"].to_numpy(float)
    at = cell_codes(routes, KEYS, quality)
    by_route = routes.groupby(["product", "variant"], sort=False).indices
    in_batch = 1 - _next_batch(measured, quality, rng)
    rows = []
    for route, own in by_route.items():
        if route in good:
            cells = at[own][at[own] >= 0]
            shares = (1 - measured[:, cells]).prod(axis=1), in_batch[:, cells].prod(axis=1)
            counted = _counted(good[route], passing[cells].prod(), *shares, chance)
            rows.append((*route, good[route], chance, *counted, _note(counted, len(own), cells)))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _counted(
    wanted: int, share: float, measured: np.ndarray, in_batch: np.ndarray, chance: float
) -> tuple[float, ...]:
    """good_share with its interval, and pieces by the share, by the interval's ends, in doubt."""
    low, high = np.quantile(measured, [0.025, 0.975])
    low, high = min(low, share), max(high, share)
    pieces, fewest, most = pieces_to_start(wanted, np.array([share, high, low]), chance)
    doubt = pieces_in_doubt(wanted, in_batch, chance) if share > 0 else np.nan
    return share, low, high, pieces, fewest, most, doubt


def _note(counted: tuple, operations: int, cells: np.ndarray) -> str:
    """What keeps the number from being known, or leans on no lap, in plain words."""
    without = operations - len(cells)
    notes = {
        "every piece so far was lost: no number of starts makes a good one": counted[0] == 0,
        f"{without} of {operations} operations have no laps and count as losing none": without,
    }
    return "; ".join(note for note, holds in notes.items() if holds)


def _next_batch(rate: np.ndarray, quality: pd.DataFrame, rng: np.random.Generator) -> np.ndarray:
    """Draws of one batch's own scrap rate about each draw of the mean rate.

    Within batches of m pieces the design effect is D = 1 + (m - 1) rho (Kish 1965); the batch's
    rate is Beta(p (1 - rho) / rho, (1 - p)(1 - rho) / rho), which has that intra-batch correlation.
    """
    m = np.maximum((quality["units"] / quality["batches"]).to_numpy(float), 2.0)
    rho = np.clip((quality["scrap_likeness"].to_numpy(float) - 1) / (m - 1), 0.0, 0.9)
    strength = np.where(rho > 0, (1 - rho) / np.where(rho > 0, rho, 1.0), 1.0)
    inside = np.clip(rate, 1e-12, 1 - 1e-12)
    drawn = rng.beta(inside * strength, (1 - inside) * strength)
    return np.where(rho > 0, drawn, rate)
