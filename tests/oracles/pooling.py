"""Partial pooling solved by quadrature over the one parameter that is not normal.

reading[i] ~ Normal(member[i], error[i]),   member[i] ~ Normal(mean, sd)
mean ~ Normal(0, mean_sd), where mean_sd may depend on sd
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Moments(NamedTuple):
    """Posterior mean and SD of `mean`, of `sd` and of each member."""

    mean: tuple[float, float]
    sd: tuple[float, float]
    members: tuple[Floats, Floats]


def solve(
    readings: Floats,
    errors: Floats,
    mean_sd: float | Callable[[Floats], Floats],
    log_prior: Callable[[Floats], Floats],
) -> Moments:
    """Integrate over `sd` on a grid even in its log; `log_prior` holds all that depends on it."""
    sd = np.exp(np.linspace(-12, 12, 20_001))
    variance = errors**2 + sd[:, None] ** 2
    before = mean_sd(sd) if callable(mean_sd) else mean_sd
    precision = before**-2 + (1 / variance).sum(axis=1)
    mean = (readings / variance).sum(axis=1) / precision
    log_weight = 0.5 * (
        -np.log(variance).sum(axis=1)
        - (readings**2 / variance).sum(axis=1)
        + mean**2 * precision
        - np.log(precision)
    )
    log_weight += log_prior(sd) + np.log(sd)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()

    own = sd[:, None] ** 2 / variance  # how much a member's own reading counts
    member = own * readings + (1 - own) * mean[:, None]
    spread = own * errors**2 + (1 - own) ** 2 / precision[:, None]

    def moments(values: Floats, variances: Floats) -> tuple[Floats, Floats]:
        centre = weight @ values
        return centre, np.sqrt(weight @ (variances + (values - centre) ** 2))

    def scalar(values: Floats, variances: Floats) -> tuple[float, float]:
        centre, width = moments(values, variances)
        return float(centre), float(width)

    return Moments(
        mean=scalar(mean, 1 / precision),
        sd=scalar(sd, np.zeros_like(sd)),
        members=moments(member, spread),
    )
