"""Discrepancies at posterior draws, as scores that are standard normal where the model holds.

A discrepancy T(readings, draw) whose distribution given the draw is known (Gelman, Meng & Stern
1996, Statistica Sinica 6:733-807) is turned into a standard normal number at each draw. A draw of
the posterior and the readings are distributed together as the parameters and the readings are
(Johnson 2007, Bayesian Analysis 2:719-734), so each draw's T is standard normal over seasons.
Its mean over the draws varies less, since the fit takes up a part of every departure; that is why
plain posterior predictive p-values are too timid (Robins, van der Vaart & Ventura 2000, JASA
95:1143-1156). By the law of total variance

    Var(mean of T over draws) = 1 - E(variance of T over draws)

so that the mean over the root of that, the score, is standard normal again. With everything
Gaussian it is the score test of an added variable, all that is unknown integrated out.

Sources from memory.
"""

from __future__ import annotations

from functools import cache
from math import erfc, sqrt
from statistics import NormalDist
from typing import Final, NamedTuple

import numpy as np

from slackwater.model.dynamics import Floats

FALSE_ALARMS: Final = 0.05  # seasons as modelled in which anything at all is told
LEAST_FREE: Final = 0.1  # less is too little to be known well, and is taken for as much
_TAIL: Final = (0.0025, 0.02)  # shares of replicates at each end; their line goes on beyond them

_NORMAL: Final = NormalDist()
_GRID: Final = np.linspace(-8, 8, 1601)


class Score(NamedTuple):
    """One discrepancy over all draws.

    Attributes:
        z: standard normal over seasons that the model describes.
        sd: what a score of 1 is in the discrepancy's own unit, averaged over draws; the more of
            a departure the fit takes up, the smaller, as is the departure that is left.
    """

    z: float
    sd: float


def score(normal: Floats, unit: float = 1.0) -> Score:
    """Return the score of a discrepancy.

    Args:
        normal: at each draw, standard normal if the draw's parameters made the readings, (S,).
        unit: standard deviation of the discrepancy at a draw in its own unit.
    """
    left = sqrt(max(LEAST_FREE, 1.0 - float(normal.var())))
    return Score(float(normal.mean()) / left, unit * left)


def normal_scores(observed: Floats, replicated: Floats) -> Floats:
    """Return values as standard normal ones, by where they lie among replicates.

    Args:
        observed: shape (S,).
        replicated: of the same discrepancy where the model holds, shape (M,), thousands.
    """
    ordered = np.sort(replicated)
    places = _normal_places(len(ordered))
    last, inside = (round(share * len(ordered)) for share in _TAIL)
    out = np.interp(observed, ordered, places)
    for end, inner, beyond in (
        (last, inside, observed < ordered[last]),
        (-1 - last, -1 - inside, observed > ordered[-1 - last]),
    ):
        slope = (places[end] - places[inner]) / (ordered[end] - ordered[inner])
        out[beyond] = places[end] + slope * (observed[beyond] - ordered[end])
    return np.asarray(out)


def chance_of(z: float, looks: int, two_sided: bool = True) -> float:
    """Return the chance that any of so many looks at a described season shows as much.

    By Bonferroni's bound, which holds however the looks hang together.
    """
    tail = erfc(abs(z) / sqrt(2)) if two_sided else erfc(z / sqrt(2)) / 2
    return min(1.0, looks * tail)


def bound_of(looks: int) -> float:
    """Return the score that none of so many two-sided looks passes, but by `FALSE_ALARMS`."""
    return _NORMAL.inv_cdf(1 - FALSE_ALARMS / (2 * looks))


def within(level: float) -> float:
    """Return how many standard deviations to each side hold a share `level` of a normal."""
    return _NORMAL.inv_cdf((1 + level) / 2)


def share_below(x: Floats) -> Floats:
    """Return a standard normal's distribution function."""
    return np.asarray(np.interp(x, _GRID, _distribution()))


def quantiles(shares: Floats) -> Floats:
    """Return a standard normal's quantiles, shape (S,), far ones cut off."""
    inside = np.clip(shares, 1e-12, 1 - 1e-12)
    return np.array([_NORMAL.inv_cdf(float(share)) for share in inside])


@cache
def _distribution() -> Floats:
    return np.array([_NORMAL.cdf(float(x)) for x in _GRID])


@cache
def _normal_places(count: int) -> Floats:
    return quantiles((np.arange(count) + 0.5) / count)
