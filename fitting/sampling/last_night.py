"""The state on the last fitted night, draw by draw, kept with the posterior.

Answers start from here, so none of them runs through the whole season again.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from slackwater.model import names as n
from slackwater.model.design import Design
from slackwater.model.dynamics import Floats, dip_path, filter_level


def last_night(draws: xr.Dataset, design: Design, constant: xr.Dataset) -> xr.Dataset:
    """Run dips and filter over the season for every draw, and keep where they end.

    Args:
        draws: the posterior, dimension `sample` first.
        design: the fitted season's arrays.
        constant: the posterior's constant data, which holds the baseline's prior.

    Returns:
        Dimensions `sample`, `group` (types, stressors, "start"): `rate` (1/day) and `dip`
        (ln) of each group; `level_mean` (ln ms) and `level_variance` of the baseline.
    """
    rates, event_dips = rates_and_dips(draws, design)
    path = dip_path(
        event_dips, design.event_nights, design.event_groups, rates, speed(draws, design)
    )
    shown = path.sum(axis=2) - _held_back(draws, design, event_dips)
    readings = np.full(path.shape[:2], np.nan)
    at = design.reading_nights
    readings[:, at] = design.readings - _sensor_shift(draws, design) + shown[:, at]
    noise = np.zeros(path.shape[:2])
    noise[:, at] = noise_variance(draws, draws[n.NIGHT_SCALE].values)
    start = np.ones(len(rates))
    filtered = filter_level(
        readings,
        noise,
        draws[n.DRIFT_SD].values ** 2,
        start * float(constant[n.BASELINE_PRIOR_MEAN]),
        start * float(constant[n.BASELINE_PRIOR_SD]) ** 2,
    )
    return xr.Dataset(
        {
            "rate": (("sample", n.GROUP), rates),
            "dip": (("sample", n.GROUP), path[:, -1]),
            "level_mean": ("sample", filtered.mean[:, -1]),
            "level_variance": ("sample", filtered.variance[:, -1]),
        },
        coords={n.GROUP: _groups(draws), **draws["sample"].coords},
    )


def rates_and_dips(draws: xr.Dataset, design: Design) -> tuple[Floats, Floats]:
    """Return rates (S, G) and the fitted events' first-night dips (S, E)."""
    session_sd = draws[n.SESSION_SD].values[:, None]
    rates, dips = [], [draws[n.START_DIP].values[:, None]]
    if design.session_types.size:
        typical = draws[n.TYPE_LOG_DIP].values[:, design.session_types]
        felt = design.event_nights[1 : 1 + len(design.dose)]
        typical = typical + dip_trend(draws, design.trend[felt])
        first_night = design.dose * np.exp(typical + session_sd * draws[n.SESSION_Z].values)
        dips.append(first_night / draws[n.FIRST_NIGHT].values[:, None])
        rates.append(np.exp(draws[n.TYPE_LOG_RATE].values))
    if design.stressor_labels.size:
        typical = draws[n.STRESSOR_LOG_DIP].values[:, design.stressor_labels]
        dips.append(np.exp(typical + session_sd * draws[n.STRESSOR_Z].values))
        rates.append(np.exp(draws[n.STRESSOR_LOG_RATE].values))
    rates.append(np.exp(draws[n.START_LOG_RATE].values)[:, None])
    return np.concatenate(rates, axis=1), np.concatenate(dips, axis=1)


def dip_trend(draws: xr.Dataset, weights: Floats) -> Floats:
    """Return how much deeper than now sessions dipped, as a logarithm.

    Args:
        draws: draws of the posterior, dimension `sample` first, S of them.
        weights: shape (N, steps), from `slackwater.model.trend.step_weights`.

    Returns:
        Shape (S, N); 0 where the fit has no trend.
    """
    return _trend(draws, n.DIP_TREND_SD, n.DIP_TREND_Z, weights)


def rate_trend(draws: xr.Dataset, weights: Floats) -> Floats:
    """Return how much faster than now recovery was, as a logarithm; see `dip_trend`."""
    return _trend(draws, n.RATE_TREND_SD, n.RATE_TREND_Z, weights)


def _trend(draws: xr.Dataset, sd: str, z: str, weights: Floats) -> Floats:
    if z not in draws:
        return np.zeros((draws.sizes["sample"], len(weights)))
    steps = draws[sd].values[:, None] * draws[z].values
    return np.asarray(steps @ weights.T)


def noise_variance(draws: xr.Dataset, scale: Floats) -> Floats:
    """Return the variance of readings whose night scales are given, shape of `scale`."""
    core = draws[n.NOISE_SD].values[:, None]
    tail = draws[n.NOISE_TAIL].values[:, None]
    return np.asarray(core**2 * np.exp(tail * scale))


def speed(draws: xr.Dataset, design: Design) -> Floats:
    """Return the factor on all rates for the step into each night, shape (S, N)."""
    log_speed = rate_trend(draws, design.trend)
    if design.applied.size:
        log_speed = log_speed + draws[n.LOG_RATE_RATIO].values @ design.applied
    return np.asarray(np.exp(log_speed))


def _held_back(draws: xr.Dataset, design: Design, event_dips: Floats) -> Floats:
    """Return what sessions' first nights do not show of their dips yet, shape (S, N)."""
    held_back = np.zeros((len(event_dips), design.applied.shape[1]))
    if design.session_types.size:
        hidden = 1 - draws[n.FIRST_NIGHT].values
        for event, night in enumerate(design.event_nights[1 : 1 + len(design.dose)], start=1):
            held_back[:, night] += hidden * event_dips[:, event]
    return held_back


def _sensor_shift(draws: xr.Dataset, design: Design) -> Floats:
    if not design.by_sensor.size:
        return np.zeros((1, len(design.readings)))
    return np.asarray(draws[n.SENSOR_STEP].values @ design.by_sensor.T)


def _groups(draws: xr.Dataset) -> list[str]:
    named = [draws[dim].values for dim in (n.TYPE, n.STRESSOR) if dim in draws.coords]
    return [str(label) for labels in named for label in labels] + [n.START]
