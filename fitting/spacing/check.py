"""Planned against done: what became of the plans that were kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level, interval
from slackwater.fitting.describing.ahead import one_step_errors
from slackwater.fitting.describing.held import held, percent
from slackwater.fitting.describing.looks import means
from slackwater.fitting.records.plans import Session, holding
from slackwater.fitting.spacing.done import (
    MISSED,
    MOVED,
    MOVED_AT_MOST,
    ON_THE_DAY,
    TO_COME,
    Done,
    became_of,
    beside,
    followed,
)
from slackwater.fitting.spacing.overtaken import overtaken
from slackwater.fitting.spacing.session import day_of, log_of
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.past import Past
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.paths import threshold
from slackwater.model.season import DAY

FEW: Final = 10
_SIMULATED: Final = 40_000  # counts drawn from what was promised
_REPEATS: Final = 20  # shares drawn for each draw of the posterior


@dataclass(frozen=True)
class PromisedSession:
    """What became of a planned session.

    Attributes:
        date: the day that it was planned for.
        type: its type.
        promised: the chance to be recovered that was promised.
        status: on the day, moved, missed or to come.
        done_on: when it was done; None where it was not.
        followed: whether all until its day was as planned.
        chance_back: the chance to have been recovered on the morning of the day it was done;
            None where the fit does not reach.
    """

    date: dt.date
    type: str
    promised: float
    status: str
    done_on: dt.date | None
    followed: bool
    chance_back: float | None


@dataclass(frozen=True)
class SpacingCheck(Answer):
    """What was done of the plans kept, and how often their promise held.

    Attributes:
        overtaken: why what is still to come no longer holds; empty where it does.
        plans: how many were kept.
        replaced: how many planned sessions a later plan replaced.
        planned: the others, in order of date.
        counts: how many of them are on the day, moved, missed and to come.
        done: how many were done on a morning that the fit reaches.
        done_back: how many of these began recovered.
        judged: how many of these were done on the day, with the plan followed until then.
        promised_mean: mean of the chances promised of those judged; None where there are none.
        promised_count: how many of them the promises let expect, by chance alone.
        back_count: how many of them began recovered.
        share_back: the share of such mornings on which the athlete is recovered.
        done_beside: how many sessions were done on plan days beside the plans.
        readings_off_percent: how far readings lay on these mornings off what the nights before
            foretold; NaN for fewer than 5. Where recovery is otherwise than the model has it, dips
            that decay as it has them cannot show that, and readings can.
        verdict: as promised, less or more often than promised, or cannot tell; by those dips.
        verdict_rule: what makes which.
        judged_rule: which promises are judged.
        moved_rule: what counts as moved, and as missed.
        share_rule: how mornings are judged.
    """

    overtaken: tuple[Reason, ...]
    plans: int
    replaced: int
    planned: tuple[PromisedSession, ...]
    counts: Mapping[str, int]
    done: int
    done_back: Interval
    judged: int
    promised_mean: float | None
    promised_count: Interval
    back_count: Interval
    share_back: Interval
    readings_off_percent: Interval
    done_beside: int
    verdict: str
    verdict_rule: Reason = Reason("promise verdict rule")
    judged_rule: Reason = Reason("promise judged rule")
    moved_rule: Reason = Reason("moved session rule", days=MOVED_AT_MOST)
    share_rule: Reason = Reason("promise share rule")


def check_spacing(athlete: Athlete, level: float = DEFAULT_LEVEL) -> SpacingCheck:
    """Answer what was done of the plans that were kept, and how often the promise held.

    Args:
        athlete: the season, what was learnt of it, and the plans kept.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: no plan was kept.
    """
    check_level(level)
    now = athlete.now
    planned = holding(athlete.plans)
    if not planned.sessions:
        raise NoAnswerError(Reason("no plan kept"))
    log = log_of(now.season)
    became = became_of(planned.sessions, log, day_of(now.night))
    back = _back(athlete.past_as_fitted, [done.date for done in became])
    known = np.isfinite(back[:, 0])
    kept = [followed(s, p, log) for s, p in zip(planned.sessions, planned.plans, strict=True)]
    judged = known & kept & [done.status == ON_THE_DAY for done in became]
    promised = np.array([s.chance for s in planned.sessions])[judged]
    mean = float(promised.mean()) if len(promised) else None
    rng = now.rng()
    promised_count = interval(_by_chance(promised, rng), level)
    share_back = interval(_shares(back[judged], rng), level)
    last_night = str(athlete.posterior.last_night)
    return SpacingCheck(
        about(now, level, _warnings(became, known, len(promised), last_night)),
        overtaken=overtaken(athlete),
        plans=len(athlete.plans),
        replaced=planned.replaced,
        planned=tuple(map(_row, planned.sessions, became, kept, back.mean(axis=1).tolist())),
        counts={
            status: sum(done.status == status for done in became)
            for status in (ON_THE_DAY, MOVED, MISSED, TO_COME)
        },
        done=int(known.sum()),
        done_back=interval(back[known].sum(axis=0), level),
        judged=len(promised),
        promised_mean=mean,
        promised_count=promised_count,
        back_count=interval(back[judged].sum(axis=0), level),
        share_back=share_back,
        readings_off_percent=_readings_off(
            athlete.past_as_fitted,
            [done.date for done, its in zip(became, judged, strict=True) if its],
            level,
        ),
        done_beside=beside(athlete.plans, log, became, planned.sessions),
        verdict=_verdict(mean, share_back),
    )


def _row(session: Session, done: Done, as_planned: bool, back: float) -> PromisedSession:
    return PromisedSession(
        date=session.date,
        type=session.type,
        promised=session.chance,
        status=done.status,
        done_on=done.date,
        followed=as_planned,
        chance_back=back if isfinite(back) else None,
    )


def _back(past: Past, mornings: Sequence[dt.date | None]) -> Floats:
    """Return 1 where the dips lay under the threshold, (mornings, S); NaN where not known."""
    under = threshold(past.draws, past.season)
    back = np.full((len(mornings), len(under)), np.nan)
    for row, morning in enumerate(mornings):
        night = -1 if morning is None else _night_of(past, morning)
        if 0 <= night < len(past.season.nights):
            back[row] = past.left_on(night).sum(axis=1) <= under
    return back


def _readings_off(past: Past, mornings: Sequence[dt.date | None], level: float) -> Interval:
    """Return how far the readings of mornings lie off what the nights before foretold."""
    nights = [_night_of(past, morning) for morning in mornings if morning is not None]
    errors = one_step_errors(past)
    mean = means(errors, {"these": np.isin(errors.nights, nights)}).get("these")
    if mean is None:
        return Interval(np.nan, np.nan, np.nan)
    return Interval(*held(mean.score, level, percent)["value"])


def _night_of(past: Past, morning: dt.date) -> int:
    return int((np.datetime64(morning) - past.season.first_night) / DAY)


def _by_chance(promised: Floats, rng: np.random.Generator) -> Floats:
    """Draw how often the athlete is back if each promise is right."""
    if not len(promised):
        return np.array([np.nan])
    kept = rng.random((_SIMULATED, len(promised))) < promised
    return np.asarray(kept.sum(axis=1), float)


def _shares(back: Floats, rng: np.random.Generator) -> Floats:
    """Draw the share of such mornings on which the athlete is back, from its posterior.

    For each draw, mornings are trials with one chance and its Jeffreys prior.
    """
    trials = len(back)
    if not trials:
        return np.array([np.nan])
    count = np.repeat(back.sum(axis=0), _REPEATS)
    return rng.beta(count + 0.5, trials - count + 0.5)


def _verdict(promised_mean: float | None, share_back: Interval) -> str:
    if promised_mean is None:
        return "cannot tell"
    if promised_mean > share_back.high:
        return "less often than promised"
    return "more often than promised" if promised_mean < share_back.low else "as promised"


def _warnings(
    became: Sequence[Done], known: NDArray[np.bool_], judged: int, last_night: str
) -> list[Reason]:
    said = []
    unseen = sum(done.date is not None for done in became) - int(known.sum())
    if unseen:
        said.append(Reason("done after the fit", count=unseen, last_night=last_night))
    if 0 < judged < FEW:
        said.append(Reason("few promises judged", judged=judged, enough=FEW))
    return said
