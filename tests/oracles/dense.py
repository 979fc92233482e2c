"""A season as one big multivariate normal distribution: slow, plain, nothing recursive.

An event's dip on a night is its first dip times exp(-rate * the speeds summed in between). Two
nights' baselines share the start variance and the drift up to the earlier of them; transients have
the autocorrelation persistence^lag; what is unexplained is a sum of steps, each of them carried on.
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
    return mean, level_covariance(inputs)[np.ix_(nights, nights)] + np.diag(inputs.noise_variance)


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


def states_given_readings(inputs: LikelihoodInputs) -> tuple[Floats, Floats]:
    """Mean (3, N) of baseline, transient and unexplained given all readings; their variances."""
    nights = inputs.reading_nights
    each = _covariances(inputs)
    seen = inputs.readings - inputs.shift + dip_by_night(inputs)[nights] - inputs.start_mean
    seen_covariance = np.sum(each, axis=0)[np.ix_(nights, nights)] + np.diag(inputs.noise_variance)
    means, variances = [], []
    for covariance in each:
        gain = np.linalg.solve(seen_covariance, covariance[nights]).T
        means.append(gain @ seen)
        variances.append(np.diag(covariance - gain @ covariance[nights]))
    means[0] = means[0] + inputs.start_mean
    return np.array(means), np.array(variances)


def level_covariance(inputs: LikelihoodInputs) -> Floats:
    """Covariance (N, N) of the levels before any reading."""
    return np.asarray(np.sum(_covariances(inputs), axis=0))


def _covariances(inputs: LikelihoodInputs) -> list[Floats]:
    night = np.arange(len(inputs.speed))
    earlier = np.minimum.outer(night, night)
    drift = inputs.drift_variance + inputs.new_level
    baseline = inputs.start_variance + np.cumsum(np.r_[0.0, drift[1:]])[earlier]
    lag = np.abs(np.subtract.outer(night, night))
    transient = inputs.transient_variance * inputs.persistence**lag
    reach = np.zeros((len(night), len(night)))  # of the step into one night, on another
    for step in night[1:]:
        reach[step:, step] = np.cumprod(np.r_[1.0, inputs.carried[step + 1 :]])
    return [baseline, transient, reach @ np.diag(np.r_[0.0, inputs.jump[1:]]) @ reach.T]
