"""Readings, sessions and stressors logged since the fit, taken in without a new one.

The filter runs forward for each draw, the draws are weighed by how well they foretold the
new readings (importance sampling, the weights smoothed: Vehtari et al. 2024, JMLR 25:72),
and drawn again by weight.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.sampling.last_night import noise_variance
from slackwater.fitting.state.smoothing import smooth_weights
from slackwater.model import names as n
from slackwater.model.design import other_sensors
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import DAY, Season

if TYPE_CHECKING:
    from slackwater.fitting.state.standing import Standing

PARETO_K_LIMIT: Final = 0.7


class Event(NamedTuple):
    """What dips the state and is not in the fitted readings.

    Attributes:
        night: nights after the one the state stands at; 1 is the next morning.
        label: a session type or a stressor of the fit.
        dose: 1 = usual; stressors have no other.
    """

    night: int
    label: str
    dose: float = 1.0


class TakenIn(NamedTuple):
    """What was drawn for the M mornings taken in since the fit, S draws.

    Attributes:
        events: what they show that the fitted ones do not, length E; nights from the last fitted.
        dips: the dip of each, ln, shape (S, E).
        noise: variance of each morning's noise, shape (S, M); 0 where it was not read.
    """

    events: list[Event]
    dips: Floats
    noise: Floats


def take_in(now: Standing, fitted: Season) -> Standing:
    """Return the state on the last reading's morning, from that on the last fitted one.

    Args:
        now: the state on the last fitted morning, with the season as it is now.
        fitted: what was fitted of it.

    Raises:
        NoAnswerError: the new readings show what the fit does not know, or tell another
            story than it does.
    """
    season = now.season.observed()
    nights = season.nights[season.nights > now.night]
    new_events, unknown = events_between(now, season.last_night - DAY)
    new_measures = set(season.interventions) - _names(now.draws, n.INTERVENTION)
    new_sensors = set(season.sensors) - set(fitted.sensors)
    fresh = [*unknown, *sorted(new_measures), *sorted(new_sensors)]
    if fresh:
        listed = ", ".join(repr(label) for label in fresh)
        raise NoAnswerError(f"New since the fit: {listed}; run slackwater fit again to learn it.")
    rng = np.random.default_rng(now.seed + 1)
    path, new_dips = now.run_on(new_events, now.speed(nights), rng)
    readings = season.data[n.LOG_RMSSD].values[season.nights > now.night]
    shown = path.sum(axis=2) - now.held_back(new_events, new_dips, len(nights))
    level = readings - _sensor_shift(now, season, other_sensors(fitted)) + shown
    mean, variance, noise, log_weight = _filter_on(now, level, rng)
    chosen = _draw_again(log_weight, rng)
    return replace(
        now,
        night=season.last_night,
        draws=now.draws.isel(sample=chosen),
        rates=now.rates[chosen],
        dips=path[chosen, -1],
        level_mean=mean[chosen],
        level_variance=variance[chosen],
        taken_in=TakenIn(new_events, new_dips[chosen], noise[chosen]),
    )


def _names(draws: xr.Dataset, dim: str) -> set[str]:
    return {str(v) for v in draws[dim].values} if dim in draws.coords else set()


def _sensor_shift(now: Standing, season: Season, others: list[str]) -> Floats:
    """Return what each new night's sensor adds, relative to the fit's reference, (S, new)."""
    codes = season.data[n.NIGHT_SENSOR].values[season.nights > now.night]
    shift = np.zeros((len(now.rates), len(codes)))
    for column, code in enumerate(codes):
        sensor = season.sensors[int(code)]
        if sensor in others:
            shift[:, column] = now.parameter(n.SENSOR_STEP)[:, others.index(sensor)]
    return shift


def _filter_on(
    now: Standing, level: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats, Floats]:
    """Filter on over new nights; return mean, variance, noise and log weight of each draw.

    A new night's noise scale is drawn given its reading, on Gauss-Hermite nodes, and the
    draw is weighed by the reading's density with the scale summed out.
    """
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(15)
    log_prior = np.log(node_weights / node_weights.sum())
    scaled = noise_variance(now.draws, nodes[None, :])
    mean, variance = now.level_mean, now.level_variance
    noise, log_weight = np.zeros(level.shape), np.zeros(len(mean))
    drift = now.parameter(n.DRIFT_SD) ** 2
    for night in range(level.shape[1]):
        variance = variance + drift
        if np.isnan(level[0, night]):
            continue
        total = variance[:, None] + scaled
        error = (level[:, night] - mean)[:, None]
        log_density = log_prior - 0.5 * (np.log(2 * np.pi * total) + error**2 / total)
        top = log_density.max(axis=1, keepdims=True)
        density = np.exp(log_density - top)
        log_weight += top[:, 0] + np.log(density.sum(axis=1))
        cumulative = np.cumsum(density / density.sum(axis=1, keepdims=True), axis=1)
        node = (rng.random((len(mean), 1)) > cumulative[:, :-1]).sum(axis=1)
        noise[:, night] = scaled[np.arange(len(mean)), node]
        gain = variance / (variance + noise[:, night])
        mean = mean + gain * error[:, 0]
        variance = variance * (1 - gain)
    return mean, variance, noise, log_weight


def _draw_again(log_weight: Floats, rng: np.random.Generator) -> Ints:
    """Return which draws to keep, as often as their smoothed weights say (systematic)."""
    smoothed, pareto_k = smooth_weights(log_weight)
    if not pareto_k <= PARETO_K_LIMIT:
        raise NoAnswerError(
            "The readings since the fit tell another story than the fit did (Pareto k "
            f"{pareto_k:.2f}, should be {PARETO_K_LIMIT} or less); run slackwater fit again."
        )
    edges = np.cumsum(np.exp(smoothed))
    count = len(edges)
    places = (rng.random() + np.arange(count)) / count
    return np.minimum(np.searchsorted(edges, places), count - 1)


def events_between(now: Standing, until: np.datetime64) -> tuple[list[Event], list[str]]:
    """Return logged events dated from the state's morning to `until`, and unknown labels."""
    events: list[Event] = []
    unknown: list[str] = []
    data = now.season.data
    logged = [
        (data[n.SESSION_DATE].values, data[n.SESSION_TYPE].values, data[n.DOSE].values),
        (
            data[n.STRESSOR_DATE].values,
            data[n.STRESSOR_LABEL].values,
            np.ones(data.sizes[n.STRESSOR_DAY]),
        ),
    ]
    for dates, labels, doses in logged:
        for date, label, dose in zip(dates.astype("datetime64[D]"), labels, doses, strict=True):
            if not now.night <= date <= until:
                continue
            if str(label) in now.groups:
                night = int((date + DAY - now.night) / DAY)
                events.append(Event(night, str(label), float(dose)))
            elif str(label) not in unknown:
                unknown.append(str(label))
    return events, unknown
