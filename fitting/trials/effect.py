"""From days saved to rate ratios and back.

A typical session takes 1 + E days to recover from, where E is what a measure can shorten. A
measure with rate ratio r makes it 1 + E / r, which saves E * (1 - 1 / r) days.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats


def days_to_shorten(now: Standing) -> Floats:
    """Return E of each type's typical session, in days, shape (S, K)."""
    over = now.log_dips() - np.log(now.threshold)[:, None]
    return np.asarray(np.maximum(0.0, over) / np.exp(now.parameter(n.TYPE_LOG_RATE)))


def typical_session(now: Standing, shares: Mapping[str, float]) -> Floats:
    """Return E of the typical session of a mixture of types, shape (S,)."""
    weight = np.array([shares.get(t, 0.0) for t in now.types])
    return np.asarray(days_to_shorten(now) @ (weight / weight.sum()))


def days_saved(to_shorten: Floats, log_ratio: Floats) -> Floats:
    """Return the days that a measure saves, shape as given."""
    return np.asarray(to_shorten * -np.expm1(-log_ratio))


def log_ratio_for(to_shorten: Floats, days: float) -> Floats:
    """Return the log rate ratio that saves so many days; NaN where none does."""
    possible = to_shorten > days
    return np.where(possible, -np.log1p(-days / np.where(possible, to_shorten, 2 * days)), np.nan)
