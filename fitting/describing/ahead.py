"""Each reading's error, one step ahead: what the model did not foresee, draw by draw.

At the parameters that made the readings, such errors over their standard deviations are
independent standard normal numbers (Durbin & Koopman 2012, section 2.12), so that replicates of
them need no filter. Smoothed residuals are neither independent nor as large: a baseline that has
seen the reading hides a part of it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from slackwater.fitting.state.past import Past
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, Ints


class OneStepErrors(NamedTuple):
    """Errors of R readings, the first one of the season left out, at S draws.

    Attributes:
        nights: index of each reading's night, shape (R,).
        error: reading minus what the readings before it foretold, over its standard deviation,
            shape (S, R). Dips and the night's own scale are the draw's.
        sd: that standard deviation, ln, shape (S, R).
        scale: how many times an ordinary night's noise that night's is, as SD, shape (S, R).
    """

    nights: Ints
    error: Floats
    sd: Floats
    scale: Floats


def one_step_errors(past: Past) -> OneStepErrors:
    """Return each reading's error in a season taken apart.

    Args:
        past: the fitted season.
    """
    nights = np.flatnonzero(past.season.read)[1:]
    foretold = (past.filtered.expected - past.shown + past.shift)[:, nights]
    noise = past.noise[:, nights]
    sd = np.sqrt(past.filtered.variance[:, nights] + noise)
    tail = past.draws[n.NOISE_TAIL].values[:, None]
    return OneStepErrors(
        nights=nights,
        error=(past.readings[nights] - foretold) / sd,
        sd=sd,
        scale=np.exp(tail * past.draws[n.NIGHT_SCALE].values[:, 1:] / 2),
    )
