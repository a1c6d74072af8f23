"""The bootstrap of whole sessions: the reference that the study's stated intervals are checked by.

The study itself states intervals from the fitted model, sessions alike, since a dozen sessions are
too few to draw from; the bootstrap assumes less, and must agree where there are many.
"""

import numpy as np


def bootstrap_exponents(log_n, log_y, session_starts, draws, rng):
    """Exponents of one cell's unit curve when its sessions are drawn anew with replacement.

    Laps of one session resemble each other, so whole sessions are drawn (Cameron, Gelbach &
    Miller 2008). Each session comes down to five sums, and a draw to how often it was taken:
        counts (draws, sessions) @ sums (sessions, 5) -> b = (n Sxy - Sx Sy) / (n Sxx - Sx^2).
    """
    x, y = log_n - log_n.mean(), log_y - log_y.mean()
    columns = (np.ones(len(x)), x, y, x * x, x * y)
    sums = np.array([np.add.reduceat(column, session_starts) for column in columns]).T
    sessions = len(session_starts)
    drawn = rng.integers(0, sessions, (draws, sessions)) + sessions * np.arange(draws)[:, None]
    taken = np.bincount(drawn.ravel(), minlength=draws * sessions).reshape(draws, sessions)
    n, sx, sy, sxx, sxy = (taken.astype(float) @ sums).T
    with np.errstate(divide="ignore", invalid="ignore"):
        return (n * sxy - sx * sy) / (n * sxx - sx * sx)
