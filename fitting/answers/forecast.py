"""The coming readings, and the days until back at baseline."""

from __future__ import annotations

import datetime

import numpy as np
import xarray as xr

from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.state.ahead import FARTHEST, Ahead, days_until_baseline, look_ahead
from slackwater.fitting.state.new_mornings import Event
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import QuestionError, unknown_name
from slackwater.model.season import DAY


def planned_session(now: Standing, date: np.datetime64, label: str, dose: float = 1.0) -> Event:
    """Return a session planned for a date.

    Raises:
        QuestionError: the type is unknown to the fit, or the date lies before the last
            reading or too far after it.
    """
    types = [str(t) for t in now.draws[n.TYPE].values] if n.TYPE in now.draws.coords else []
    if label not in types:
        raise unknown_name("session type", label, types)
    if date < now.night:
        raise QuestionError(
            f"A session planned for {date} lies before the last reading ({now.night}); "
            "log it in sessions.csv instead."
        )
    night = int((date + DAY - now.night) / DAY)
    if night > FARTHEST:
        raise QuestionError(
            f"A session planned for {date} is felt more than {FARTHEST} nights after the last "
            f"reading ({now.night}), farther than a forecast reaches; plan it nearer."
        )
    return Event(night, label, dose)


def parse_session(now: Standing, text: str) -> Event:
    """Return the planned session that "DATE:TYPE" names.

    Raises:
        QuestionError: not of that form, or as for `planned_session`.
    """
    date, _, label = text.partition(":")
    try:
        day = datetime.date.fromisoformat(date.strip())
    except ValueError:
        day = None
    # fromisoformat also reads 20310502 and week dates, which the season's files do not.
    if day is None or str(day) != date.strip() or not label.strip():
        raise QuestionError(
            f"{text!r} names no session; write it as DATE:TYPE, such as 2031-05-02:{_a_type(now)}"
        )
    return planned_session(now, np.datetime64(day), label.strip())


def _a_type(now: Standing) -> str:
    return str(now.draws[n.TYPE].values[0]) if n.TYPE in now.draws.coords else "row"


def forecast(
    now: Standing,
    nights: int = 1,
    planned: list[Event] | None = None,
    level: float = DEFAULT_LEVEL,
) -> xr.Dataset:
    """Answer what the coming readings will be, and when the athlete is back.

    Args:
        now: the state, from `standing`.
        nights: how many nights, 1 to 60.
        planned: sessions to come, beside those logged; rest if left out.
        level: credible mass of every interval.

    Returns:
        Dimension `night` (dates of the mornings): `rmssd_ms` (with `bound`), `ln_mean`,
        `ln_sd`, `state_ms` (with `bound`; the reading without its noise),
        `chance_at_baseline`; scalar `days_to_baseline` (with `bound`), days
        from the last reading's morning.

    Raises:
        QuestionError: no night, or more than 60, asked for.
    """
    if not 1 <= nights <= FARTHEST:
        raise QuestionError(f"A forecast reaches 1 to {FARTHEST} nights ahead, not {nights}.")
    planned = planned or []
    ahead = look_ahead(now, nights, planned)
    mean, sd = _moments(now, ahead)
    data = xr.Dataset(
        {
            "rmssd_ms": interval(np.exp(ahead.reading), level, (n.NIGHT,)),
            "state_ms": interval(np.exp(ahead.level - ahead.shown), level, (n.NIGHT,)),
            "ln_mean": (n.NIGHT, mean),
            "ln_sd": (n.NIGHT, sd),
            "chance_at_baseline": (
                n.NIGHT,
                (ahead.dip <= now.threshold[:, None]).mean(axis=0),
            ),
            "days_to_baseline": interval(days_until_baseline(now, planned), level),
        },
        coords={n.NIGHT: ahead.dates.astype("datetime64[ns]")},
    )
    sessions = [f"{now.night + DAY * (e.night - 1)} {e.label}" for e in [*now.pending, *planned]]
    return answer(data, "forecast", now, level, [], sessions=sessions)


def _moments(now: Standing, ahead: Ahead) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and SD of the readings' log, noise and drift taken in exactly."""
    centre = now.level_mean[:, None] - ahead.shown
    tail = now.parameter(n.NOISE_TAIL)
    noise = now.parameter(n.NOISE_SD) ** 2 * np.exp(tail**2 / 2)
    variance = (ahead.level_variance + noise[:, None]).mean(axis=0) + centre.var(axis=0)
    return centre.mean(axis=0), np.sqrt(variance)
