"""The equations, run forward in numpy for many posterior draws at once.

    dip[g, n]   = dip[g, n-1] * exp(-rate[g] * speed[n]) + sum of event dips felt on n
    reading[n]  = level[n] - sum_g dip[g, n] + shift[n] + noise[n]

Shapes: S draws, N nights, G groups (things that dip the state and share a rate: a
session type, a stressor, the unlogged start), E events (one session, one stressor day).
All logs are natural; dips and levels are in ln units, rates in 1/day.

`slackwater.model.levels` holds the level. `slackwater.model.likelihood` holds the same equations
with their gradient; a test keeps the two equal.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from slackwater.model.levels import by_night

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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
    path = np.empty((speed.shape[1], groups, draws))  # in memory as the recursion goes
    each = dips_by_night(event_dips, event_nights, event_groups, rates, speed, start)
    for night, dips in enumerate(each):
        path[night] = dips
    return path.transpose(2, 0, 1)


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


def share_of(odds: Floats) -> Floats:
    """Return the share that odds stand for."""
    return odds / (1.0 + odds)


def threshold_of(noise_sd: Floats, fixed_percent: float | None = None) -> Floats:
    """Return the smallest dip worth acting on, ln: half an ordinary night's standard deviation.

    Args:
        noise_sd: of an ordinary night, what lingers included, ln.
        fixed_percent: what it is instead, in percent of the reading; None where nobody fixed it.
    """
    if fixed_percent is not None:
        return np.full(np.shape(noise_sd), -np.log1p(-fixed_percent / 100))
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
