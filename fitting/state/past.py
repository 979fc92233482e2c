"""The season up to its last reading, taken apart into what its readings are made of."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.sampling import last_night
from slackwater.fitting.sampling.posterior import Posterior
from slackwater.fitting.state.new_mornings import TakenIn
from slackwater.fitting.state.standing import Standing, standing
from slackwater.model import names as n
from slackwater.model.design import design_of, other_sensors
from slackwater.model.dynamics import Filtered, Floats, Ints, dip_path, filter_level, sample_level
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import DAY, Season

SESSION: Final = "session"
STRESSOR: Final = "stressor"
START: Final = "start"
_DRAW_NIGHTS: Final = 1_000_000  # more of them are thinned, so that an answer takes seconds
_FEWEST_DRAWS: Final = 400


class Felt(NamedTuple):
    """One thing that dipped the state.

    Attributes:
        kind: `SESSION`, `STRESSOR` or `START`.
        label: session type or stressor; `names.START` for the start.
        date: the day it is logged under, ISO; empty for the start.
    """

    kind: str
    label: str
    date: str


class Past(NamedTuple):
    """What lies under the readings of a season: N nights, S draws, E events.

    A reading is `level - shown + shift` and noise, ln ms.

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
        shift: what the night's sensor reads more than the latest fitted, ln, shape (S, N).
        noise: variance of the night's noise, shape (S, N); 0 where it was not read.
        filtered: baseline given the readings so far.
        level: baseline given all readings, one path a draw, ln ms, shape (S, N).
        rng: randomness for what is simulated from here.
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
    shift: Floats
    noise: Floats
    filtered: Filtered
    level: Floats
    rng: np.random.Generator

    @property
    def readings(self) -> Floats:
        """Readings, ln ms, shape (N,); NaN where not read."""
        return np.asarray(self.season.data[n.LOG_RMSSD].values, float)

    @property
    def first_read(self) -> int:
        """Index of the first night read."""
        return int(np.flatnonzero(self.season.read)[0])

    def shown_on(self, night: int) -> Floats:
        """Return what is left of each event on one night, as a reading shows it, ln, (S, E)."""
        passed = self.run[:, [night]] - self.run[:, self.felt_on]
        left = self.dips * np.exp(-self.rates * np.maximum(passed, 0.0))
        left = np.where(self.felt_on == night, self.first_share * left, left)
        return np.where(self.felt_on > night, 0.0, left)


def past_of(now: Standing, posterior: Posterior) -> Past:
    """Take a season apart, the readings since the fit included.

    Args:
        now: the state, from `standing`.
        posterior: what it was made from.
    """
    season = now.season.observed()
    fitted = season.through(posterior.last_night)
    keep = _few_enough(len(now.rates), len(season.nights))
    draws = _draws_of(now, posterior, fitted, keep)
    felt = _fitted_events(draws, fitted)
    noise = np.zeros((len(keep), len(season.nights)))
    scale = draws[n.NIGHT_SCALE].values
    noise[:, np.flatnonzero(fitted.read)] = last_night.noise_variance(draws, scale)
    if now.taken_in is not None:
        felt = _with_newer(felt, now.taken_in, fitted, keep)
        noise[:, len(fitted.nights) :] = now.taken_in.noise[keep]
    is_session = np.array([event.kind == SESSION for event in felt.events])
    first_share = np.where(is_session, draws[n.FIRST_NIGHT].values[:, None], 1.0)
    speed = now.speed(season.nights)[keep]
    shown = dip_path(felt.dips, felt.nights, felt.groups, felt.rates, speed).sum(axis=2)
    for column, night in enumerate(felt.nights):
        shown[:, night] -= (1 - first_share[:, column]) * felt.dips[:, column]
    shift = _sensor_shift(draws, season, other_sensors(fitted))
    filtered = _filter(season, draws, shown - shift, noise, baseline_prior(posterior))
    rng = now.rng()
    return Past(
        season=season,
        draws=draws,
        events=felt.events,
        felt_on=felt.nights,
        dips=felt.dips,
        first_share=first_share,
        rates=felt.rates[:, felt.groups],
        run=np.cumsum(speed, axis=1),
        shown=shown,
        shift=shift,
        noise=noise,
        filtered=filtered,
        level=sample_level(filtered, draws[n.DRIFT_SD].values ** 2, rng),
        rng=rng,
    )


def fitted_alone(season: Season, posterior: Posterior) -> tuple[Standing, list[str]]:
    """Return the state on the last fitted morning, and a sentence where that leaves readings out.

    Args:
        season: the season as it is now.
        posterior: its posterior.

    Raises:
        NoAnswerError: the fit is not to be trusted, or the past was edited since.
    """
    read = season.nights[season.read]
    reaches = posterior.last_night >= read[0]
    now = standing(season.through(posterior.last_night) if reaches else season, posterior)
    newer = int((read > posterior.last_night).sum())
    said = f"Readings since the fit are left out ({newer}); slackwater fit takes them in."
    return now, [said] if newer else []


def baseline_prior(posterior: Posterior) -> Belief:
    """Return the baseline's prior: the fit's own, where the posterior holds its constants.

    One read from its file does not; the default then stands in, which is no matter: a prior that
    lies 0.6 higher moves the first night by about 0.1 %, and later ones less.
    """
    if "constant_data" not in posterior.tree.children:
        return Priors().baseline
    constant = posterior.tree["constant_data"]
    return Belief(float(constant[n.BASELINE_PRIOR_MEAN]), float(constant[n.BASELINE_PRIOR_SD]))


def _few_enough(draws: int, nights: int) -> Ints:
    """Return which draws to work with."""
    keep = min(draws, max(_FEWEST_DRAWS, _DRAW_NIGHTS // nights))
    return np.linspace(0, draws - 1, keep).round().astype(int)


def _draws_of(now: Standing, posterior: Posterior, fitted: Season, keep: Ints) -> xr.Dataset:
    """Return the state's own draws whole, with the types in the season's order."""
    draws = posterior.draws
    rows = draws.indexes["sample"].get_indexer(now.draws.indexes["sample"])
    chosen = draws.isel(sample=rows[keep])
    return chosen.sel({n.TYPE: fitted.types}) if n.TYPE in chosen.coords else chosen


class _FeltEvents(NamedTuple):
    """Events with their first nights, groups and dips; rates are those of the groups, (S, G)."""

    events: list[Felt]
    nights: Ints
    groups: Ints
    dips: Floats
    rates: Floats


def _fitted_events(draws: xr.Dataset, fitted: Season) -> _FeltEvents:
    design, data = design_of(fitted), fitted.data
    logged = [
        (SESSION, data[n.SESSION_TYPE].values, data[n.SESSION_DATE].values),
        (STRESSOR, data[n.STRESSOR_LABEL].values, data[n.STRESSOR_DATE].values),
    ]
    events = [Felt(START, n.START, "")]
    for kind, labels, dates in logged:
        days = dates.astype("datetime64[D]")
        events += [Felt(kind, str(x), str(d)) for x, d in zip(labels, days, strict=True)]
    rates, dips = last_night.rates_and_dips(draws, design)
    return _FeltEvents(events, design.event_nights, design.event_groups, dips, rates)


def _with_newer(felt: _FeltEvents, newer: TakenIn, fitted: Season, keep: Ints) -> _FeltEvents:
    """Add what the mornings since the fit show."""
    groups = [*fitted.types, *fitted.stressors]
    last = len(fitted.nights) - 1
    events = [
        Felt(
            SESSION if event.label in fitted.types else STRESSOR,
            event.label,
            str(fitted.last_night + DAY * (event.night - 1)),
        )
        for event in newer.events
    ]
    return felt._replace(
        events=[*felt.events, *events],
        nights=np.array([*felt.nights, *(last + e.night for e in newer.events)], int),
        groups=np.array([*felt.groups, *(groups.index(e.label) for e in newer.events)], int),
        dips=np.concatenate([felt.dips, newer.dips[keep]], axis=1),
    )


def _sensor_shift(draws: xr.Dataset, season: Season, others: list[str]) -> Floats:
    codes = season.data[n.NIGHT_SENSOR].values
    shift = np.zeros((draws.sizes["sample"], len(codes)))
    for column, name in enumerate(others):
        by_it = codes == season.sensors.index(name)
        shift[:, by_it] = draws[n.SENSOR_STEP].values[:, [column]]
    return shift


def _filter(
    season: Season, draws: xr.Dataset, removed: Floats, noise: Floats, prior: Belief
) -> Filtered:
    """Filter the readings, with what lies over baseline removed from them."""
    start = np.ones(len(removed))
    return filter_level(
        season.data[n.LOG_RMSSD].values + removed,
        noise,
        draws[n.DRIFT_SD].values ** 2,
        start * prior.mean,
        start * prior.sd**2,
    )
