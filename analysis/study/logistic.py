"""Logistic regression of faults on what came before them: many groups at once, batches alike.

For row i of group g with `hits` of `trials` pieces:
    log(p / (1 - p)) = sum_j x_ij beta_gj,    beta_gj ~ normal(0, 1 / precision_j) beforehand
by Newton's method on the penalised likelihood, the sums over rows taken for all groups at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

STEPS = 60
FAR = 30.0  # a log-odds beyond it is certainty to thirteen digits


@dataclass(frozen=True)
class LogisticFit:
    """beta (groups, p); covariance (groups, p, p) of the model, and `robust`, by clusters, no
    variance of which is below the model's; log_likelihood (groups,), penalty and binomial
    coefficients left out; clusters (groups,): how many clusters have rows."""

    beta: np.ndarray
    covariance: np.ndarray
    robust: np.ndarray
    log_likelihood: np.ndarray
    clusters: np.ndarray


def fit_logistic(
    columns: Sequence[np.ndarray],
    hits: np.ndarray,
    trials: np.ndarray,
    group: np.ndarray,
    groups: int,
    cluster: np.ndarray,
    precision: Sequence[float],
) -> LogisticFit:
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
        at = beta + step
        likelihood, gradient, information = _sums(columns, hits, trials, group, groups, at[group])
        value = likelihood - 0.5 * np.einsum("gi,ij,gj->g", at, penalty, at)
        better = value >= objective - 1e-12 * np.abs(objective)
        beta[better], objective[better] = at[better], value[better]
        fresh = _solved(information + penalty, gradient - at @ penalty)
        step = np.where(better[:, None], fresh, step / 4)
        if np.abs(step).max(initial=0.0) < 1e-9:
            break
    likelihood, _, information = _sums(columns, hits, trials, group, groups, beta[group])
    covariance = _inverse(information + penalty)
    robust, clusters = _robust(columns, hits, trials, group, groups, cluster, beta, covariance)
    return LogisticFit(beta, covariance, robust, likelihood, clusters)


def chance(log_odds: np.ndarray) -> np.ndarray:
    """1 / (1 + exp(-log_odds)), for arrays."""
    return 1 / (1 + np.exp(-np.clip(log_odds, -FAR, FAR)))


def _sums(
    columns: Sequence[np.ndarray],
    hits: np.ndarray,
    trials: np.ndarray,
    group: np.ndarray,
    groups: int,
    beta: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(log likelihood, gradient, information) of every group; beta over rows."""
    eta = np.clip(sum(beta[:, j] * column for j, column in enumerate(columns)), -FAR, FAR)
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


def _robust(
    columns: Sequence[np.ndarray],
    hits: np.ndarray,
    trials: np.ndarray,
    group: np.ndarray,
    groups: int,
    cluster: np.ndarray,
    beta: np.ndarray,
    covariance: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """(covariance by clusters, clusters of every group): the jackknife over clusters,
        (m - 1) / m sum_c d_c d_c',    d_c = H^-1 (I - A_c H^-1)^-1 s_c,
    s_c the sum of a cluster's scores, A_c its information, H that of all: d_c is how far the fit
    moves, to one step, when cluster c is left out (Bell & McCaffrey 2002; MacKinnon, Nielsen &
    Webb 2023 recommend it where clusters are few or unlike; from memory).

    By chance it may still be too small: a coefficient whose variance falls short of the model's
    is given the model's, correlations left as they are.
    """
    span = int(np.max(cluster, initial=0)) + 1
    pairs, place = np.unique(np.asarray(group, "int64") * span + cluster, return_inverse=True)
    pair_group = pairs // span
    clusters = np.bincount(pair_group, minlength=groups)
    _, scores, information = _sums(columns, hits, trials, place, len(pairs), beta[group])
    left = np.eye(len(columns)) - information @ covariance[pair_group]
    moved = np.einsum("cij,cj->ci", covariance[pair_group] @ _inverse(left), scores)
    size = len(columns)
    robust = np.empty((groups, size, size))
    for i in range(size):
        for j in range(size):
            robust[:, i, j] = np.bincount(pair_group, moved[:, i] * moved[:, j], groups)
    robust *= ((clusters - 1) / np.maximum(clusters, 1))[:, None, None]
    return _at_least(robust, covariance, clusters > 1), clusters


def _at_least(robust: np.ndarray, covariance: np.ndarray, told: np.ndarray) -> np.ndarray:
    """`robust` with its variances raised to those of `covariance`; the latter where not told."""
    told = told & (np.einsum("gii->gi", robust) > 0).all(axis=1)
    robust = np.where(told[:, None, None], robust, covariance)
    diagonal, least = (np.einsum("gii->gi", matrix) for matrix in (robust, covariance))
    wider = np.sqrt(np.maximum(least / diagonal, 1.0))
    return robust * wider[:, :, None] * wider[:, None, :]


def _inverse(matrix: np.ndarray) -> np.ndarray:
    """Batched inverse; where there is no information at all, a variance beyond any doubt."""
    return np.linalg.inv(matrix + 1e-12 * np.eye(matrix.shape[1]))


def _solved(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    return np.einsum("gij,gj->gi", _inverse(matrix), vector)
