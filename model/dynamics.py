"""The equations, run forward in numpy for many posterior draws at once.

    dip[g, n]   = dip[g, n-1] * exp(-rate[g] * speed[n]) + sum of event dips felt on n
    level[n]    = level[n-1] + drift,   drift ~ Normal(0, drift_sd)
    reading[n]  = level[n] - sum_g dip[g, n] + shift[n] + noise[n]
    noise[n]    ~ Normal(0, noise_sd^2 * exp(noise_tail * night_scale[n]))

Shapes: S draws, N nights, G groups (things that dip the state and share a rate: a
session type, a stressor, the unlogged start), E events (one session, one stressor day).
All logs are natural; dips and levels are in ln units, rates in 1/day.

`slackwater.model.likelihood` holds the same equations with their gradient; a test keeps
the two equal.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Filtered(NamedTuple):
    """What a local-level filter knows after each night.

    Attributes:
        mean: level given the readings so far, shape (S, N), ln ms.
        variance: its variance, shape (S, N).
        log_density: log density of each reading given those before it, shape (S, N);
            0 where the night was not read.
    """

    mean: Floats
    variance: Floats
    log_density: Floats


def by_night(draws: int, nights: int) -> Floats:
    """Return zeros, shape (S, N), that lie in memory night after night, as the recursions go."""
    return np.zeros((nights, draws)).T


def dip_path(
    event_dips: Floats,
    event_nights: Ints,
    event_groups: Ints,
    rates: Floats,
    speed: Floats,
    start: Floats | None = None,
) -> Floats:
    """Return every group's dip on every night, shape (S, N, G), ln units.

    Args:
        event_dips: dip of each event on its first night, shape (S, E).
        event_nights: that night's index, shape (E,); events off the axis are ignored.
        event_groups: the event's group, shape (E,).
        rates: recovery rates, shape (S, G), 1/day.
        speed: factor on all rates for the step into each night, shape (S, N).
        start: dips on the night before the axis starts, shape (S, G); none if left out.
    """
    draws, groups = rates.shape
    path = np.empty((draws, speed.shape[1], groups))
    each = dips_by_night(event_dips, event_nights, event_groups, rates, speed, start)
    for night, dips in enumerate(each):
        path[:, night] = dips.T
    return path


def dips_by_night(
    event_dips: Floats,
    event_nights: Ints,
    event_groups: Ints,
    rates: Floats,
    speed: Floats,
    start: Floats | None = None,
) -> Iterator[Floats]:
    """Yield every group's dip on one night after the other, shape (G, S), ln units.

    Takes what `dip_path` takes, and holds one night at a time.
    """
    felt_on: dict[int, list[int]] = {}
    for event, night in enumerate(event_nights.tolist()):
        felt_on.setdefault(night, []).append(event)
    rate_by_group = np.ascontiguousarray(rates.T)
    dips = np.zeros_like(rate_by_group) if start is None else start.T
    last_pace = decay = np.empty(0)
    for night, pace in enumerate(speed.T):
        if not np.array_equal(pace, last_pace):  # on most nights it is
            last_pace, decay = pace, np.exp(-rate_by_group * pace)
        dips = dips * decay
        for event in felt_on.get(night, ()):
            dips[event_groups[event]] += event_dips[:, event]
        yield dips


def dips_before(dips: Floats, rates: Floats, speed: Floats) -> Floats:
    """Walk dips back from the last night, on which they are known, shape (S, N, G), ln units.

    Without an event in between, a dip was larger by its own decay the night before.

    Args:
        dips: on the last night, shape (S, G).
        rates: recovery rates, shape (S, G), 1/day.
        speed: factor on all rates for the step into each of the N nights, shape (S, N).
    """
    nights = speed.shape[1]
    path = np.empty((len(dips), nights, dips.shape[1]))
    for night in range(nights - 1, -1, -1):
        path[:, night] = dips
        dips = dips * np.exp(rates * speed[:, [night]])
    return path


def held_back(event_dips: Floats, event_nights: Ints, first_share: Floats, nights: int) -> Floats:
    """Return what the first nights of events do not show of their dips yet, shape (S, nights).

    Args:
        event_dips: the dip of each event that decays, shape (S, E), ln units.
        event_nights: index of its first night, shape (E,); events off the axis are ignored.
        first_share: how much of it that night shows, shape (S, E) or what broadcasts to it.
        nights: how many nights there are.
    """
    hidden = (1 - first_share) * event_dips
    out = by_night(len(event_dips), nights)
    for event, night in enumerate(event_nights):
        if 0 <= night < nights:
            out[:, night] += hidden[:, event]
    return out


def filter_level(
    level_readings: Floats,
    noise_variance: Floats,
    drift_variance: Floats,
    start_mean: Floats,
    start_variance: Floats,
) -> Filtered:
    """Run the local-level filter over readings from which dips and shifts are removed.

    The Kalman filter for a local level (Durbin & Koopman 2012, section 2.2).

    Args:
        level_readings: reading plus dip minus shift, shape (S, N), NaN where not read.
        noise_variance: shape (S, N).
        drift_variance: per night, shape (S,).
        start_mean: level's mean on the first night before its reading, shape (S,).
        start_variance: its variance, shape (S,).
    """
    mean, variance, log_density = (by_night(*level_readings.shape) for _ in range(3))
    a, p = start_mean, start_variance
    for night in range(level_readings.shape[1]):
        if night:
            p = p + drift_variance
        y = level_readings[:, night]
        if not np.isnan(y[0]):
            f = p + noise_variance[:, night]
            v = y - a
            log_density[:, night] = -0.5 * (np.log(2 * np.pi * f) + v * v / f)
            gain = p / f
            a = a + gain * v
            p = p * (1 - gain)
        mean[:, night], variance[:, night] = a, p
    return Filtered(mean, variance, log_density)


def sample_level(filtered: Filtered, drift_variance: Floats, rng: np.random.Generator) -> Floats:
    """Draw one whole baseline path for each draw, shape (S, N), ln ms.

    Backward sampling given the filter (Carter & Kohn 1994, Biometrika 81:541-553; from
    memory).
    """
    draws, nights = filtered.mean.shape
    noise = rng.standard_normal((nights, draws))
    path = by_night(draws, nights)
    last = filtered.mean[:, -1] + np.sqrt(filtered.variance[:, -1]) * noise[-1]
    path[:, -1] = last
    for night in range(nights - 2, -1, -1):
        p = filtered.variance[:, night]
        gain = p / (p + drift_variance)
        mean = filtered.mean[:, night] + gain * (path[:, night + 1] - filtered.mean[:, night])
        path[:, night] = mean + np.sqrt(p * (1 - gain)) * noise[night]
    return path


def threshold_of(noise_sd: Floats) -> Floats:
    """Return the smallest dip worth acting on: half an ordinary night's standard deviation, ln."""
    return 0.5 * noise_sd


def days_to_recover(dip: Floats, threshold: Floats, rate: Floats) -> Floats:
    """Return days from a session's date until its dip is under the threshold.

        1 + max(0, ln(dip / threshold) / rate)

    The 1 is the night before the first reading that can show the session.

    Args:
        dip: dip on the first night, ln units, above 0.
        threshold: smallest dip worth acting on, ln units, above 0.
        rate: recovery rate, 1/day, above 0.
    """
    return 1.0 + np.maximum(0.0, np.log(dip / threshold) / rate)
