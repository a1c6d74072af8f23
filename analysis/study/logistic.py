"""Logistic regression of faults on what came before them: many groups at once, batches alike.

For row i of group g with `hits` of `trials` pieces:
    log(p / (1 - p)) = sum_j x_ij beta_gj,    beta_gj ~ normal(0, 1 / precision_j) beforehand
by Newton's method on the penalised likelihood, the sums over rows taken for all groups at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STEPS = 60
FAR = 30.0  # a log-odds beyond it is certainty to thirteen digits


@dataclass(frozen=True)
class LogisticFit:
    """beta (groups, p); covariance (groups, p, p) of the model, and `robust`, by clusters, which
    is the wider of the two in no direction tested but the last column's: its variance is never
    below the model's. log_likelihood (groups,), penalty left out, binomial coefficients too;
    clusters (groups,): how many clusters have rows."""

    beta: np.ndarray
    covariance: np.ndarray
    robust: np.ndarray
    log_likelihood: np.ndarray
    clusters: np.ndarray


def fit_logistic(columns, hits, trials, group, groups: int, cluster, precision) -> LogisticFit:
    """Fit every group.

    columns: p arrays over rows (a column of ones is the intercept); hits <= trials: pieces;
    group: 0 … groups-1; cluster: a code of the batch, nested or not; precision: p of the prior,
    0 for none held (a group whose rows are all hits, or none, then has no finite answer).
    """
    columns = [np.asarray(column, float) for column in columns]
    hits, trials = np.asarray(hits, float), np.asarray(trials, float)
    penalty = np.diag(np.asarray(precision, float))
    beta = np.zeros((groups, len(columns)))
    objective = np.full(groups, -np.inf)
    step = np.zeros_like(beta)
    for _ in range(STEPS):
        trial = beta + step
        likelihood, gradient, information = _sums(columns, hits, trials, group, groups, trial)
        value = likelihood - 0.5 * np.einsum("gi,ij,gj->g", trial, penalty, trial)
        better = value >= objective - 1e-12 * np.abs(objective)
        beta[better], objective[better] = trial[better], value[better]
        fresh = _solved(information + penalty, gradient - trial @ penalty)
        step = np.where(better[:, None], fresh, step / 4)
        if np.abs(step).max(initial=0.0) < 1e-9:
            break
    likelihood, _, information = _sums(columns, hits, trials, group, groups, beta)
    covariance = _inverse(information + penalty)
    robust, clusters = _robust(columns, hits, trials, group, groups, cluster, beta, covariance)
    return LogisticFit(beta, covariance, robust, likelihood, clusters)


def chance(log_odds):
    """1 / (1 + exp(-log_odds)), for arrays."""
    return 1 / (1 + np.exp(-np.clip(log_odds, -FAR, FAR)))


def _log_odds(columns, beta, group):
    return sum(beta[group, j] * column for j, column in enumerate(columns))


def _sums(columns, hits, trials, group, groups, beta):
    """(log likelihood, gradient, information) of every group."""
    eta = np.clip(_log_odds(columns, beta, group), -FAR, FAR)
    p = chance(eta)
    terms = hits * eta - trials * np.logaddexp(0.0, eta)
    likelihood = np.bincount(group, terms, groups)
    residual, weight = hits - trials * p, trials * p * (1 - p)
    size = len(columns)
    gradient = np.stack([np.bincount(group, residual * c, groups) for c in columns], axis=1)
    information = np.empty((groups, size, size))
    for i in range(size):
        weighted = weight * columns[i]
        for j in range(i, size):
            total = np.bincount(group, weighted * columns[j], groups)
            information[:, i, j] = information[:, j, i] = total
    return likelihood, gradient, information


def _robust(columns, hits, trials, group, groups, cluster, beta, covariance):
    """H^-1 (m / (m - 1) sum over clusters of s s') H^-1, s the sum of a cluster's scores (Liang &
    Zeger 1986; the factor as in statsmodels), and m, the clusters of every group.

    With few clusters it is too small by chance, so the whole is widened to the model's variance
    of the last column where it falls short of that.
    """
    residual = hits - trials * chance(_log_odds(columns, beta, group))
    span = int(np.max(cluster, initial=0)) + 1
    pairs, place = np.unique(np.asarray(group, "int64") * span + cluster, return_inverse=True)
    pair_group = pairs // span
    clusters = np.bincount(pair_group, minlength=groups)
    scores = np.stack([np.bincount(place, residual * c, len(pairs)) for c in columns], axis=1)
    size = len(columns)
    middle = np.empty((groups, size, size))
    for i in range(size):
        for j in range(size):
            middle[:, i, j] = np.bincount(pair_group, scores[:, i] * scores[:, j], groups)
    factor = clusters / np.maximum(clusters - 1, 1)
    robust = covariance @ middle @ covariance * factor[:, None, None]
    short = robust[:, -1, -1] < covariance[:, -1, -1]
    widened = np.where(short[:, None, None], covariance, robust)
    return widened, clusters


def _inverse(matrix):
    """Batched inverse; where there is no information at all, a variance beyond any doubt."""
    return np.linalg.inv(matrix + 1e-12 * np.eye(matrix.shape[1]))


def _solved(matrix, vector):
    return np.einsum("gij,gj->gi", _inverse(matrix), vector)
