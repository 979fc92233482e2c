"""Importance weights with their largest ones smoothed.

Pareto-smoothed importance sampling (Vehtari, Simpson, Gelman, Yao & Gabry 2024, JMLR
25:72) with the generalised Pareto fit of Zhang & Stephens 2009 (Technometrics 51:316).
ArviZ has it too, but takes longer to import than a whole answer takes; a test holds the
two equal.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_ROUNDING: Final = 1e-9  # log weights closer than this are the same


def smooth_weights(log_weights: Floats) -> tuple[Floats, float]:
    """Return smoothed log weights, shape (S,), which sum to 1, and the Pareto k.

    Args:
        log_weights: raw log weights, shape (S,), any constant added.
    """
    weights = log_weights - log_weights.max()
    count = len(weights)
    tail_size = int(min(0.2 * count, 3 * np.sqrt(count)))
    order = np.argsort(weights)
    tail = order[-tail_size:]
    cutoff = weights[order[-tail_size - 1]]
    excess = np.exp(weights[tail]) - np.exp(cutoff)
    even = cutoff > -_ROUNDING  # more draws than the tail have the largest weight
    if tail_size <= 4 or even or not excess[0] > 0:
        k = 0.0 if tail_size > 4 and even else np.inf
        return weights - np.log(np.exp(weights).sum()), k
    k, sigma = fit_generalised_pareto(excess)
    places = (np.arange(tail_size) + 0.5) / tail_size
    quantiles = sigma * np.expm1(-k * np.log1p(-places)) / k
    weights[tail] = np.minimum(np.log(quantiles + np.exp(cutoff)), 0.0)
    return weights - np.log(np.exp(weights).sum()), k


def fit_generalised_pareto(excess: Floats) -> tuple[float, float]:
    """Return shape k and scale sigma of a generalised Pareto distribution.

    Args:
        excess: what exceeds the cutoff, ascending, shape (M,), above 0.
    """
    count = len(excess)
    grid = 30 + int(np.sqrt(count))
    prior = 3.0
    quartile = excess[int(count / 4 + 0.5) - 1]
    theta = 1 - np.sqrt(grid / (np.arange(1, grid + 1) - 0.5))
    theta = theta / (prior * quartile) + 1 / excess[-1]
    shapes = np.log1p(-theta[:, None] * excess).mean(axis=1)
    log_likelihood = count * (np.log(-theta / shapes) - shapes - 1)
    weight = np.exp(log_likelihood - log_likelihood.max())
    weight = weight / weight.sum()
    kept = weight >= 10 * np.finfo(float).eps
    mean = float((theta[kept] * weight[kept]).sum() / weight[kept].sum())
    k = float(np.log1p(-mean * excess).mean())
    sigma = -k / mean
    return (count * k + 10 * 0.5) / (count + 10), sigma  # a weak pull towards 0.5
