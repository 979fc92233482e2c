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
    path, rates = all_dips(draws, design)
    total = path.sum(axis=2)[:, design.reading_nights]
    readings = np.full(path.shape[:2], np.nan)
    readings[:, design.reading_nights] = design.readings - _shift(draws, design) + total
    noise = np.zeros(path.shape[:2])
    noise[:, design.reading_nights] = noise_variance(draws, draws[n.NIGHT_SCALE].values)
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


def all_dips(draws: xr.Dataset, design: Design) -> tuple[Floats, Floats]:
    """Return every group's dip on every night (S, N, G) and the rates (S, G)."""
    rates, event_dips = rates_and_dips(draws, design)
    speed = np.ones((len(rates), design.applied.shape[1]))
    if design.applied.size:
        speed = np.exp(draws[n.LOG_RATE_RATIO].values @ design.applied)
    return dip_path(event_dips, design.event_nights, design.event_groups, rates, speed), rates


def rates_and_dips(draws: xr.Dataset, design: Design) -> tuple[Floats, Floats]:
    """Return rates (S, G) and the fitted events' first-night dips (S, E)."""
    session_sd = draws[n.SESSION_SD].values[:, None]
    rates, dips = [], [draws[n.START_DIP].values[:, None]]
    if design.session_types.size:
        typical = draws[n.TYPE_LOG_DIP].values[:, design.session_types]
        dips.append(design.dose * np.exp(typical + session_sd * draws[n.SESSION_Z].values))
        rates.append(np.exp(draws[n.TYPE_LOG_RATE].values))
    if design.stressor_labels.size:
        typical = draws[n.STRESSOR_LOG_DIP].values[:, design.stressor_labels]
        dips.append(np.exp(typical + session_sd * draws[n.STRESSOR_Z].values))
        rates.append(np.exp(draws[n.STRESSOR_LOG_RATE].values))
    rates.append(np.exp(draws[n.START_LOG_RATE].values)[:, None])
    return np.concatenate(rates, axis=1), np.concatenate(dips, axis=1)


def noise_variance(draws: xr.Dataset, scale: Floats) -> Floats:
    """Return the variance of readings whose night scales are given, shape of `scale`."""
    core = draws[n.NOISE_SD].values[:, None]
    tail = draws[n.NOISE_TAIL].values[:, None]
    return np.asarray(core**2 * np.exp(tail * scale))


def _shift(draws: xr.Dataset, design: Design) -> Floats:
    if not design.by_sensor.size:
        return np.zeros((1, len(design.readings)))
    return np.asarray(draws[n.SENSOR_STEP].values @ design.by_sensor.T)


def _groups(draws: xr.Dataset) -> list[str]:
    named = [draws[dim].values for dim in (n.TYPE, n.STRESSOR) if dim in draws.coords]
    return [str(label) for labels in named for label in labels] + [n.START]
