"""Draws from a density of one number (Neal 2003, Annals of Statistics 31:705-767)."""

from __future__ import annotations

from collections.abc import Callable
from math import exp, inf, log, log1p
from typing import Final

import numpy as np

_WIDTH: Final = 1.0  # of a slice, logits or logs
_FURTHEST: Final = 12.0  # logit of a share


def draw_one(log_density: Callable[[float], float], x: float, rng: np.random.Generator) -> float:
    """Return the next draw after `x`, by a slice."""
    level = log_density(x) + log(1.0 - rng.random())
    low = x - _WIDTH * rng.random()
    high = low + _WIDTH
    while log_density(low) > level:
        low -= _WIDTH
    while log_density(high) > level:
        high += _WIDTH
    while True:
        new = low + (high - low) * rng.random()
        if log_density(new) >= level:
            return new
        low, high = (new, high) if new < x else (low, new)


def draw_share(
    log_density: Callable[[float], float], share: float, rng: np.random.Generator
) -> float:
    """Return the next draw of a share, between 0 and 1, whose logit is drawn by a slice.

    Args:
        log_density: of the share itself.
        share: the draw before.
        rng: source of randomness.
    """

    def of_logit(x: float) -> float:
        if abs(x) > _FURTHEST:
            return -inf
        return log_density(1.0 / (1.0 + exp(-x))) - log1p(exp(-x)) - log1p(exp(x))

    return 1.0 / (1.0 + exp(-draw_one(of_logit, log(share / (1.0 - share)), rng)))
