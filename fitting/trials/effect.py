"""From days saved to rate ratios, and from a rate ratio to the chance of a clear verdict.

A typical session takes 1 + E days to recover from, where E is what a measure can shorten. A
measure with rate ratio r makes it 1 + E / r, which saves E * (1 - 1 / r) days.

The chance of the verdict is a normal approximation (assurance: O'Hagan, Stevens & Campbell
2005, Pharmaceutical Statistics 4:187-201): the trial's own estimate of the log rate ratio is
normal around the true one, with a standard error that shrinks with the square root of the
number of sessions, and the verdict weighs it together with the prior.
"""

from __future__ import annotations

from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.answers.compare import SURE
from slackwater.fitting.answers.recovery import log_dips
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.priors import Priors

Floats = NDArray[np.float64]

PRIOR: Final = Priors().log_rate_ratio
_NORMAL: Final = NormalDist()


def days_to_shorten(now: Standing) -> Floats:
    """Return E of each type's typical session, in days, shape (S, K)."""
    over = log_dips(now) - np.log(now.threshold)[:, None]
    return np.asarray(np.maximum(0.0, over) / np.exp(now.parameter(n.TYPE_LOG_RATE)))


def typical_session(now: Standing, shares: dict[str, float]) -> Floats:
    """Return E of the typical session of a mixture of types, shape (S,)."""
    known = [str(t) for t in now.draws[n.TYPE].values]
    weight = np.array([shares.get(t, 0.0) for t in known])
    return np.asarray(days_to_shorten(now) @ (weight / weight.sum()))


def days_saved(to_shorten: Floats, log_ratio: Floats) -> Floats:
    """Return the days that a measure saves, shape as given."""
    return np.asarray(to_shorten * -np.expm1(-log_ratio))


def log_ratio_for(to_shorten: Floats, days: float) -> Floats:
    """Return the log rate ratio that saves so many days; NaN where none does."""
    possible = to_shorten > days
    return np.where(possible, -np.log1p(-days / np.where(possible, to_shorten, 2 * days)), np.nan)


def assurance(effects: Floats, errors: Floats | float, z: Floats | float) -> float:
    """Return the chance that an estimate exceeds `z` standard errors.

    Args:
        effects: draws of the true effect, shape (S,).
        errors: the estimate's standard error, a number or one a draw.
        z: how many standard errors make the verdict, a number or one a draw.
    """
    return float(np.mean(_phi(effects / errors - z)))


def chance_of_faster(effects: Floats, information: Floats, sessions: float) -> float:
    """Return the chance of the verdict "faster" after a trial of that size.

    Args:
        effects: draws of the true log rate ratio, shape (S,).
        information: what one session per arm adds to its precision, shape (S,).
        sessions: sessions per arm.
    """
    gained = np.maximum(information * sessions, 1e-12)
    z = _NORMAL.inv_cdf(SURE) * np.sqrt(1 + 1 / (PRIOR.sd**2 * gained))
    return assurance(effects, 1 / np.sqrt(gained), z)


def sessions_for(effects: Floats, information: Floats, chance: float, most: int) -> int | None:
    """Return the fewest sessions per arm with that chance, None where `most` is too few."""
    for sessions in range(2, most + 1):
        if chance_of_faster(effects, information, sessions) >= chance:
            return sessions
    return None


def share_range(count: int, of: int, level: float) -> tuple[float, float]:
    """Return the range of a share seen `count` times `of` so many (Wilson 1927, from memory)."""
    z = _NORMAL.inv_cdf((1 + level) / 2)
    centre = (count + z**2 / 2) / (of + z**2)
    half = z / (of + z**2) * np.sqrt(count * (of - count) / of + z**2 / 4)
    return max(0.0, float(centre - half)), min(1.0, float(centre + half))


def _phi(values: Floats) -> Floats:
    flat = np.atleast_1d(np.asarray(values, float))
    return np.array([_NORMAL.cdf(v) for v in flat.tolist()])
