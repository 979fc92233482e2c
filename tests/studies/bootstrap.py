"""Ranges of what is measured over seasons, with the season as the unit.

The types of one season share its noise, baseline and fit, so that they are not so many
independent tries: whole seasons are drawn again (Efron & Tibshirani 1993, An Introduction to the
Bootstrap, ch. 6 and 13: percentile intervals).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.stats import beta

AGAIN = 4000
MASS = 0.95


class Ranged(NamedTuple):
    """A mean and its bootstrap range; NaN where there was nothing to take it over."""

    value: float
    low: float
    high: float


def mean_over(seasons: Sequence[Sequence[float]]) -> Ranged:
    """Return the mean of all values, with the range that drawing seasons again gives.

    Args:
        seasons: each season's values; a season may have none.
    """
    return ratio_over([(float(np.sum(values)), float(len(values))) for values in seasons])


def share_over(seasons: Sequence[Sequence[float]]) -> Ranged:
    """Return a share of hits, with its range.

    Where a season has one try at most, tries are independent and the range is exact (Clopper &
    Pearson 1934). It is that of so many seasons, too, where all tries end alike: drawing seasons
    again would then claim certainty.

    Args:
        seasons: each season's hits, 0 or 1; a season may have none.
    """
    tried = [float(np.mean(hits)) for hits in seasons if len(hits)]
    if not tried or (max(map(len, seasons)) > 1 and 0 < np.mean(tried) < 1):
        return mean_over(seasons)
    hits, count = round(sum(tried)), len(tried)
    tail = (1 - MASS) / 2
    low = float(beta.ppf(tail, hits, count - hits + 1)) if hits else 0.0
    high = float(beta.ppf(1 - tail, hits + 1, count - hits)) if hits < count else 1.0
    return Ranged(hits / count, low, high)


def ratio_over(seasons: Sequence[tuple[float, float]]) -> Ranged:
    """Return a ratio of sums, with the range that drawing seasons again gives.

    Args:
        seasons: each season's part of the numerator and of the denominator.
    """
    above, below = np.array(seasons, float).reshape(-1, 2).T
    if not below.any():
        return Ranged(np.nan, np.nan, np.nan)
    rng = np.random.default_rng(len(above))
    chosen = rng.integers(len(above), size=(AGAIN, len(above)))
    with np.errstate(invalid="ignore"):
        again = above[chosen].sum(axis=1) / below[chosen].sum(axis=1)
    low, high = np.nanquantile(again, [(1 - MASS) / 2, (1 + MASS) / 2])
    return Ranged(float(above.sum() / below.sum()), float(low), float(high))
