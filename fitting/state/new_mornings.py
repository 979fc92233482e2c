"""Readings, sessions and stressors logged since the fit, taken in without a new one.

The filter runs forward for each draw, the draws are weighed by how well they foretold the
new readings (importance sampling, the weights smoothed: Vehtari et al. 2024, JMLR 25:72),
and drawn again by weight.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cached_property
from typing import Final

import numpy as np

from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.smoothing import smooth_weights
from slackwater.fitting.state.standing import Standing, TakenIn, logged_events
from slackwater.model import names as n
from slackwater.model import paths
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.levels import State, Steps
from slackwater.model.paths import reading_shift
from slackwater.model.priors import Priors
from slackwater.model.season import DAY, Season
from slackwater.model.unexplained import Stretch, Watch, steps_of, stretches_in, watch

PARETO_K_LIMIT: Final = 0.7


class Fitted:
    """What was fitted, with what every later morning goes on from."""

    def __init__(self, season: Season, posterior: Posterior) -> None:
        """Take the fitted part of a season, and what was learnt of it."""
        self.season, self.posterior = season, posterior

    @cached_property
    def watch(self) -> Watch:
        """The watch for what is unexplained, at the last fitted night."""
        priors = self.posterior.priors
        new_level = steps_of(self.season, priors, ()).new_level
        return watch(self.posterior.watched, new_level, priors)


def take_in(now: Standing, fitted: Fitted) -> Standing:
    """Return the state on the last reading's morning, from that on the last fitted one.

    Args:
        now: the state on the last fitted morning, with the season as it is now.
        fitted: what was fitted of it.

    Raises:
        NoAnswerError: the new readings show what the fit does not know, or tell another
            story than it does.
    """
    season = now.season.observed()
    first = int(np.searchsorted(season.nights, now.night, side="right"))
    nights = season.nights[first:]
    new_events, unknown = logged_events(now, season.last_night - DAY)
    new_measures = set(season.interventions) - set(now.interventions)
    new_sensors = set(season.sensors) - set(fitted.season.sensors)
    fresh = [*unknown, *sorted(new_measures), *sorted(new_sensors)]
    if fresh:
        raise NoAnswerError(Reason("new since the fit", labels=fresh))
    rng = np.random.default_rng(now.seed + 1)
    luck = rng.standard_normal((len(now.rates), len(new_events)))
    path, new_dips = now.run_on(new_events, now.speed(nights), luck)
    readings = season.data[n.LOG_RMSSD].values[first:]
    shown = path.sum(axis=2) - now.held_back(new_events, new_dips, len(nights))
    levels = readings - reading_shift(now.draws, season, first) + shown
    stretches = _watch_on(season, fitted, levels.mean(axis=0))
    steps = _steps(season, now, stretches, fitted.posterior.priors)
    measured = season.reading_ln_sd[first:]
    level, noise, log_weight = _filter_on(now, levels, measured, steps, rng)
    chosen = _draw_again(log_weight, rng)
    return replace(
        now,
        night=season.last_night,
        draws=now.draws.isel(sample=chosen),
        rows=now.rows[chosen],
        rates=now.rates[chosen],
        dips=path[chosen, -1],
        level=level.of(chosen),
        stretches=stretches,
        taken_in=TakenIn(new_events, new_dips[chosen], noise[chosen]),
    )


def _watch_on(season: Season, fitted: Fitted, levels: Floats) -> tuple[Stretch, ...]:
    """Return what is unexplained, from the season's first night to its last.

    Args:
        season: what its readings can show.
        fitted: what was fitted of it.
        levels: the new nights' readings without dips and sensor step, ln ms, shape (M,).
    """
    before = fitted.posterior.watched
    watched = before._replace(levels=np.concatenate([before.levels, levels]))
    return stretches_in(season, watched, fitted.posterior.priors, fitted.watch)


def _steps(season: Season, now: Standing, stretches: Sequence[Stretch], priors: Priors) -> Steps:
    """Return the steps into the new nights; what began before them begins with the first."""
    new = season.nights > now.night
    first = season.nights[new][0]
    known = {stretch.first for stretch in now.stretches if stretch.last is None}
    begun = [
        s if s.first in known or s.first >= first else s._replace(first=first)
        for s in stretches
        if s.last is None or s.last >= first
    ]
    return Steps(*(each[new] for each in steps_of(season, priors, begun)))


def _filter_on(
    now: Standing, levels: Floats, measured: Floats, steps: Steps, rng: np.random.Generator
) -> tuple[State, Floats, Floats]:
    """Filter on over new nights; return the last state, the noise and the log weight of each draw.

    A new night's noise scale is drawn given its reading, on Gauss-Hermite nodes, and the
    draw is weighed by the reading's density with the scale summed out.
    """
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(15)
    log_prior = np.log(node_weights / node_weights.sum())[:, None]
    # Nodes lie one after another in memory, as sums go over them: shape (15, S).
    ordinary = np.ascontiguousarray(paths.noise_variance(now.draws, nodes[None, :]).T)
    moving, state = paths.motion(now.draws), now.level
    if steps.unexplained:
        state = state.with_unexplained()
    draws = np.arange(ordinary.shape[1])
    noise, log_weight = np.zeros(levels.shape), np.zeros(len(draws))
    for night in range(levels.shape[1]):
        state = state.after(moving, steps, night)
        if np.isnan(levels[0, night]):
            continue
        scaled = ordinary + measured[night] ** 2
        mean, variance = state.level()
        total = variance + scaled
        error = levels[:, night] - mean
        log_density = log_prior - 0.5 * (np.log(2 * np.pi * total) + error**2 / total)
        top = log_density.max(axis=0)
        density = np.exp(log_density - top)
        whole = density.sum(axis=0)
        log_weight += top + np.log(whole)
        cumulative = np.cumsum(density / whole, axis=0)
        node = (rng.random(len(mean)) > cumulative[:-1]).sum(axis=0)
        noise[:, night] = scaled[node, draws]
        state, _ = state.given(error, variance + noise[:, night])
    return state, noise, log_weight


def _draw_again(log_weight: Floats, rng: np.random.Generator) -> Ints:
    """Return which draws to keep, as often as their smoothed weights say (systematic)."""
    smoothed, pareto_k = smooth_weights(log_weight)
    if not pareto_k <= PARETO_K_LIMIT:
        raise NoAnswerError(Reason("another story since the fit", pareto_k=pareto_k))
    edges = np.cumsum(np.exp(smoothed))
    count = len(edges)
    places = (rng.random() + np.arange(count)) / count
    return np.minimum(np.searchsorted(edges, places), count - 1)
