"""What ordinary nights of a season are like, so that others stand out.

A stretch that nobody logged makes noise and its lingering look larger than they are, which would
hide it. So what lingers is taken no larger than is usual for people in general, and the noise as it
is from one night to the next, which the first and last night of a stretch alone can spoil. How
baseline drifts the watch learns by itself.
"""

from __future__ import annotations

from math import exp
from typing import Final

import numpy as np
import xarray as xr

from slackwater.model import names as n
from slackwater.model.dynamics import share_of
from slackwater.model.levels import Floats
from slackwater.model.priors import Priors
from slackwater.model.unexplained import Watched

_USUAL: Final = 1.0  # prior standard deviations over the median that is usual in general
_ENOUGH: Final = 10  # pairs of nights, for a standard deviation
_NORMAL: Final = 1.4826  # standard deviations in a normal's median absolute deviation


def ordinary(draws: xr.Dataset, levels: Floats, priors: Priors) -> Watched:
    """Return what is to be watched of a fitted season.

    Args:
        draws: the posterior.
        levels: readings without dips and sensor step, ln ms, shape (N,).
        priors: what is usual in general.
    """
    odds = [
        min(float(np.median(draws[name])), exp(belief.mean + _USUAL * belief.sd))
        for name, belief in (
            (n.LINGERING_ODDS, priors.lingering_odds),
            (n.PERSISTENCE_ODDS, priors.persistence_odds),
        )
    ]
    lingering, persistence = share_of(np.array(odds)).tolist()
    steps = np.diff(levels)
    steps = steps[np.isfinite(steps)]
    sd = float(np.median(draws[n.NOISE_SD]))
    if len(steps) >= _ENOUGH:
        apart = _NORMAL * float(np.median(np.abs(steps - np.median(steps))))
        sd = min(sd, apart / np.sqrt(2 * (1 - lingering * persistence)))
    tail = float(np.median(draws[n.NOISE_TAIL]))
    return Watched(
        levels,
        noise_variance=(1 - lingering) * sd**2 * exp(tail**2 / 2),
        transient_variance=lingering * sd**2,
        persistence=persistence,
    )
