"""The season up to its last reading, taken apart into what its readings are made of."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.standing import Standing, TakenIn
from slackwater.model import names as n
from slackwater.model.design import design_of, long_gaps
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.levels import (
    BASELINE,
    TRANSIENT,
    UNEXPLAINED,
    Filtered,
    by_night,
    sample_levels,
)
from slackwater.model.paths import (
    Events,
    fitted_events,
    lifts,
    motion,
    noise_variance,
    rates,
    reading_shift,
    rhythm,
    run_season,
    sensor_shift,
)
from slackwater.model.season import DAY, Season
from slackwater.model.unexplained import steps_of

SESSION: Final = "session"
STRESSOR: Final = "stressor"
START: Final = "start"
UNLOGGED: Final = "unlogged"
_DRAW_NIGHTS: Final = 1_000_000  # more of them are thinned, so that an answer takes seconds
_FEWEST_DRAWS: Final = 400


class Felt(NamedTuple):
    """One thing that dipped the state.

    Attributes:
        kind: `SESSION`, `STRESSOR`, `START` or `UNLOGGED`.
        label: session type or stressor; `names.START` or `names.UNLOGGED` for the others.
        date: the day it is logged under; None for the start.
    """

    kind: str
    label: str
    date: np.datetime64 | None


class Past(NamedTuple):
    """What lies under the readings of a season: N nights, S draws, E events.

    A reading is `level + transient + unexplained - shown + shift` and noise, ln ms.

    Attributes:
        season: what it was worked out from, N nights up to the last reading.
        draws: draws of the posterior, perhaps fewer than it holds; types in the season's order.
        events: what dipped the state, length E.
        felt_on: index of each event's first night, shape (E,).
        dips: each event's dip, ln, shape (S, E).
        first_share: how much of it the first night shows, shape (S, E).
        rates: each event's recovery rate, 1/day, shape (S, E).
        run: recovery time gone by on each night, days without a measure, shape (S, N).
        shown: all dips together, as the readings show them, ln, shape (S, N).
        sensor: what the night's sensor reads more than the latest fitted, ln, shape (S, N).
        rhythm: what the day of the week adds to its reading, ln, shape (S, N).
        lifts: what each measure adds to the reading of a night of its use, ln, shape (S, N).
        noise: variance of the night's noise, shape (S, N); 0 where it was not read.
        filtered: the level given the readings so far.
        level: baseline given all readings, one path a draw, ln ms, shape (S, N).
        transient: noise of nights before that lingers, ln, shape (S, N).
        unexplained: what else is not in the log, ln, shape (S, N).
        seed: of what is simulated from here.
    """

    season: Season
    draws: xr.Dataset
    events: list[Felt]
    felt_on: Ints
    dips: Floats
    first_share: Floats
    rates: Floats
    run: Floats
    shown: Floats
    sensor: Floats
    rhythm: Floats
    lifts: dict[str, Floats]
    noise: Floats
    filtered: Filtered
    level: Floats
    transient: Floats
    unexplained: Floats
    seed: int

    def rng(self) -> np.random.Generator:
        """Return the randomness of what is simulated from here; the same at every call."""
        return np.random.default_rng([self.seed, 1])

    @property
    def shift(self) -> Floats:
        """What sensor, day and measures add to each reading, ln, shape (S, N)."""
        return sum(self.lifts.values(), start=self.sensor + self.rhythm)

    @property
    def readings(self) -> Floats:
        """Readings, ln ms, shape (N,); NaN where not read."""
        return np.asarray(self.season.data[n.LOG_RMSSD].values, float)

    @property
    def first_read(self) -> int:
        """Index of the first night read."""
        return int(np.flatnonzero(self.season.read)[0])

    def left_on(self, night: int) -> Floats:
        """Return what is left of each event's dip on one night, ln, shape (S, E)."""
        left = np.zeros_like(self.dips)
        felt = np.flatnonzero(self.felt_on <= night)
        passed = self.run[:, [night]] - self.run[:, self.felt_on[felt]]
        left[:, felt] = self.dips[:, felt] * np.exp(-self.rates[:, felt] * passed)
        return left

    def shown_on(self, night: int) -> Floats:
        """Return the same as a reading shows it, ln, shape (S, E)."""
        left, first = self.left_on(night), self.felt_on == night
        left[:, first] *= self.first_share[:, first]
        return left


def past_of(now: Standing, posterior: Posterior, most: int | None = None) -> Past:
    """Take a season apart, the readings since the fit included.

    Args:
        now: the state, from `standing`.
        posterior: what it was made from.
        most: draws to work with, at most; what takes seconds if left out.
    """
    season = now.season.observed()
    fitted = season if now.taken_in is None else season.through(posterior.last_night)
    keep = _few_enough(len(now.rates), most or _most(len(season.nights)))
    draws = _draws_of(now, posterior, fitted, keep)
    events, felt = fitted_events(draws, design_of(fitted)), _felt_in(fitted)
    noise = by_night(len(keep), len(season.nights))
    noise[:, np.flatnonzero(fitted.read)] = noise_variance(
        draws, draws[n.NIGHT_SCALE].values, fitted.reading_ln_sd[fitted.read]
    )
    if now.taken_in is not None:
        felt += _felt_since(now.taken_in, fitted)
        events = _with_newer(events, draws, now.taken_in, fitted, keep)
        noise[:, len(fitted.nights) :] = now.taken_in.noise[keep]
    speed = now.speed(season.nights)[keep]
    readings = season.data[n.LOG_RMSSD].values - reading_shift(draws, season)
    steps = steps_of(season, posterior.priors, now.stretches)
    path = run_season(draws, events, speed, readings, noise, steps, posterior.priors)
    levels = sample_levels(
        path.filtered, readings + path.shown, noise, motion(draws), steps, path.start, now.rng()
    )
    return Past(
        season=season,
        draws=draws,
        events=felt,
        felt_on=events.nights,
        dips=events.dips,
        first_share=events.first_share,
        rates=rates(draws)[:, events.groups],
        run=np.cumsum(speed, axis=1),
        shown=path.shown,
        sensor=sensor_shift(draws, season),
        rhythm=rhythm(draws, season.nights),
        lifts=lifts(draws, season),
        noise=noise,
        filtered=path.filtered,
        level=levels[BASELINE],
        transient=levels[TRANSIENT],
        unexplained=levels[UNEXPLAINED:].sum(axis=0),
        seed=now.seed,
    )


def ending_in(past: Past, now: Standing) -> Past:
    """Return a season taken apart, its last morning by the draws of the state itself.

    So every answer about that morning has the same draws of baseline and of what is on it.

    Args:
        past: the season up to that morning.
        now: the state on it.
    """
    keep = _few_enough(len(now.rates), len(past.level))
    baseline, transient = now.level_draws[:, keep]
    unexplained = past.unexplained
    if now.unexplained is not None:
        unexplained = _ending(unexplained, now.unexplained.draws[keep])
    return past._replace(
        level=_ending(past.level, baseline),
        transient=_ending(past.transient, transient),
        unexplained=unexplained,
    )


def _ending(path: Floats, end: Floats) -> Floats:
    return np.concatenate([path[:, :-1], end[:, None]], axis=1)


def _most(nights: int) -> int:
    return max(_FEWEST_DRAWS, _DRAW_NIGHTS // nights)


def _few_enough(draws: int, most: int) -> Ints:
    """Return which draws to work with."""
    return np.linspace(0, draws - 1, min(draws, most)).round().astype(int)


def _draws_of(now: Standing, posterior: Posterior, fitted: Season, keep: Ints) -> xr.Dataset:
    """Return the state's own draws whole, with the types in the season's order."""
    chosen = posterior.draws.isel(sample=now.rows[keep])
    return chosen.sel({n.TYPE: fitted.types}) if n.TYPE in chosen.coords else chosen


def _felt_in(fitted: Season) -> list[Felt]:
    """Return what the fitted season felt, in the order of its events."""
    data = fitted.data
    felt = [Felt(START, n.START, None)]
    for kind, names, dates in (
        (SESSION, data[n.SESSION_TYPE].values, data[n.SESSION_DATE].values),
        (STRESSOR, data[n.STRESSOR_LABEL].values, data[n.STRESSOR_DATE].values),
    ):
        days = dates.astype("datetime64[D]")
        felt += [Felt(kind, str(x), d) for x, d in zip(names, days, strict=True)]
    unlogged = fitted.nights[long_gaps(fitted).every_night] - DAY
    felt += [Felt(UNLOGGED, n.UNLOGGED, day) for day in unlogged]
    return felt


def _felt_since(newer: TakenIn, fitted: Season) -> list[Felt]:
    """Return what the mornings since the fit felt."""
    return [
        Felt(
            SESSION if event.label in fitted.types else STRESSOR,
            event.label,
            fitted.last_night + DAY * (event.night - 1),
        )
        for event in newer.events
    ]


def _with_newer(
    events: Events, draws: xr.Dataset, newer: TakenIn, fitted: Season, keep: Ints
) -> Events:
    """Add what the mornings since the fit felt to the fitted events."""
    groups = [*fitted.types, *fitted.stressors]
    last = len(fitted.nights) - 1
    is_session = np.array([event.label in fitted.types for event in newer.events], bool)
    share = np.ones((len(keep), len(newer.events)))
    if is_session.any():
        share[:, is_session] = draws[n.FIRST_NIGHT].values[:, None]
    return Events(
        nights=np.array([*events.nights, *(last + e.night for e in newer.events)], int),
        groups=np.array([*events.groups, *(groups.index(e.label) for e in newer.events)], int),
        dips=np.concatenate([events.dips, newer.dips[keep]], axis=1),
        first_share=np.concatenate([events.first_share, share], axis=1),
    )
