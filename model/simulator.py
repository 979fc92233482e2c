"""The same equations forward: a season with known truth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.design import Design, design_of, of_weekday
from slackwater.model.dynamics import days_to_recover, dip_path, held_back, threshold_of
from slackwater.model.levels import TRANSIENT, Motion, Steps, free_path, start_state
from slackwater.model.priors import LN_2
from slackwater.model.season import Season

Floats = NDArray[np.float64]


class Impulse(NamedTuple):
    """A typical dip as its first night shows it (ln) and the half-life it decays with (days)."""

    dip: float
    half_life_days: float

    @property
    def rate(self) -> float:
        """Recovery rate, 1/day."""
        return LN_2 / self.half_life_days


@dataclass(frozen=True)
class Truth:
    """What a simulated athlete is like.

    Attributes:
        baseline_ms: baseline on the first night, ms.
        types: each session type's typical impulse at dose 1.
        start: the unlogged dip on the first night.
        stressors: each stressor's typical impulse, one day of it.
        rate_ratios: recovery rate with over without each intervention.
        lifts: what an intervention adds to the reading of a night of its use, ln; 0 if left out.
        sensor_steps: what each sensor but the last adds to a reading, ln.
        week: what each day of the week adds to its readings, Monday first, ln; the mean is
            taken off.
        noise_sd: night-to-night SD of an ordinary night, ln.
        lingering: share of the noise's variance that lingers into the next nights.
        persistence: what is left of that after a night.
        noise_tail: SD of a night's log noise variance.
        drift_sd: baseline's random walk, ln per night.
        session_sd: session-to-session SD of log dip.
        first_night: share of a session's dip that its first night shows.
    """

    baseline_ms: float
    types: Mapping[str, Impulse]
    start: Impulse = Impulse(0.1, 2.5)
    stressors: Mapping[str, Impulse] = field(default_factory=dict)
    rate_ratios: Mapping[str, float] = field(default_factory=dict)
    lifts: Mapping[str, float] = field(default_factory=dict)
    sensor_steps: Mapping[str, float] = field(default_factory=dict)
    week: tuple[float, ...] = (0.0,) * 7
    noise_sd: float = 0.12
    lingering: float = 0.0
    persistence: float = 0.5
    noise_tail: float = 0.5
    drift_sd: float = 0.008
    session_sd: float = 0.25
    first_night: float = 1.0

    def typical_days(self) -> dict[str, float]:
        """Return each type's days to recover from a typical session at dose 1."""
        threshold = threshold_of(np.asarray(self.noise_sd))
        return {
            name: float(
                days_to_recover(np.asarray(i.dip / self.first_night), threshold, np.asarray(i.rate))
            )
            for name, i in self.types.items()
        }


class Simulated(NamedTuple):
    """A simulated season with the paths behind its readings.

    Attributes:
        season: what an athlete would have logged.
        baseline: ln ms, shape (N,).
        dip: all dips together on each night, ln, shape (N,), whether the first night
            shows them in full or not.
    """

    season: Season
    baseline: Floats
    dip: Floats


def simulate(truth: Truth, plan: Season, rng: np.random.Generator) -> Simulated:
    """Draw the readings of a planned season.

    Args:
        truth: what the athlete is like; must know every type, stressor and intervention.
        plan: a season whose readings say only which nights are read, by which sensor; what is
            logged for later than these can show stays in the log, and is not felt.
        rng: source of randomness.
    """
    felt = plan.observed()
    design = design_of(felt)
    rates, dips = _events(truth, felt, design, rng)
    ratios = [np.log(truth.rate_ratios[name]) for name in felt.interventions]
    speed = np.exp(np.asarray(ratios, float) @ design.applied)
    events = (design.event_nights, design.event_groups)
    dip = dip_path(dips[None], *events, rates[None], speed[None])[0].sum(axis=1)
    share = np.ones(len(dips))
    share[1 : 1 + len(design.dose)] = truth.first_night
    hidden = held_back(dips[None], design.event_nights, share, len(dip))[0]
    baseline = _baseline(truth, len(dip), rng)
    noise_log_variance = truth.noise_tail * rng.standard_normal(len(dip))
    noise = truth.noise_sd * np.exp(noise_log_variance / 2) * rng.standard_normal(len(dip))
    noise *= np.sqrt(1 - truth.lingering)
    if truth.lingering:
        noise += _transient(truth, len(dip), rng)
    sensors = plan.data[n.SENSOR].values[plan.data[n.NIGHT_SENSOR].values]
    shift = np.array([truth.sensor_steps.get(str(s), 0.0) for s in sensors])
    shift += np.array([truth.lifts.get(m, 0.0) for m in felt.interventions]) @ design.applied
    shift += of_weekday(plan.nights) @ np.array(truth.week)
    readings = np.where(plan.read, baseline - dip + hidden + shift + noise, np.nan)
    return Simulated(plan.with_readings(readings), baseline, dip)


def _events(
    truth: Truth, plan: Season, design: Design, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    groups = [
        *(truth.types[t] for t in plan.types),
        *(truth.stressors[s] for s in plan.stressors),
        truth.start,
    ]
    forgotten = len(design.unlogged_nights)  # nothing was
    known = len(design.event_groups) - forgotten
    rates = [g.rate for g in groups] + [truth.start.rate] * bool(forgotten)
    typical = np.array([g.dip for g in groups])[design.event_groups[:known]]
    scatter = np.exp(truth.session_sd * rng.standard_normal(known))
    scatter[0] = 1.0  # the start is one dip, not a draw of a type
    dose = np.ones(known)
    dose[1 : 1 + len(design.dose)] = design.dose / truth.first_night
    return np.array(rates), np.concatenate([dose * typical * scatter, np.zeros(forgotten)])


def _baseline(truth: Truth, nights: int, rng: np.random.Generator) -> Floats:
    steps = truth.drift_sd * rng.standard_normal(nights)
    steps[0] = np.log(truth.baseline_ms)
    return np.cumsum(steps)


def _transient(truth: Truth, nights: int, rng: np.random.Generator) -> Floats:
    nothing = np.zeros(1)
    motion = Motion(
        nothing, nothing + truth.lingering * truth.noise_sd**2, nothing + truth.persistence
    )
    steps = Steps(*np.zeros((3, nights)))
    start = start_state(nothing, nothing, motion, steps)
    return np.asarray(free_path(motion, steps, start, nights, rng)[TRANSIENT, 0])


def plan_season(
    name: str,
    nights: pd.DataFrame,
    sessions: pd.DataFrame | None = None,
    types: pd.DataFrame | None = None,
    interventions: pd.DataFrame | None = None,
    stressors: pd.DataFrame | None = None,
) -> Season:
    """Return a season without readings yet, to hand to `simulate`.

    Args:
        name: the season's name.
        nights: `date` of each night that will be read; optional `sensor`.
        sessions: as for `Season.from_tables`, like the other tables.
        types: the types' attributes.
        interventions: days on which a measure is applied.
        stressors: days on which a stressor acts.
    """
    readings = nights.assign(log_rmssd=0.0)
    return Season.from_tables(name, readings, sessions, types, interventions, stressors)
