"""Where the athlete stands on the morning of the last reading, draw by draw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.sampling.last_night import dip_trend, rate_trend
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.new_mornings import Event, TakenIn, events_between, take_in
from slackwater.fitting.state.unseen_types import UnseenType, draw_unseen
from slackwater.model import names as n
from slackwater.model.dynamics import Floats, dip_path
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import DAY, Season
from slackwater.model.trend import step_weights

THRESHOLD_RULE: Final = "half the night-to-night standard deviation of an ordinary night"


@dataclass(frozen=True)
class Standing:
    """The state on one morning, S draws.

    Attributes:
        season: the season as it is now.
        night: the morning the state stands at, the last reading's.
        fitted_to: the last morning that was fitted; types' dips and rates are those of then.
        draws: the draws of the posterior, dimension `sample` first.
        groups: what dips the state: types, stressors, the start, then types that no reading
            shows yet; length G.
        rates: recovery rates, shape (S, G), 1/day.
        dips: dip left of each group, shape (S, G), ln.
        level_mean: baseline's mean given the readings, shape (S,), ln ms.
        level_variance: its variance, shape (S,).
        pending: sessions and stressors that the next mornings will show.
        warnings: sentences to show with every answer.
        seed: seed for what is simulated from here.
        taken_in: what was drawn for the mornings since the fit; None where there are none.
        unseen: the types that no reading shows yet, by name.
    """

    season: Season
    night: np.datetime64
    fitted_to: np.datetime64
    draws: xr.Dataset
    groups: list[str]
    rates: Floats
    dips: Floats
    level_mean: Floats
    level_variance: Floats
    pending: list[Event]
    warnings: list[str]
    seed: int
    taken_in: TakenIn | None = None
    unseen: Mapping[str, UnseenType] = field(default_factory=dict)

    @property
    def threshold(self) -> Floats:
        """The smallest dip worth acting on, shape (S,), ln."""
        return 0.5 * self.parameter(n.NOISE_SD)

    def parameter(self, name: str) -> Floats:
        """Return a parameter's draws, shape (S, ...)."""
        return np.asarray(self.draws[name].values, float)

    def rng(self) -> np.random.Generator:
        """Return the randomness of simulated answers; the same at every call."""
        return np.random.default_rng(self.seed)

    def typical_dips(self) -> Floats:
        """Return the log of each group's typical dip, shape (S, G); NaN for the start.

        The dip that decays: of a session's, the first night shows a share alone.
        """
        columns = []
        if n.TYPE_LOG_DIP in self.draws:
            share = np.log(self.parameter(n.FIRST_NIGHT))[:, None]
            columns.append(self.parameter(n.TYPE_LOG_DIP) - share)
        if n.STRESSOR_LOG_DIP in self.draws:
            columns.append(self.parameter(n.STRESSOR_LOG_DIP))
        start = np.full((self.draws.sizes["sample"], 1), np.nan)
        unseen = [a_type.log_dip[:, None] for a_type in self.unseen.values()]
        return np.concatenate([*columns, start, *unseen], axis=1)

    def event_dips(self, events: list[Event], rng: np.random.Generator) -> Floats:
        """Draw the dips of events, with session-to-session scatter, shape (S, E)."""
        typical = self.typical_dips()[:, [self.groups.index(e.label) for e in events]]
        scatter = rng.standard_normal(typical.shape) * self.parameter(n.SESSION_SD)[:, None]
        dose = np.array([e.dose for e in events], float)
        return np.asarray(dose * np.exp(typical + scatter))

    def run_on(
        self, events: list[Event], speed: Floats, rng: np.random.Generator
    ) -> tuple[Floats, Floats]:
        """Return every group's dip on the next N nights, (S, N, G), and the events' dips, (S, E).

        Args:
            events: what is to come.
            speed: factor on all rates for the step into each night, shape (S, N).
            rng: source of the events' scatter.
        """
        dips = self.event_dips(events, rng)
        nights = np.array([e.night - 1 for e in events], int)
        groups = np.array([self.groups.index(e.label) for e in events], int)
        return dip_path(dips, nights, groups, self.rates, speed, start=self.dips), dips

    def held_back(self, events: list[Event], dips: Floats, nights: int) -> Floats:
        """Return what sessions' first nights do not show of their dips yet, (S, nights).

        Args:
            events: what is to come; stressors show in full at once.
            dips: their dips, shape (S, E), from `event_dips`.
            nights: how many nights after the one the state stands at.
        """
        hidden = np.zeros((len(dips), nights))
        fitted = {str(t) for t in self.draws[n.TYPE].values} if n.TYPE in self.draws.coords else ()
        for column, event in enumerate(events):
            is_session = event.label in fitted or event.label in self.unseen
            if is_session and event.night <= nights:
                share = 1 - self.parameter(n.FIRST_NIGHT)
                hidden[:, event.night - 1] += share * dips[:, column]
        return hidden

    def dip_trend(self, nights: NDArray[np.datetime64]) -> Floats:
        """Return how much deeper sessions dipped then, as a logarithm, shape (S, nights)."""
        return dip_trend(self.draws, self._trend_weights(nights))

    def _trend_weights(self, nights: NDArray[np.datetime64]) -> Floats:
        ages = ((self.fitted_to - nights) / DAY).astype(int)
        return step_weights(ages, self.draws.sizes.get(n.HALF_YEAR, 0))

    def speed(self, nights: NDArray[np.datetime64]) -> Floats:
        """Return the factor on rates of logged interventions and the trend, (S, nights)."""
        acts = self.season.applied(nights)
        log_speed = rate_trend(self.draws, self._trend_weights(nights))
        if n.LOG_RATE_RATIO in self.draws:
            known = [str(i) for i in self.draws[n.INTERVENTION].values]
            ratios = self.parameter(n.LOG_RATE_RATIO)
            for row, name in enumerate(self.season.interventions):
                if name in known:
                    log_speed += ratios[:, [known.index(name)]] * acts[row]
        return np.exp(log_speed)


def standing(season: Season, posterior: Posterior) -> Standing:
    """Return where the athlete stands on the morning of the season's last reading.

    Args:
        season: the season as it is now.
        posterior: the posterior of it, or of an earlier stretch of it.

    Raises:
        NoAnswerError: the fit is not to be trusted, the past was edited since, or what is
            new since the fit needs a new one.
    """
    checks = posterior.checks
    if not checks.usable:
        raise NoAnswerError(
            " ".join(checks.complaints) + " No answer is given from such a fit; fit again with "
            "another --seed or more --draws, and check the season if that does not help."
        )
    fitted = _fitted_part(season, posterior)
    last = posterior.last
    now = Standing(
        season=season,
        night=posterior.last_night,
        fitted_to=posterior.last_night,
        draws=posterior.draws.drop_vars([n.NIGHT_SCALE, n.SESSION_Z], errors="ignore"),
        groups=[str(g) for g in last[n.GROUP].values],
        rates=last["rate"].values,
        dips=last["dip"].values,
        level_mean=last["level_mean"].values,
        level_variance=last["level_variance"].values,
        pending=[],
        warnings=list(checks.complaints),
        seed=posterior.seed,
    )
    if season.last_night > posterior.last_night:
        now = take_in(now, fitted)
    now = _with_unseen(now, draw_unseen(season, now.draws, np.random.default_rng(now.seed + 2)))
    pending, unknown = events_between(now, np.datetime64("9999-12-31"))
    coming = [label for label in now.unseen if any(e.label == label for e in pending)]
    said = [
        f"{label!r} is new and no reading shows it yet: until one does, it counts as a session "
        "like any of the others."
        for label in coming
    ]
    left_out = [
        f"{label!r} is new and no reading shows it yet, so forecasts leave it out."
        for label in unknown
    ]
    return replace(now, pending=pending, warnings=[*now.warnings, *said, *left_out])


def _with_unseen(now: Standing, unseen: Mapping[str, UnseenType]) -> Standing:
    rates = [np.exp(a_type.log_rate)[:, None] for a_type in unseen.values()]
    return replace(
        now,
        unseen=unseen,
        groups=[*now.groups, *unseen],
        rates=np.concatenate([now.rates, *rates], axis=1),
        dips=np.concatenate([now.dips, np.zeros((len(now.dips), len(unseen)))], axis=1),
    )


def _fitted_part(season: Season, posterior: Posterior) -> Season:
    stale = (
        "The season was edited in what had already been fitted (readings, sessions, types, "
        f"interventions or stressors up to {posterior.last_night}); run slackwater fit again."
    )
    if not season.first_night <= posterior.last_night <= season.last_night:
        raise NoAnswerError(stale)
    fitted = season.through(posterior.last_night)
    if fitted.fingerprint() != posterior.fingerprint:
        raise NoAnswerError(stale)
    return fitted
