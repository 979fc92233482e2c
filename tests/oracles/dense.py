"""A season as one big multivariate normal distribution: slow, plain, nothing recursive.

An event's dip on a night is its first dip times exp(-rate * the speeds summed in between);
two nights' levels share the start variance and the drift up to the earlier of them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import multivariate_normal

from slackwater.model.likelihood import LikelihoodInputs

Floats = NDArray[np.float64]


def log_likelihood(inputs: LikelihoodInputs) -> float:
    mean, covariance = readings_given_parameters(inputs)
    return float(multivariate_normal.logpdf(inputs.readings, mean, covariance))


def readings_given_parameters(inputs: LikelihoodInputs) -> tuple[Floats, Floats]:
    """Mean (R,) and covariance (R, R) of the readings."""
    nights = inputs.reading_nights
    mean = inputs.start_mean - dip_by_night(inputs)[nights] + inputs.shift
    return mean, _level_covariance(inputs)[np.ix_(nights, nights)] + np.diag(inputs.noise_variance)


def dip_by_night(inputs: LikelihoodInputs) -> Floats:
    """All dips together on each night, shape (N,)."""
    passed = np.cumsum(inputs.speed)
    dip = np.zeros(len(passed))
    for first, group, size in zip(
        inputs.event_nights, inputs.event_groups, inputs.event_dips, strict=True
    ):
        decay = np.exp(-inputs.rates[group] * (passed[first:] - passed[first]))
        dip[first:] += size * decay
    return dip


def level_given_readings(inputs: LikelihoodInputs) -> tuple[Floats, Floats]:
    """Mean (N,) and covariance (N, N) of the baseline given all readings."""
    nights = inputs.reading_nights
    covariance = _level_covariance(inputs)
    seen = inputs.readings - inputs.shift + dip_by_night(inputs)[nights] - inputs.start_mean
    seen_covariance = covariance[np.ix_(nights, nights)] + np.diag(inputs.noise_variance)
    gain = np.linalg.solve(seen_covariance, covariance[nights]).T
    return inputs.start_mean + gain @ seen, covariance - gain @ covariance[nights]


def _level_covariance(inputs: LikelihoodInputs) -> Floats:
    night = np.arange(len(inputs.speed))
    shared = inputs.drift_variance * np.minimum.outer(night, night)
    return np.asarray(inputs.start_variance + shared)
