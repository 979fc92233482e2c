"""A season handed to statsmodels' Kalman filter and smoother, its dips as known inputs."""

from __future__ import annotations

from typing import Any

import numpy as np
from statsmodels.tsa.statespace.kalman_smoother import KalmanSmoother

from slackwater.model.likelihood import LikelihoodInputs
from tests.oracles.dense import dip_by_night


def smooth(inputs: LikelihoodInputs) -> Any:
    """Return statsmodels' results: `llf`, `smoothed_state` (1, N), and so on."""
    nights = len(inputs.speed)
    readings = np.full((nights, 1), np.nan)
    readings[inputs.reading_nights, 0] = inputs.readings
    intercept = -dip_by_night(inputs)[None]
    intercept[0, inputs.reading_nights] += inputs.shift
    noise = np.ones((1, 1, nights))
    noise[0, 0, inputs.reading_nights] = inputs.noise_variance

    filters = KalmanSmoother(k_endog=1, k_states=1, k_posdef=1, tolerance=0)
    filters.bind(readings)
    filters["design"] = filters["transition"] = filters["selection"] = np.ones((1, 1))
    filters["obs_intercept"] = intercept
    filters["obs_cov"] = noise
    filters["state_cov"] = np.reshape(inputs.drift_variance, (1, 1))
    filters.initialize_known(
        np.reshape(inputs.start_mean, 1), np.reshape(inputs.start_variance, (1, 1))
    )
    return filters.smooth()
