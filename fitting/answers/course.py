"""The course of a season: readings, the state under them and baseline, night by night."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, intervals
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.past import Past, ending_in
from slackwater.model import names as n


@dataclass(frozen=True)
class SessionDone:
    """One session that was done.

    Attributes:
        date: its day.
        type: its session type.
    """

    date: np.datetime64
    type: str


@dataclass(frozen=True)
class Course(Answer):
    """Where state and baseline lay on every night.

    Attributes:
        nights: dimension `night`, every calendar day up to the last reading: `rmssd_ms`
            (readings, NaN where not read), `state_ms` (with `bound`; baseline minus what is left
            of all dips, as a reading shows them) and `baseline_ms` (with `bound`), both on the
            scale of the latest sensor fitted; where there is another sensor,
            `same_sensor_rmssd_ms`, the readings on that scale (middle estimate).
        sessions: all that are logged, those that no reading shows yet among them.
        draws_used: how many draws of the posterior it rests on.
    """

    nights: xr.Dataset
    sessions: tuple[SessionDone, ...]
    draws_used: int


def course(athlete: Athlete, level: float = DEFAULT_LEVEL) -> Course:
    """Answer where state and baseline lay on every night, judged by all readings.

    Args:
        athlete: the season and what was learnt of it; readings since the fit are taken in.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: the fit is not to be trusted, the past was edited since, or what is new
            since the fit needs a new one.
    """
    now = athlete.now
    head, past = about(now, level), ending_in(athlete.past, now)
    return Course(
        head,
        nights=_nights(past, level),
        sessions=tuple(
            SessionDone(date.astype("datetime64[D]"), str(label))
            for date, label in zip(
                now.season.data[n.SESSION_DATE].values,
                now.season.data[n.SESSION_TYPE].values,
                strict=True,
            )
        ),
        draws_used=past.draws.sizes["sample"],
    )


def _nights(past: Past, level: float) -> xr.Dataset:
    state = past.level + past.unexplained - past.shown
    nights = xr.Dataset(
        {
            "rmssd_ms": (n.NIGHT, np.exp(past.readings)),
            "state_ms": intervals(np.exp(state), level, (n.NIGHT,)),
            "baseline_ms": intervals(np.exp(past.level), level, (n.NIGHT,)),
        },
        coords={n.NIGHT: past.season.nights.astype("datetime64[ns]")},
    )
    if past.sensor.any():
        same = np.exp(past.readings - np.median(past.sensor, axis=0))
        nights["same_sensor_rmssd_ms"] = (n.NIGHT, same)
    return nights
