"""What an open trial asks for on one day, and how far it has come. No result is shown."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Answer, about_season
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL
from slackwater.fitting.records.lots import WITH, WITHOUT, Arm
from slackwater.fitting.records.trials import open_trial
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.trials.followed import follow
from slackwater.fitting.trials.stretches import Stretch
from slackwater.model import names as n


@dataclass(frozen=True)
class StretchToday:
    """The stretch that a day belongs to.

    Attributes:
        type: of its session; "recovered day" for a day drawn by itself.
        first: the session's day.
        until: its last day, unless another session comes before.
        days: how many that makes.
    """

    type: str
    first: np.datetime64
    until: np.datetime64
    days: int


@dataclass(frozen=True)
class TrialToday(Answer):
    """What an open trial asks for on one day.

    Attributes:
        measure: the measure under trial.
        status: planned or running.
        start: first day on which a session belongs to the trial.
        day: the day asked about.
        use: whether to use the measure; None where nothing is assigned.
        stretch: the stretch that the day belongs to; None where nothing is assigned.
        complete: whether the planned number is reached.
        missed: days on which the measure was assigned and not logged.
        strayed: days on which it was logged and not assigned.
        marked: first days of stretches with a stressor.
        sessions_per_arm: the planned number.
        reached: sessions of each arm that tell of recovery.
        recovered: recovered days of each arm that were read; None where none are drawn.
        types: dimension `type` (the trial's): `sessions_with` and `sessions_without` begun;
            `counted_with` and `counted_without`, those of them that tell of recovery.
    """

    measure: str
    status: str
    start: dt.date
    day: np.datetime64
    use: bool | None
    stretch: StretchToday | None
    complete: bool
    missed: tuple[np.datetime64, ...]
    strayed: tuple[np.datetime64, ...]
    marked: tuple[np.datetime64, ...]
    sessions_per_arm: int
    reached: Mapping[Arm, int]
    recovered: Mapping[Arm, int] | None
    types: xr.Dataset


def trial_today(
    athlete: Athlete, day: np.datetime64 | None = None, level: float = DEFAULT_LEVEL
) -> TrialToday:
    """Answer whether the measure is to be used on a day, and until when.

    The arm of a session is told once the session is logged and not before, so that which
    session is done, and when, cannot follow from it.

    Args:
        athlete: the season and its trials; one of them must be open.
        day: the day asked about; the last reading's if left out.
        level: as for every answer; no interval is shown.

    Raises:
        NoAnswerError: no trial is open.
    """
    season, trial = athlete.season, open_trial(athlete.trials)
    plan = trial.plan
    day = season.last_night if day is None else day
    followed = follow(season, plan, day)
    running = followed.stretches
    today = next((s for s in running if s.first <= day <= s.last), None)
    stretch = None
    if today is not None:
        stretch = StretchToday(today.label, today.first, today.last, len(today.days))
    return TrialToday(
        about_season(season, level, followed.dangers()),
        measure=plan.measure,
        status=trial.status(season.last_night.astype(object)),
        start=plan.start,
        day=day,
        use=None if today is None else today.arm == WITH,
        stretch=stretch,
        complete=followed.complete,
        missed=tuple(followed.missed(day)),
        strayed=tuple(followed.strayed(day)),
        marked=tuple(s.first for s in running if s.stressors),
        sessions_per_arm=plan.sessions_per_arm,
        reached=followed.reached,
        recovered=followed.recovered if plan.recovered_after else None,
        types=_by_type(running, list(plan.types)),
    )


def _by_type(stretches: Sequence[Stretch], labels: list[str]) -> xr.Dataset:
    counts, told = {}, [s for s in stretches if s.counts]
    for arm in (WITH, WITHOUT):
        for name, among in (("sessions", stretches), ("counted", told)):
            done = [s.label for s in among if s.arm == arm]
            counts[f"{name}_{arm}"] = (n.TYPE, [done.count(label) for label in labels])
    return xr.Dataset(counts, coords={n.TYPE: labels})
