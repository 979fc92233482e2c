"""The one answer of a morning: the reading, from when to train again, what plan and trial say."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from slackwater.fitting.answers.answer import Answer, Unexplained, about, unexplained
from slackwater.fitting.answers.baseline import standing_at
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval
from slackwater.fitting.records.lots import WITH, WITHOUT, Arm
from slackwater.fitting.records.plans import Session, holding
from slackwater.fitting.spacing.done import MISSED, became_of
from slackwater.fitting.spacing.overtaken import overtaken
from slackwater.fitting.spacing.session import Dated, day_of, log_of
from slackwater.fitting.state.ahead import FARTHEST, dips_by_group
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.back import FOUR_IN_FIVE, chances_back, check_chance, first_back
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials.today import TrialToday, trial_today
from slackwater.model import names as n
from slackwater.model.design import long_gaps
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.season import DAY, Season

LOOKED_BACK: Final = 7  # days in which what is missing in the log is told


@dataclass(frozen=True)
class TypeToday:
    """From when one session type may be done again.

    Attributes:
        type: the session type.
        last_done: the day it was last done, as far as it is logged; None where it never was.
        dip_left_ln: what is left of its own dips on the morning asked about, ln.
        from_: the first morning, from the one asked about on, on which the chance asked for is
            reached and no session is logged; None where there is none within 60 days, or while
            something unexplained holds readings down.
        chance_today: the chance to be recovered on the morning asked about.
    """

    type: str
    last_done: dt.date | None
    dip_left_ln: Interval
    from_: dt.date | None
    chance_today: float


@dataclass(frozen=True)
class Today(Answer):
    """The one answer of a morning.

    Attributes:
        morning: the morning asked about; after the last reading's where that is still to come.
        reading_ms: its reading; None where there is none yet.
        reading_percent: how far that lies over baseline, in percent, below 0 where under it; None
            without a reading.
        baseline_rmssd_ms: baseline.
        night_to_night_sd_ln: SD of an ordinary night's noise, what lingers included, ln.
        dip_left_ln: how far the state, which is without the night's noise, lies under it, ln.
        chance_asked: the chance to be recovered that is asked for.
        chance_at_baseline: the chance of it on that morning.
        at_baseline: "likely", "possibly" or "likely not", by the chance asked for.
        back_by: the first morning, from that one on, on which the chance asked for is reached at
            rest, after all that is logged; None where there is none within 60 days.
        unexplained: what holds readings down now and is not in the log; None where nothing is.
            Nothing is then offered for today.
        types: every session type.
        logged: the sessions logged for that day.
        planned: the type planned for that day; None where none is.
        next_planned: the next planned session after that day; None where there is none.
        overtaken: why the plan no longer holds; empty where it does, or there is none to come.
        measure: the measure that is on trial; None where none is.
        measure_today: whether the trial's lot asks for it that day: "with", "without", or None
            where nothing is assigned.
        measure_until: the last day for which it does, unless another session comes before.
        trial_complete: whether the trial can be judged.
        missing: what is missing in the log.
        stressors: what else weighed on the body in the week before, as far as it is logged.
    """

    morning: dt.date
    reading_ms: float | None
    reading_percent: float | None
    baseline_rmssd_ms: Interval
    night_to_night_sd_ln: Interval
    dip_left_ln: Interval
    chance_asked: float
    chance_at_baseline: float
    at_baseline: str
    back_by: dt.date | None
    unexplained: Unexplained | None
    types: tuple[TypeToday, ...]
    logged: tuple[str, ...]
    planned: str | None
    next_planned: Session | None
    overtaken: tuple[Reason, ...]
    measure: str | None
    measure_today: Arm | None
    measure_until: dt.date | None
    trial_complete: bool
    missing: tuple[Reason, ...]
    stressors: tuple[str, ...]


def morning_of(season: Season, clock: dt.date) -> np.datetime64:
    """Return the morning that a person means who asks on a day.

    It is that day's, read or not, as far as it can be foreseen from the last reading. A season
    that ended longer ago, or whose dates lie ahead of the clock, is asked about as it ended.

    Args:
        season: the season.
        clock: the day that it is.
    """
    today = np.datetime64(clock, "D")
    may_be_foreseen = season.last_night <= today <= season.last_night + DAY * FARTHEST
    return today if may_be_foreseen else season.last_night


def today(
    athlete: Athlete,
    chance: float = FOUR_IN_FIVE,
    morning: np.datetime64 | None = None,
    level: float = DEFAULT_LEVEL,
) -> Today:
    """Answer what this morning's reading means, and from when which training may come again.

    A morning counts as recovered as in a plan: all dips together lie under the threshold.

    Args:
        athlete: the season, what was learnt of it, its trials and plans.
        chance: the chance to be recovered that is asked for, above 0 and at most 0.99.
        morning: the morning asked about, at most 60 days after the last reading; that one's if
            left out.
        level: credible mass of every interval.

    Raises:
        QuestionError: the chance or the morning makes no sense.
        NoAnswerError: there is no posterior, or nothing may be answered from it.
    """
    check_chance(chance)
    now = athlete.now
    meant = about(now, level)
    day = day_of(now.night if morning is None else morning)
    ahead = _days_ahead(now, day)
    log = log_of(now.season)
    closed = {(row.date - day_of(now.night)).days for row in log}
    last_felt = max([ahead, *(e.night for e in now.pending)])
    chances = chances_back(now, FARTHEST)
    may_train = None if now.unexplained else first_back(chances, chance, ahead, closed)
    dips = dips_by_group(now, ahead)
    reading = _reading(now.season, day)
    baseline = interval(np.exp(now.baseline), level)
    held = holding(athlete.plans)
    trial = _trial(athlete, day, level)
    return Today(
        meant,
        morning=day,
        reading_ms=reading,
        reading_percent=None if reading is None else 100 * (reading / baseline.median - 1),
        baseline_rmssd_ms=baseline,
        night_to_night_sd_ln=interval(now.parameter(n.NOISE_SD), level),
        dip_left_ln=interval(dips.sum(axis=1), level),
        chance_asked=chance,
        chance_at_baseline=float(chances[ahead]),
        at_baseline=standing_at(float(chances[ahead]), chance),
        back_by=_date(now, first_back(chances, chance, last_felt)),
        unexplained=unexplained(now, level),
        types=tuple(
            TypeToday(
                label,
                last_done=max((r.date for r in log if r.type == label), default=None),
                dip_left_ln=interval(dips[:, now.groups.index(label)], level),
                from_=_date(now, may_train),
                chance_today=float(chances[ahead]),
            )
            for label in (*now.types, *now.unseen)
        ),
        logged=tuple(row.type for row in log if row.date == day),
        planned=next((s.type for s in held.sessions if s.date == day), None),
        next_planned=next((s for s in held.sessions if s.date > day), None),
        overtaken=overtaken(athlete),
        measure=trial.measure if trial else None,
        measure_today=_arm(trial),
        measure_until=day_of(trial.stretch.until) if trial and trial.stretch else None,
        trial_complete=bool(trial and trial.complete),
        missing=tuple(_missing(now.season, day, held.sessions, log, trial)),
        stressors=_lately(now.season, day),
    )


def _days_ahead(now: Standing, day: dt.date) -> int:
    ahead = (day - day_of(now.night)).days
    if not 0 <= ahead <= FARTHEST:
        raise QuestionError(
            f"{day} is not among the mornings from the last reading ({now.night}) to {FARTHEST} "
            "days after it; ask about one of these."
        )
    return ahead


def _date(now: Standing, morning: int | None) -> dt.date | None:
    return None if morning is None else day_of(now.night + DAY * morning)


def _reading(season: Season, day: dt.date) -> float | None:
    """Return a morning's reading on the scale of baseline; None where it was not read."""
    if np.datetime64(day) > season.last_night:
        return None
    return float(np.exp(season.data[n.LOG_RMSSD].values[-1]))


def _trial(athlete: Athlete, day: dt.date, level: float) -> TrialToday | None:
    try:
        return trial_today(athlete, np.datetime64(day), level)
    except NoAnswerError:  # none is open
        return None


def _arm(trial: TrialToday | None) -> Arm | None:
    if trial is None or trial.use is None or trial.complete:
        return None
    return WITH if trial.use else WITHOUT


def _lately(season: Season, day: dt.date) -> tuple[str, ...]:
    """Return the stressors logged in the week up to a day, each once."""
    dates = season.data[n.STRESSOR_DATE].values.astype("datetime64[D]")
    since = np.datetime64(day) - dates
    recent = (since >= 0 * DAY) & (since <= LOOKED_BACK * DAY)
    return tuple(dict.fromkeys(map(str, season.data[n.STRESSOR_LABEL].values[recent])))


def _missing(
    season: Season,
    day: dt.date,
    planned: list[Session],
    log: list[Dated],
    trial: TrialToday | None,
) -> Iterator[Reason]:
    """Yield what the log lacks, of this morning and of the week before it."""
    week = day - dt.timedelta(days=LOOKED_BACK)
    unread = (day - day_of(season.last_night)).days
    if unread == 1:
        yield Reason("no reading this morning")
    elif unread:
        yield Reason("no reading since", nights=unread, last_night=str(season.last_night))
    else:
        lately = season.read[-LOOKED_BACK:]
        if gaps := int((~lately).sum()):
            yield Reason("nights not read lately", nights=gaps, days=len(lately))
    seen = season.observed()
    for gap in long_gaps(seen).told(seen):
        if dt.date.fromisoformat(gap.facts["last"]) >= week:
            yield gap
    for session, done in zip(planned, became_of(planned, log, day), strict=True):
        if done.status == MISSED and session.date >= week:
            yield Reason("planned and not logged", type=session.type, date=str(session.date))
    if trial is not None:
        for date in trial.missed:
            if day_of(date) >= week:
                facts = {"measure": trial.measure, "date": str(date)}
                yield Reason("measure not logged", **facts)
