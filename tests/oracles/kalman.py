"""A season handed to statsmodels' Kalman filter and smoother, its dips as known inputs."""

from __future__ import annotations

from typing import Any

import numpy as np
from statsmodels.tsa.statespace.kalman_smoother import KalmanSmoother

from slackwater.model.likelihood import LikelihoodInputs
from tests.oracles.dense import dip_by_night


def smooth(inputs: LikelihoodInputs) -> Any:
    """Return statsmodels' results: `llf`, `smoothed_state` (3, N), and so on."""
    nights = len(inputs.speed)
    readings = np.full((nights, 1), np.nan)
    readings[inputs.reading_nights, 0] = inputs.readings
    intercept = -dip_by_night(inputs)[None]
    intercept[0, inputs.reading_nights] += inputs.shift
    noise = np.ones((1, 1, nights))
    noise[0, 0, inputs.reading_nights] = inputs.noise_variance

    phi, passing = float(inputs.persistence), float(inputs.transient_variance)
    transition = np.zeros((3, 3, nights))
    transition[0, 0], transition[1, 1], transition[2, 2, :-1] = 1.0, phi, inputs.carried[1:]
    step = np.zeros((3, 3, nights))  # statsmodels' step of a night leads into the next
    step[0, 0, :-1] = inputs.drift_variance + inputs.new_level[1:]
    step[1, 1] = passing * (1 - phi**2)
    step[2, 2, :-1] = inputs.jump[1:]

    filters = KalmanSmoother(k_endog=1, k_states=3, k_posdef=3, tolerance=0)
    filters.bind(readings)
    filters["design"] = np.ones((1, 3))
    filters["selection"] = np.eye(3)
    filters["transition"] = transition
    filters["state_cov"] = step
    filters["obs_intercept"] = intercept
    filters["obs_cov"] = noise
    filters.initialize_known(
        np.array([float(inputs.start_mean), 0.0, 0.0]),
        np.diag([float(inputs.start_variance), passing, 0.0]),
    )
    return filters.smooth()
