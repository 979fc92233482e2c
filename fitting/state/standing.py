"""Where the athlete stands on the morning of the last reading, draw by draw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.state.unseen_types import UnseenType
from slackwater.model import names as n
from slackwater.model import paths
from slackwater.model.dynamics import Floats, Ints, dip_path, dips_before, held_back
from slackwater.model.errors import Reason
from slackwater.model.levels import BASELINE, State
from slackwater.model.season import DAY, Season
from slackwater.model.trend import step_weights
from slackwater.model.unexplained import Stretch

FARTHEST: Final = 60  # nights looked ahead for the day of recovery


class Event(NamedTuple):
    """What dips the state after the morning that it stands at.

    Attributes:
        night: nights after that morning; 1 is the next one.
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


class Unexplained(NamedTuple):
    """What the log does not explain on the morning of the last reading, S draws.

    Attributes:
        since: the first morning on which it showed.
        nights: how many nights it has been there, read or not.
        draws: how far it moves the level, shape (S,), ln; most below 0.
    """

    since: np.datetime64
    nights: int
    draws: Floats


@dataclass(frozen=True)
class Standing:
    """The state on one morning, S draws.

    Attributes:
        season: the season as it is now.
        night: the morning the state stands at, the last reading's.
        fitted_to: the last morning that was fitted; types' dips and rates are those of then.
        draws: draws of the posterior, dimension `sample` first, without what is of one night or
            one session each.
        rows: which of the posterior's draws they are, shape (S,).
        groups: what dips the state: types, stressors, the start, what is unexplained where
            anything is, then types that no reading shows yet; length G.
        rates: recovery rates, shape (S, G), 1/day.
        dips: dip left of each group, shape (S, G), ln.
        level: baseline and transient given the readings.
        pending: sessions and stressors that the next mornings will show.
        warnings: what to mind with every answer.
        seed: seed for what is simulated from here.
        stretches: the nights of the season that are unexplained.
        unexplained: what is so on this morning; None where nothing is. It weighs as a dip.
        taken_in: what was drawn for the mornings since the fit; None where there are none.
        unseen: the types that no reading shows yet, by name.
    """

    season: Season
    night: np.datetime64
    fitted_to: np.datetime64
    draws: xr.Dataset
    rows: Ints
    groups: list[str]
    rates: Floats
    dips: Floats
    level: State
    pending: list[Event]
    warnings: list[Reason]
    seed: int
    stretches: tuple[Stretch, ...] = ()
    unexplained: Unexplained | None = None
    taken_in: TakenIn | None = None
    unseen: Mapping[str, UnseenType] = field(default_factory=dict)

    @property
    def threshold(self) -> Floats:
        """The smallest dip worth acting on, shape (S,), ln."""
        return paths.threshold(self.draws, self.season)

    @property
    def threshold_rule(self) -> Reason:
        """What makes it so large."""
        fixed = self.season.threshold_percent
        return (
            Reason("threshold rule") if fixed is None else Reason("threshold fixed", percent=fixed)
        )

    @property
    def types(self) -> list[str]:
        """The session types of the fit."""
        return paths.labels(self.draws, n.TYPE)

    @property
    def interventions(self) -> list[str]:
        """The recovery measures of the fit."""
        return paths.labels(self.draws, n.INTERVENTION)

    def parameter(self, name: str) -> Floats:
        """Return a parameter's draws, shape (S, ...)."""
        return np.asarray(self.draws[name].values, float)

    def log_ratio(self, measure: str) -> Floats:
        """Return draws of the log rate ratio of a measure of the fit, shape (S,)."""
        return self.parameter(n.LOG_RATE_RATIO)[:, self.interventions.index(measure)]

    def lift(self, measure: str) -> Floats:
        """Return draws of what a measure adds to a night's reading by itself, ln, shape (S,)."""
        return self.parameter(n.LIFT)[:, self.interventions.index(measure)]

    def rng(self) -> np.random.Generator:
        """Return the randomness of simulated answers; the same at every call."""
        return np.random.default_rng(self.seed)

    @cached_property
    def level_draws(self) -> Floats:
        """Draws of baseline and transient on this morning, shape (2, S), ln ms."""
        normal = np.random.default_rng([self.seed, 4]).standard_normal((2, len(self.rates)))
        first, second = self.level.covariance[:, 0]
        sd = np.sqrt(first)
        across = np.divide(second, sd, out=np.zeros_like(sd), where=sd > 0)
        rest = np.sqrt(np.maximum(self.level.covariance[1, 1] - across**2, 0.0))
        return np.asarray(
            self.level.mean + np.stack([sd * normal[0], across * normal[0] + rest * normal[1]])
        )

    @property
    def baseline(self) -> Floats:
        """Draws of baseline on this morning, shape (S,), ln ms."""
        return np.asarray(self.level_draws[BASELINE])

    def log_dips(self) -> Floats:
        """Return the log of the dip that decays, of each type's typical session, shape (S, K)."""
        return paths.typical_log_dips(self.draws)

    def typical_dips(self) -> Floats:
        """Return the log of each group's typical dip that decays, (S, G); NaN for what has none."""
        columns = []
        if n.TYPE_LOG_DIP in self.draws:
            columns.append(self.log_dips())
        if n.STRESSOR_LOG_DIP in self.draws:
            columns.append(self.parameter(n.STRESSOR_LOG_DIP))
        unseen = [a_type.log_dip[:, None] for a_type in self.unseen.values()]
        without = len(self.groups) - sum(c.shape[1] for c in columns) - len(unseen)
        none = np.full((self.draws.sizes["sample"], without), np.nan)
        return np.concatenate([*columns, none, *unseen], axis=1)

    def luck(self, label: str, count: int) -> Floats:
        """Return how the next of a label fare, in SD of their scatter, shape (count, S).

        Each keeps its luck, whatever is asked of it and whatever else is to come, so that answers
        about the same session are about the same draws.
        """
        rng = np.random.default_rng([self.seed, 5, self.groups.index(label)])
        return rng.standard_normal((count, len(self.rates)))

    def luck_of(self, events: Sequence[Event]) -> Floats:
        """Return the luck of events to come, in order of each label's, shape (S, E)."""
        labels = [e.label for e in events]
        each = {label: iter(self.luck(label, labels.count(label))) for label in set(labels)}
        rows = [next(each[label]) for label in labels]
        return np.stack(rows, axis=1) if rows else np.zeros((len(self.rates), 0))

    def event_dips(self, events: Sequence[Event], luck: Floats) -> Floats:
        """Return the dips of events, with session-to-session scatter, shape (S, E)."""
        typical = self.typical_dips()[:, [self.groups.index(e.label) for e in events]]
        scatter = luck * self.parameter(n.SESSION_SD)[:, None]
        dose = np.array([e.dose for e in events], float)
        return np.asarray(dose * np.exp(typical + scatter))

    def run_on(self, events: Sequence[Event], speed: Floats, luck: Floats) -> tuple[Floats, Floats]:
        """Return every group's dip on the next N nights, (S, N, G), and the events' dips, (S, E).

        Args:
            events: what is to come.
            speed: factor on all rates for the step into each night, shape (S, N).
            luck: of the events, shape (S, E).
        """
        dips = self.event_dips(events, luck)
        nights = np.array([e.night - 1 for e in events], int)
        groups = np.array([self.groups.index(e.label) for e in events], int)
        return dip_path(dips, nights, groups, self.rates, speed, start=self.dips), dips

    def dips_ahead(self, events: list[Event], speed: Floats) -> tuple[Floats, Floats]:
        """Return all dips together on the next nights, and what readings show of them, (S, N).

        Args:
            events: what is to come.
            speed: as for `run_on`.
        """
        path, event_dips = self.run_on(events, speed, self.luck_of(events))
        dip = path.sum(axis=2)
        return dip, dip - self.held_back(events, event_dips, speed.shape[1])

    @cached_property
    def on_rest(self) -> tuple[Floats, Floats]:
        """The same with what is logged and nothing else, as far as a forecast reaches behind it."""
        last = max((e.night for e in self.pending), default=0)
        nights = self.night + DAY * np.arange(1, FARTHEST + min(last, FARTHEST) + 1)
        return self.dips_ahead(self.pending, self.speed(nights))

    def held_back(self, events: list[Event], dips: Floats, nights: int) -> Floats:
        """Return what sessions' first nights do not show of their dips yet, (S, nights).

        Args:
            events: what is to come; stressors show in full at once.
            dips: their dips, shape (S, E), from `event_dips`.
            nights: how many nights after the one the state stands at.
        """
        sessions = {*self.types, *self.unseen}
        share = np.ones(dips.shape)
        for column, event in enumerate(events):
            if event.label in sessions:
                share[:, column] = self.parameter(n.FIRST_NIGHT)
        return held_back(dips, np.array([e.night - 1 for e in events], int), share, nights)

    def dips_before(self, nights: NDArray[np.datetime64]) -> Floats:
        """Return every group's dip on the latest nights, without an event in between, (S, N, G).

        What is unexplained did not decay: it is taken to have been as it is since it began.

        Args:
            nights: their dates, in order; the last is the one that the state stands at.
        """
        path = dips_before(self.dips, self.rates, self.speed(nights))
        if self.unexplained is not None:
            lasted = nights >= self.unexplained.since
            path[:, :, self.groups.index(n.UNEXPLAINED)] = -self.unexplained.draws[:, None] * lasted
        return path

    def dip_trend(self, nights: NDArray[np.datetime64]) -> Floats:
        """Return how much deeper sessions dipped then, as a logarithm, shape (S, nights)."""
        return paths.dip_trend(self.draws, self._trend_weights(nights))

    def speed(self, nights: NDArray[np.datetime64]) -> Floats:
        """Return the factor on rates of logged interventions and the trend, (S, nights)."""
        acts = self.season.applied(nights)
        log_speed = paths.rate_trend(self.draws, self._trend_weights(nights))
        known = self.interventions
        for row, name in enumerate(self.season.interventions):
            if name in known:
                log_speed[:, acts[row]] += self.log_ratio(name)[:, None]
        return np.exp(log_speed)

    def _trend_weights(self, nights: NDArray[np.datetime64]) -> Floats:
        ages = ((self.fitted_to - nights) / DAY).astype(int)
        return step_weights(ages, self.draws.sizes.get(n.HALF_YEAR, 0))


def logged_events(now: Standing, until: np.datetime64) -> tuple[list[Event], list[str]]:
    """Return logged events dated from the state's morning to `until`, and unknown labels."""
    events: list[Event] = []
    unknown: list[str] = []
    data = now.season.data
    stressor_doses = np.ones(data.sizes[n.STRESSOR_DAY])
    for dates, labels, doses in (
        (data[n.SESSION_DATE].values, data[n.SESSION_TYPE].values, data[n.DOSE].values),
        (data[n.STRESSOR_DATE].values, data[n.STRESSOR_LABEL].values, stressor_doses),
    ):
        for date, label, dose in zip(dates.astype("datetime64[D]"), labels, doses, strict=True):
            if not now.night <= date <= until:
                continue
            if str(label) in now.groups:
                night = int((date + DAY - now.night) / DAY)
                events.append(Event(night, str(label), float(dose)))
            elif str(label) not in unknown:
                unknown.append(str(label))
    return events, unknown
