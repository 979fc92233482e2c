"""The coming readings, and the days until back at baseline."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Answer, Unexplained, about, unexplained
from slackwater.fitting.answers.intervals import (
    DEFAULT_LEVEL,
    Interval,
    interval,
    interval_of,
    intervals,
)
from slackwater.fitting.doubts.season import FAR
from slackwater.fitting.mornings import LEVEL, Morning, Mornings
from slackwater.fitting.state.ahead import FARTHEST, Ahead, days_until_baseline, look_ahead
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.back import back_by
from slackwater.fitting.state.standing import Event, Standing
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, QuestionError, Reason, unknown_name
from slackwater.model.paths import noise_variance
from slackwater.model.season import DAY

KEPT_NIGHTS: Final = 7  # a week without a reading
_KEPT_DRAWS: Final = 100  # enough for the chance of a reading far out


class PlannedSession(NamedTuple):
    """A session to come.

    Attributes:
        date: its day.
        type: a session type of the fit.
        dose: 1 = that type's usual session.
    """

    date: np.datetime64
    type: str
    dose: float = 1.0


@dataclass(frozen=True)
class Forecast(Answer):
    """What comes after the last reading.

    Attributes:
        days_to_baseline: days from that reading until back at baseline.
        back_by: the first morning, once all that is logged or planned was felt, on which the
            chance of baseline is four in five; None where there is none within 60 days.
        sessions: what is taken in, logged or planned, "DATE LABEL".
        nights: dimension `night` (dates of the mornings): `rmssd_ms` (with `bound`), `state_ms`
            (with `bound`; baseline minus what a reading shows of the dips), `ln_mean` and `ln_sd`
            of the reading, `chance_at_baseline`.
        unexplained: what holds readings down now and is not in the log; None where nothing is. It
            is foreseen to pass, at a rate of which little is known.
    """

    days_to_baseline: Interval
    back_by: np.datetime64 | None
    sessions: tuple[str, ...]
    nights: xr.Dataset
    unexplained: Unexplained | None


def forecast(
    athlete: Athlete,
    nights: int = 1,
    planned: Iterable[PlannedSession] = (),
    level: float = DEFAULT_LEVEL,
) -> Forecast:
    """Answer what the coming readings will be, and when the athlete is back.

    Args:
        athlete: the season and what was learnt of it.
        nights: how many nights, 1 to 60.
        planned: sessions to come, beside those logged; rest if left out.
        level: credible mass of every interval.

    Raises:
        QuestionError: no night, or more than 60, asked for; a planned session's type is unknown
            to the fit, its dose not above 0, or its day before the last reading or too far after
            it.
        NoAnswerError: a session's dose lies far beyond all that the season has shown.
    """
    now = athlete.now
    events = planned_events(now, planned)
    coming = _coming(now, _ahead(now, nights, events), level)
    return Forecast(
        about(now, level),
        days_to_baseline=interval(days_until_baseline(now, events), level),
        back_by=back_by(now, events),
        sessions=tuple(
            f"{now.night + DAY * (e.night - 1)} {e.label}" for e in now.pending + events
        ),
        nights=coming,
        unexplained=unexplained(now, level),
    )


def coming_mornings(athlete: Athlete, nights: int = KEPT_NIGHTS) -> Mornings:
    """Return the same of the coming mornings' readings in plain numbers, which can be kept.

    Args:
        athlete: the season and what was learnt of it.
        nights: how many, 1 to 60.

    Raises:
        NoAnswerError: nothing may be answered, as for `forecast`.
        QuestionError: no night, or more than 60.
    """
    now = athlete.now
    ahead = _ahead(now, nights, [])
    foretold = _coming(now, ahead, LEVEL)
    some = slice(None, None, max(1, len(now.rates) // _KEPT_DRAWS))
    centre = (ahead.expected - ahead.shown + ahead.shift)[some]
    ordinary = np.sqrt(noise_variance(now.draws, np.zeros((len(now.rates), 1)))[some, 0])
    variance = ahead.level_variance[some]
    return Mornings(
        str(now.night),
        ordinary.tolist(),
        now.parameter(n.NOISE_TAIL)[some].tolist(),
        [
            Morning(
                str(ahead.dates[night]),
                *interval_of(foretold["rmssd_ms"][night]),
                float(foretold["ln_mean"][night]),
                float(foretold["ln_sd"][night]),
                centre[:, night].tolist(),
                variance[:, night].tolist(),
            )
            for night in range(nights)
        ],
    )


def planned_events(now: Standing, planned: Iterable[PlannedSession]) -> list[Event]:
    """Return planned sessions as a state carried forward takes them.

    Raises:
        QuestionError: one cannot be planned, as for `forecast`.
    """
    return [_event(now, session) for session in planned]


def _event(now: Standing, planned: PlannedSession) -> Event:
    date, label, dose = planned
    if not dose > 0:
        raise QuestionError(f"The dose of a planned session is a number above 0, not {dose:g}.")
    if label not in now.types:
        raise unknown_name("session type", label, now.types)
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


def _refuse_unseen_doses(now: Standing, events: Iterable[Event]) -> None:
    """Refuse to say what a dose does that lies far beyond all that any session had.

    Raises:
        NoAnswerError: there is such a dose.
    """
    shown = now.season.through(now.fitted_to).data[n.DOSE].values
    most = float(shown.max(initial=1.0))
    for event in events:
        if event.dose > FAR * most:
            raise NoAnswerError(
                Reason("a dose never shown", label=event.label, dose=event.dose, most=most)
            )


def _ahead(now: Standing, nights: int, planned: list[Event]) -> Ahead:
    if not 1 <= nights <= FARTHEST:
        raise QuestionError(f"A forecast reaches 1 to {FARTHEST} nights ahead, not {nights}.")
    _refuse_unseen_doses(now, [*now.pending, *planned])
    return look_ahead(now, nights, planned)


def _coming(now: Standing, ahead: Ahead, level: float) -> xr.Dataset:
    mean, sd = _moments(now, ahead)
    return xr.Dataset(
        {
            "rmssd_ms": intervals(np.exp(ahead.reading), level, (n.NIGHT,)),
            "state_ms": intervals(np.exp(ahead.level - ahead.shown), level, (n.NIGHT,)),
            "ln_mean": (n.NIGHT, mean),
            "ln_sd": (n.NIGHT, sd),
            "chance_at_baseline": (n.NIGHT, (ahead.dip <= now.threshold[:, None]).mean(axis=0)),
        },
        coords={n.NIGHT: ahead.dates.astype("datetime64[ns]")},
    )


def _moments(now: Standing, ahead: Ahead) -> tuple[Floats, Floats]:
    """Return mean and SD of the readings' log, noise and drift taken in exactly."""
    # A row for each night: sums then end in the same digits, however many nights are asked for.
    centre = np.ascontiguousarray((ahead.expected - ahead.shown + ahead.shift).T)
    tail = now.parameter(n.NOISE_TAIL)[:, None]
    noise = noise_variance(now.draws, tail / 2)  # its mean over nights' scales
    within = np.ascontiguousarray((ahead.level_variance + noise).T).mean(axis=1)
    return centre.mean(axis=1), np.sqrt(within + centre.var(axis=1))
