"""The equations at posterior draws, in numpy: what each draw says of every night.

`slackwater.model.recovery` states the model for the sampler, `slackwater.model.dynamics` holds
the recursions; here the two meet, once, for all that is answered from a posterior. Shapes: S
draws, N nights, E events, G groups, as in `slackwater.model.dynamics`; draws are datasets whose
first dimension is `sample`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.design import Design
from slackwater.model.dynamics import Floats, Ints, dips_by_night, held_back, share_of, threshold_of
from slackwater.model.levels import (
    STATES,
    Filtered,
    Motion,
    State,
    Steps,
    by_night,
    filter_levels,
    start_state,
)
from slackwater.model.priors import Priors
from slackwater.model.season import Season, weekdays
from slackwater.model.unexplained import Stretch, steps_of


class Events(NamedTuple):
    """What dips the state, one after the other, E of them.

    Attributes:
        nights: index of the night that each is first felt on, shape (E,).
        groups: the group of each, shape (E,).
        dips: the dip of each that decays, ln, shape (S, E).
        first_share: how much of it the first night shows, shape (S, E).
    """

    nights: Ints
    groups: Ints
    dips: Floats
    first_share: Floats

    def but(self, last: int) -> Events:
        """Return them without the last few."""
        nights, groups = self.nights[:-last], self.groups[:-last]
        return Events(nights, groups, self.dips[:, :-last], self.first_share[:, :-last])


class SeasonPath(NamedTuple):
    """What each draw says of a season's nights.

    Attributes:
        dips: what is left of all dips of each group on the last night, ln, shape (S, G).
        shown: all dips together, as the readings show them, ln, shape (S, N).
        filtered: the level given the readings so far.
        start: its states on the first night, before its reading.
    """

    dips: Floats
    shown: Floats
    filtered: Filtered
    start: State


def labels(draws: xr.Dataset, dim: str) -> list[str]:
    """Return the names along a dimension of the draws; none where the fit has no such thing."""
    return [str(label) for label in draws[dim].values] if dim in draws.coords else []


def groups(draws: xr.Dataset) -> list[str]:
    """Return the names of what shares a recovery rate, in the design's order."""
    unlogged = [n.UNLOGGED] if n.UNLOGGED_DIP in draws else []
    return [*labels(draws, n.TYPE), *labels(draws, n.STRESSOR), n.START, *unlogged]


def threshold(draws: xr.Dataset, season: Season) -> Floats:
    """Return the smallest dip worth acting on, ln, shape (S,)."""
    noise_sd: Floats = draws[n.NOISE_SD].values
    return threshold_of(noise_sd, season.threshold_percent)


def typical_log_dips(draws: xr.Dataset) -> Floats:
    """Return the log of the dip that decays, of each type's typical session, shape (S, K).

    The first night shows a share of it alone.
    """
    share = np.log(draws[n.FIRST_NIGHT].values)[:, None]
    return np.asarray(draws[n.TYPE_LOG_DIP].values - share)


def rates(draws: xr.Dataset) -> Floats:
    """Return the recovery rate of each group, 1/day, shape (S, G)."""
    logs = [draws[n.START_LOG_RATE].values[:, None]]
    if n.STRESSOR_LOG_RATE in draws:
        logs.insert(0, draws[n.STRESSOR_LOG_RATE].values)
    if n.TYPE_LOG_RATE in draws:
        logs.insert(0, draws[n.TYPE_LOG_RATE].values)
    if n.UNLOGGED_DIP in draws:
        logs.append(draws[n.TYPE_RATE_MEAN].values[:, None])
    return np.asarray(np.exp(np.concatenate(logs, axis=1)))


def fitted_events(draws: xr.Dataset, design: Design) -> Events:
    """Return the events of the fitted season, in the design's order.

    Args:
        draws: draws of the posterior; types in the design's order.
        design: the fitted season's arrays.
    """
    session_sd = draws[n.SESSION_SD].values[:, None]
    dips = [draws[n.START_DIP].values[:, None]]
    sessions = len(design.dose)
    if design.session_types.size:
        felt = design.event_nights[1 : 1 + sessions]
        typical = typical_log_dips(draws)[:, design.session_types]
        typical = typical + dip_trend(draws, design.trend[felt])
        dips.append(design.dose * np.exp(typical + session_sd * draws[n.SESSION_Z].values))
    if design.stressor_labels.size:
        typical = draws[n.STRESSOR_LOG_DIP].values[:, design.stressor_labels]
        dips.append(np.exp(typical + session_sd * draws[n.STRESSOR_Z].values))
    if design.unlogged_nights.size:
        dips.append(draws[n.UNLOGGED_DIP].values)
    every = np.concatenate(dips, axis=1)
    first_share = np.ones(every.shape)
    if design.session_types.size:
        first_share[:, 1 : 1 + sessions] = draws[n.FIRST_NIGHT].values[:, None]
    return Events(design.event_nights, design.event_groups, every, first_share)


def speed(draws: xr.Dataset, design: Design) -> Floats:
    """Return the factor on all rates for the step into each fitted night, shape (S, N)."""
    log_speed = rate_trend(draws, design.trend)
    if design.applied.size:
        log_speed = log_speed + draws[n.LOG_RATE_RATIO].values @ design.applied
    return np.asarray(np.exp(log_speed))


def dip_trend(draws: xr.Dataset, weights: Floats) -> Floats:
    """Return how much deeper than now sessions dipped, as a logarithm.

    Args:
        draws: draws of the posterior.
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
        return by_night(draws.sizes["sample"], len(weights))
    steps = draws[sd].values[:, None] * draws[z].values
    return np.asarray((weights @ steps.T).T)


def noise_variance(draws: xr.Dataset, scale: Floats, ln_sd: Floats | float = 0.0) -> Floats:
    """Return the variance of what does not linger, shape of `scale`.

    Args:
        draws: draws of the posterior.
        scale: of each night, shape (S, nights).
        ln_sd: how exactly each night was measured, shape (nights,); see `Season`.
    """
    passing = 1.0 - share_of(draws[n.LINGERING_ODDS].values[:, None])
    core = draws[n.NOISE_SD].values[:, None]
    tail = draws[n.NOISE_TAIL].values[:, None]
    return np.asarray(passing * core**2 * np.exp(tail * scale) + np.square(ln_sd))


def motion(draws: xr.Dataset) -> Motion:
    """Return how the states of the level move."""
    lingering = share_of(draws[n.LINGERING_ODDS].values)
    return Motion(
        drift_variance=draws[n.DRIFT_SD].values ** 2,
        transient_variance=draws[n.NOISE_SD].values ** 2 * lingering,
        persistence=share_of(draws[n.PERSISTENCE_ODDS].values),
    )


def sensor_shift(draws: xr.Dataset, season: Season, first: int = 0) -> Floats:
    """Return what each night's sensor reads more than the latest fitted one, ln, shape (S, N).

    Args:
        draws: draws of the posterior.
        season: its nights may reach beyond the fitted ones.
        first: index of the first night that is asked for.
    """
    codes = season.data[n.NIGHT_SENSOR].values[first:]
    shift = by_night(draws.sizes["sample"], len(codes))
    for column, name in enumerate(labels(draws, n.OTHER_SENSOR)):
        by_it = codes == season.sensors.index(name)
        shift[:, by_it] = draws[n.SENSOR_STEP].values[:, [column]]
    return shift


def lifts(
    draws: xr.Dataset, season: Season, nights: NDArray[np.datetime64] | None = None
) -> dict[str, Floats]:
    """Return what each measure adds by itself to the readings of nights, ln, shape (S, N).

    Args:
        draws: draws of the posterior.
        season: what is logged, which may reach beyond what was fitted.
        nights: their dates; all of the season if left out.

    Returns:
        By measure of the fit that the season logs.
    """
    acts = dict(zip(season.interventions, season.applied(nights), strict=True))
    fitted = enumerate(labels(draws, n.INTERVENTION))
    return {
        name: draws[n.LIFT].values[:, [row]] * acts[name] for row, name in fitted if name in acts
    }


def rhythm(draws: xr.Dataset, nights: NDArray[np.datetime64]) -> Floats:
    """Return what the day of the week adds to the readings of nights, ln, shape (S, N)."""
    if n.WEEKDAY_Z not in draws:
        return by_night(draws.sizes["sample"], len(nights))
    days = draws[n.WEEKDAY_SD].values[:, None] * draws[n.WEEKDAY_Z].values
    # Picked, not multiplied out: one night and many end in the same digits.
    week = (days - days.mean(axis=1, keepdims=True)).T
    return np.asarray(week[weekdays(nights)].T)


def reading_shift(draws: xr.Dataset, season: Season, first: int = 0) -> Floats:
    """Return what sensor, day and measures add to each night's reading, ln, (S, N); see above."""
    nights = season.nights[first:]
    added = sensor_shift(draws, season, first) + rhythm(draws, nights)
    return sum(lifts(draws, season, nights).values(), start=added)


def run_season(
    draws: xr.Dataset,
    events: Events,
    speed_of_nights: Floats,
    readings: Floats,
    noise: Floats,
    steps: Steps,
    priors: Priors,
) -> SeasonPath:
    """Run dips and filter over a season's nights.

    Args:
        draws: draws of the posterior.
        events: what dips the state.
        speed_of_nights: factor on all rates for the step into each night, shape (S, N).
        readings: without what sensor and measures add, ln ms, NaN where not read, (S, N).
        noise: variance of each night's noise, shape (S, N).
        steps: of the level into each night.
        priors: what the fit believed beforehand.
    """
    shown, dips = _shown(draws, events, speed_of_nights)
    each_draw = np.ones(len(shown))
    mean, variance = each_draw * priors.baseline.mean, each_draw * priors.baseline.sd**2
    moving = motion(draws)
    start = start_state(mean, variance, moving, steps)
    filtered = filter_levels(readings + shown, noise, moving, steps, start)
    return SeasonPath(dips.T, shown, filtered, start)


def _shown(draws: xr.Dataset, events: Events, speed_of_nights: Floats) -> tuple[Floats, Floats]:
    """Return all dips as readings show them, (S, N), and each group's on the last night, (G, S)."""
    shown = -held_back(events.dips, events.nights, events.first_share, speed_of_nights.shape[1])
    each = dips_by_night(events.dips, events.nights, events.groups, rates(draws), speed_of_nights)
    dips = np.empty(0)
    for night, dips in enumerate(each):
        shown[:, night] += dips.sum(axis=0)
    return shown, dips


def last_night(
    draws: xr.Dataset,
    season: Season,
    design: Design,
    priors: Priors,
    stretches: Sequence[Stretch] = (),
) -> tuple[xr.Dataset, Floats]:
    """Return the state on the last fitted night, which answers start from.

    So none of them runs through the whole season again.

    Args:
        draws: the posterior.
        season: the fitted season.
        design: its arrays.
        priors: what was believed beforehand.
        stretches: what is unexplained.

    Returns:
        Dimensions `sample`, `group` (types, stressors, "start"), `state` (of the level): `rate`
        (1/day) and `dip` (ln) of each group; `level_mean` (ln ms) and `level_covariance`. And
        the readings without logged dips and what sensor and measures add, by the mean of all
        draws, ln ms, shape (N,).
    """
    readings = season.data[n.LOG_RMSSD].values - reading_shift(draws, season)
    noise = np.zeros(readings.shape)
    noise[:, design.reading_nights] = noise_variance(
        draws, draws[n.NIGHT_SCALE].values, design.reading_ln_sd
    )
    events = fitted_events(draws, design)
    steps = steps_of(season, priors, stretches)
    path = run_season(draws, events, speed(draws, design), readings, noise, steps, priors)
    last = path.filtered.last
    names = list(STATES[: len(last.mean)])
    state = xr.Dataset(
        {
            "rate": (("sample", n.GROUP), rates(draws)),
            "dip": (("sample", n.GROUP), path.dips),
            "level_mean": (("sample", n.STATE), last.mean.T),
            "level_covariance": (("sample", n.STATE, n.STATE_TOO), last.covariance.T),
        },
        coords={n.GROUP: groups(draws), n.STATE: names, n.STATE_TOO: names},
    )
    shown = path.shown
    if design.unlogged_nights.size:  # what they took must not be hidden from a watch
        shown, _ = _shown(draws, events.but(len(design.unlogged_nights)), speed(draws, design))
    return state, (readings + shown).mean(axis=0)
