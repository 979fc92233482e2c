"""Readings, sessions and stressors logged since the fit, taken in without a new one.

The filter runs forward for each draw, the draws are weighed by how well they foretold the
new readings (importance sampling, the weights smoothed: Vehtari et al. 2024, JMLR 25:72),
and drawn again by weight.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from slackwater.fitting.state.smoothing import smooth_weights
from slackwater.fitting.state.standing import Standing, TakenIn, logged_events
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.paths import labels, noise_variance, sensor_shift
from slackwater.model.season import DAY, Season

PARETO_K_LIMIT: Final = 0.7


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
    new_events, unknown = logged_events(now, season.last_night - DAY)
    new_measures = set(season.interventions) - set(now.interventions)
    new_sensors = set(season.sensors) - set(fitted.sensors)
    fresh = [*unknown, *sorted(new_measures), *sorted(new_sensors)]
    if fresh:
        raise NoAnswerError(Reason("new since the fit", labels=fresh))
    rng = np.random.default_rng(now.seed + 1)
    path, new_dips = now.run_on(new_events, now.speed(nights), rng)
    readings = season.data[n.LOG_RMSSD].values[season.nights > now.night]
    shown = path.sum(axis=2) - now.held_back(new_events, new_dips, len(nights))
    shift = sensor_shift(now.draws, season, labels(now.draws, n.OTHER_SENSOR))
    level = readings - shift[:, season.nights > now.night] + shown
    measured = season.reading_ln_sd[season.nights > now.night]
    mean, variance, noise, log_weight = _filter_on(now, level, measured, rng)
    chosen = _draw_again(log_weight, rng)
    return replace(
        now,
        night=season.last_night,
        draws=now.draws.isel(sample=chosen),
        rows=now.rows[chosen],
        rates=now.rates[chosen],
        dips=path[chosen, -1],
        level_mean=mean[chosen],
        level_variance=variance[chosen],
        taken_in=TakenIn(new_events, new_dips[chosen], noise[chosen]),
    )


def _filter_on(
    now: Standing, level: Floats, measured: Floats, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats, Floats]:
    """Filter on over new nights; return mean, variance, noise and log weight of each draw.

    A new night's noise scale is drawn given its reading, on Gauss-Hermite nodes, and the
    draw is weighed by the reading's density with the scale summed out.
    """
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(15)
    log_prior = np.log(node_weights / node_weights.sum())
    ordinary = noise_variance(now.draws, nodes[None, :])
    mean, variance = now.level_mean, now.level_variance
    noise, log_weight = np.zeros(level.shape), np.zeros(len(mean))
    drift = now.parameter(n.DRIFT_SD) ** 2
    for night in range(level.shape[1]):
        variance = variance + drift
        if np.isnan(level[0, night]):
            continue
        scaled = ordinary + measured[night] ** 2
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
        raise NoAnswerError(Reason("another story since the fit", pareto_k=pareto_k))
    edges = np.cumsum(np.exp(smoothed))
    count = len(edges)
    places = (rng.random() + np.arange(count)) / count
    return np.minimum(np.searchsorted(edges, places), count - 1)
