"""Whether the model describes a season, and where it does not: the question "residuals"."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import Answer, about, readings_left_out
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL
from slackwater.fitting.describing import looks
from slackwater.fitting.describing.ahead import OneStepErrors, one_step_errors
from slackwater.fitting.describing.findings import findings
from slackwater.fitting.describing.held import (
    AfterSession,
    Held,
    Night,
    OnWeekday,
    Sides,
    correlation,
    held,
    looked,
    percent,
    ratio,
)
from slackwater.fitting.describing.scores import FALSE_ALARMS
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.past import past_of
from slackwater.model import names as n
from slackwater.model.dynamics import Ints
from slackwater.model.errors import Reason
from slackwater.model.season import Season

DRAWS: Final = 1000  # of the posterior that residuals are taken at


@dataclass(frozen=True)
class Residuals(Answer):
    """Whether the model describes the season.

    Attributes:
        describes: whether nothing departs.
        found: what departs and what that means for the answers, the most unlikely of each group
            of looks, the most unlikely of all first.
        false_alarms: share of seasons that the model describes in which anything departs.
        readings: readings looked at, all that were fitted but the first.
        lag_1_autocorrelation: of the residuals of one night and the next.
        by_weekday: residuals by weekday.
        by_nights_since_session: residuals by nights since the last session.
        by_type: the same after sessions of each type.
        scatter_later_over_earlier: SD of residuals in the later half over that in the earlier.
        far_nights: far residuals, low against high.
        furthest: the night whose residual lies furthest from the model.
        low_stretch: the lowest few nights in a row.
        dose_power: the power of the dose that dips grow with; None where doses hardly differ.
        nights: dimension `night`, the readings: `residual_percent`, off what was foretold.
        rule: what a residual is.
    """

    describes: bool
    found: tuple[Reason, ...]
    false_alarms: float
    readings: int
    lag_1_autocorrelation: Held
    by_weekday: tuple[OnWeekday, ...]
    by_nights_since_session: tuple[AfterSession, ...]
    by_type: tuple[AfterSession, ...]
    scatter_later_over_earlier: Held
    far_nights: Sides
    furthest: Night
    low_stretch: Night
    dose_power: Held | None
    nights: xr.Dataset
    rule: Reason


def residuals(athlete: Athlete, level: float = DEFAULT_LEVEL) -> Residuals:
    """Answer whether the model describes the season; readings since the fit are left out.

    Args:
        athlete: the season and what was learnt of it.
        level: mass of the estimates' intervals; what departs does not hang on it.

    Raises:
        NoAnswerError: the fit is not to be trusted, or the past was edited since.
    """
    meant = about(athlete.as_fitted, level, readings_left_out(athlete))
    past = past_of(athlete.as_fitted, athlete.posterior, DRAWS)
    season, errors = past.season, one_step_errors(past)
    nights = season.nights
    replicates = past.rng().standard_normal((looks.REPLICATES, errors.error.shape[1]))
    low, high = looks.far_nights(errors)
    furthest = looks.furthest(errors, past.draws[n.NOISE_TAIL].values)
    low_stretch = looks.low_stretch(errors, replicates)
    since, of = looks.nights_since(season, errors.nights)
    lag_1 = held(looks.lag_1(errors, replicates), level, correlation)
    scatter = held(looks.scatter(errors, replicates), level, ratio)
    facts: dict[str, Any] = {
        "lag_1_autocorrelation": Held(**lag_1),
        "by_weekday": _by_weekday(errors, nights[errors.nights], level),
        "by_nights_since_session": _after_any(errors, since, level),
        "by_type": _after_types(errors, since, of, season.types, level),
        "scatter_later_over_earlier": Held(**scatter),
        "far_nights": Sides(**looked(looks.lopsided(errors)), low=low, high=high),
        "furthest": Night(
            **looked(furthest, two_sided=False), date=nights[looks.furthest_night(errors)]
        ),
        "low_stretch": Night(
            **looked(low_stretch, two_sided=False), date=nights[looks.lowest_stretch(errors)]
        ),
        "dose_power": _dose_power(athlete.posterior.draws, season, level),
    }
    found = findings(facts)
    return Residuals(
        meant,
        describes=not found,
        found=found,
        false_alarms=FALSE_ALARMS,
        readings=len(errors.nights),
        nights=_nights(errors, nights[errors.nights]),
        rule=Reason("residual ahead"),
        **facts,
    )


def after_types(athlete: Athlete, level: float = DEFAULT_LEVEL) -> tuple[AfterSession, ...]:
    """Return how readings lie on the mornings after sessions of each type, until the next session.

    Each morning is judged by the nights before it. Sessions that do not recover as the model has
    it show here: their readings lie lower at first and higher later than foretold, or the other
    way round.

    Args:
        athlete: the season and what was learnt of it; readings since the fit are left out.
        level: mass of the estimates' intervals.
    """
    past = past_of(athlete.as_fitted, athlete.posterior, DRAWS)
    errors = one_step_errors(past)
    since, of = looks.nights_since(past.season, errors.nights)
    return _after_types(errors, since, of, past.season.types, level)


def _by_weekday(
    errors: OneStepErrors, dates: NDArray[np.datetime64], level: float
) -> tuple[OnWeekday, ...]:
    means = looks.means(errors, looks.by_weekday(dates))
    return tuple(
        OnWeekday(
            **held(mean.score, level, percent, cells=len(means)),
            weekday=day,
            readings=mean.readings,
        )
        for day, mean in means.items()
    )


def _after_any(errors: OneStepErrors, since: Ints, level: float) -> tuple[AfterSession, ...]:
    means = looks.means(errors, looks.by_nights_since(since))
    return tuple(
        AfterSession(
            **held(mean.score, level, percent, cells=len(means)),
            first_night=night,
            last_night=None if night == looks.LATEST else night,
            readings=mean.readings,
        )
        for night, mean in means.items()
    )


def _after_types(
    errors: OneStepErrors, since: Ints, of: list[set[str]], types: list[str], level: float
) -> tuple[AfterSession, ...]:
    means = looks.means(errors, looks.by_type(since, of, types))
    return tuple(
        AfterSession(
            **held(mean.score, level, percent, cells=len(means)),
            first_night=span[0],
            last_night=span[1],
            readings=mean.readings,
            type=label,
        )
        for (label, span), mean in means.items()
    )


def _dose_power(draws: xr.Dataset, season: Season, level: float) -> Held | None:
    if n.SESSION_Z not in draws:
        return None
    every = looks.dose_power(season, draws[n.SESSION_Z].values, draws[n.SESSION_SD].values)
    return None if every is None else Held(**held(every, level, float, model=1.0))


def _nights(errors: OneStepErrors, dates: NDArray[np.datetime64]) -> xr.Dataset:
    off = 100 * np.expm1((errors.error * errors.sd).mean(axis=0))
    return xr.Dataset(
        {"residual_percent": (n.NIGHT, off)}, coords={n.NIGHT: dates.astype("datetime64[ns]")}
    )
