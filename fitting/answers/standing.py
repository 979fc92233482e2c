"""Where the athlete stands on the morning of the last reading, draw by draw.

The posterior knows the season up to the last reading that was fitted. Readings and
sessions logged since are taken in here: the filter runs forward for each draw, the draws
are weighed by how well they foretold the new readings (importance sampling, the weights
smoothed: Vehtari et al. 2024, JMLR 25:72), and drawn again by weight.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.smoothing import smooth_weights
from slackwater.fitting.sampling.last_night import noise_variance
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.model import names as n
from slackwater.model.design import other_sensors
from slackwater.model.dynamics import Floats, Ints, dip_path
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import DAY, Season

PARETO_K_LIMIT: Final = 0.7
THRESHOLD_RULE: Final = "half the night-to-night standard deviation of an ordinary night"


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


@dataclass(frozen=True)
class Standing:
    """The state on one morning, S draws.

    Attributes:
        season: the season as it is now.
        night: the morning the state stands at, the last reading's.
        draws: the draws of the posterior, dimension `sample` first.
        groups: what dips the state: types, stressors, the start; length G.
        rates: recovery rates, shape (S, G), 1/day.
        dips: dip left of each group, shape (S, G), ln.
        level_mean: baseline's mean given the readings, shape (S,), ln ms.
        level_variance: its variance, shape (S,).
        pending: sessions and stressors that the next mornings will show.
        warnings: sentences to show with every answer.
        seed: seed for what is simulated from here.
    """

    season: Season
    night: np.datetime64
    draws: xr.Dataset
    groups: list[str]
    rates: Floats
    dips: Floats
    level_mean: Floats
    level_variance: Floats
    pending: list[Event]
    warnings: list[str]
    seed: int

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
        return np.concatenate([*columns, start], axis=1)

    def event_dips(self, events: list[Event], rng: np.random.Generator) -> Floats:
        """Draw the dips of events, with session-to-session scatter, shape (S, E)."""
        typical = self.typical_dips()[:, [self.groups.index(e.label) for e in events]]
        scatter = rng.standard_normal(typical.shape) * self.parameter(n.SESSION_SD)[:, None]
        dose = np.array([e.dose for e in events], float)
        return np.asarray(dose * np.exp(typical + scatter))

    def held_back(self, events: list[Event], dips: Floats, nights: int) -> Floats:
        """Return what sessions' first nights do not show of their dips yet, (S, nights).

        Args:
            events: what is to come; stressors show in full at once.
            dips: their dips, shape (S, E), from `event_dips`.
            nights: how many nights after the one the state stands at.
        """
        hidden = np.zeros((len(dips), nights))
        types = {str(t) for t in self.draws[n.TYPE].values} if n.TYPE in self.draws.coords else ()
        for column, event in enumerate(events):
            if event.label in types and event.night <= nights:
                share = 1 - self.parameter(n.FIRST_NIGHT)
                hidden[:, event.night - 1] += share * dips[:, column]
        return hidden

    def speed(self, nights: NDArray[np.datetime64]) -> Floats:
        """Return the factor that logged interventions put on rates, shape (S, nights)."""
        acts = self.season.applied(nights)
        log_speed = np.zeros((self.draws.sizes["sample"], len(nights)))
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
        now = _take_in(now, fitted)
    pending, unknown = _events_between(now, np.datetime64("9999-12-31"))
    left_out = [
        f"{label!r} is new and no reading shows it yet, so forecasts leave it out."
        for label in unknown
    ]
    return replace(now, pending=pending, warnings=[*now.warnings, *left_out])


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


def _take_in(now: Standing, fitted: Season) -> Standing:
    """Take in the readings since the fit: weigh the draws, and draw again by weight."""
    season = now.season.observed()
    nights = season.nights[season.nights > now.night]
    new_events, unknown = _events_between(now, season.last_night - DAY)
    new_measures = set(season.interventions) - _names(now.draws, n.INTERVENTION)
    new_sensors = set(season.sensors) - set(fitted.sensors)
    fresh = [*unknown, *sorted(new_measures), *sorted(new_sensors)]
    if fresh:
        listed = ", ".join(repr(label) for label in fresh)
        raise NoAnswerError(f"New since the fit: {listed}; run slackwater fit again to learn it.")
    rng = np.random.default_rng(now.seed + 1)
    new_dips = now.event_dips(new_events, rng)
    path = dip_path(
        new_dips,
        np.array([e.night - 1 for e in new_events], int),
        np.array([now.groups.index(e.label) for e in new_events], int),
        now.rates,
        now.speed(nights),
        start=now.dips,
    )
    readings = season.data[n.LOG_RMSSD].values[season.nights > now.night]
    shown = path.sum(axis=2) - now.held_back(new_events, new_dips, len(nights))
    level = readings - _sensor_shift(now, season, other_sensors(fitted)) + shown
    mean, variance, log_weight = _filter_on(now, level, rng)
    chosen = _draw_again(log_weight, rng)
    return replace(
        now,
        night=season.last_night,
        draws=now.draws.isel(sample=chosen),
        rates=now.rates[chosen],
        dips=path[chosen, -1],
        level_mean=mean[chosen],
        level_variance=variance[chosen],
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
) -> tuple[Floats, Floats, Floats]:
    """Filter on over new nights; return mean, variance and log weight of each draw.

    A new night's noise scale is drawn given its reading, on Gauss-Hermite nodes, and the
    draw is weighed by the reading's density with the scale summed out.
    """
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(15)
    log_prior = np.log(node_weights / node_weights.sum())
    scaled = noise_variance(now.draws, nodes[None, :])
    mean, variance = now.level_mean, now.level_variance
    log_weight = np.zeros(len(mean))
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
        gain = variance / total[np.arange(len(mean)), node]
        mean = mean + gain * error[:, 0]
        variance = variance * (1 - gain)
    return mean, variance, log_weight


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


def _events_between(now: Standing, until: np.datetime64) -> tuple[list[Event], list[str]]:
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
