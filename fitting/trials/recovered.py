"""What recovered days cost a trial and what they buy, reckoned without fitting anything.

On a day with nothing to recover from, a measure can show only what it adds to the reading by
itself. Knowing that takes it out of what looks like faster recovery. How much that is worth is
told by the posterior standard deviation of the log rate ratio, from a straight-line approximation
around one athlete: each night's expected reading by its derivatives, the scatter between sessions,
what lingers and baseline's drift as noise that nights share (generalised least squares).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import exp, hypot
from typing import Final

import numpy as np
import pandas as pd

from slackwater.fitting.answers.recovery import next_session_days
from slackwater.fitting.records.lots import LONGEST_STRETCH, RECOVERED
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials.rehearsal import Rehearsal, trial_plan
from slackwater.fitting.trials.stretches import LAST_MORNING, stretches_of, used_as_assigned
from slackwater.model.design import design_of
from slackwater.model.errors import NoAnswerError
from slackwater.model.priors import Priors
from slackwater.model.season import DAY, Season
from slackwater.model.simulator import Truth

SURELY: Final = 0.8  # of sessions, recovered from by the day from which days are drawn singly
REST_DAYS: Final = 14
_DRIFTING: Final = 1.0  # ln; standard deviation of where baseline may stand


@dataclass(frozen=True)
class RecoveredDays:
    """What recovered days cost a trial, and buy.

    Attributes:
        after: days from a session of each type until it is recovered from.
        days: how many such days the trial is expected to have, at no night more.
        rate_sd: posterior SD of the log rate ratio to be expected at the trial's end.
        rate_sd_without: the same where each of these days has its stretch's arm.
        rest_days: nights of further rest that could be asked for.
        rate_sd_rested: the same with these, drawn by lot.
        rate_sd_trained: the same with as many nights of usual training in their place.
    """

    after: Mapping[str, int]
    days: int
    rate_sd: float
    rate_sd_without: float
    rest_days: int
    rate_sd_rested: float
    rate_sd_trained: float


def recovered_after(now: Standing, types: list[str]) -> dict[str, int]:
    """Return from which day on each type counts as recovered from; empty where none may be drawn.

    Never before the last morning that a session is judged by, and never after a stretch's end.
    """
    if RECOVERED in now.types:
        return {}
    days = np.ceil(np.quantile(next_session_days(now), SURELY, axis=0))
    by_type = dict(zip(now.types, days, strict=True))
    return {t: int(np.clip(by_type[t], LAST_MORNING, LONGEST_STRETCH)) for t in types}


def bought(task: Rehearsal) -> RecoveredDays:
    """Return what recovered days cost and buy in one trial; NaN where it would take years."""
    try:
        return _bought(task)
    except NoAnswerError:
        unknown = (np.nan, np.nan, REST_DAYS, np.nan, np.nan)
        return RecoveredDays(task.trial.recovered_after, 0, *unknown)


def _bought(task: Rehearsal) -> RecoveredDays:
    assigned = task.trial
    plain = replace(task, trial=assigned._replace(recovered_after={}))
    planned, without = _planned(task), _planned(plain)
    length = int((planned.last_night - assigned.start) / DAY) + 1
    more = max(1, round(REST_DAYS / (length / task.sessions_per_arm)))
    days = more * length / task.sessions_per_arm
    trained = _rate_sd(task, _planned(replace(task, sessions_per_arm=task.sessions_per_arm + more)))
    sd = _rate_sd(task, planned)
    per_day = (1 / trained**2 - 1 / sd**2) / days
    return RecoveredDays(
        after=assigned.recovered_after,
        days=sum(s.recovered for s in stretches_of(planned, assigned)),
        rate_sd=sd,
        rate_sd_without=_rate_sd(task, without),
        rest_days=REST_DAYS,
        rate_sd_rested=_rate_sd(task, _rested(planned, task)),
        rate_sd_trained=float((1 / sd**2 + max(per_day, 0.0) * REST_DAYS) ** -0.5),
    )


def _planned(task: Rehearsal) -> Season:
    """Return the season of a trial; the same luck for each of its designs."""
    return trial_plan(task, np.random.default_rng(task.seed))


def _rested(planned: Season, task: Rehearsal) -> Season:
    """Return the same with nights of rest after it, each read, and drawn by lot."""
    tables = planned.tables()
    coming = planned.last_night + DAY * np.arange(1, REST_DAYS + 1)
    last = tables["readings"].iloc[[-1] * REST_DAYS].assign(date=coming)
    tables["readings"] = pd.concat([tables["readings"], last], ignore_index=True)
    longer = Season.from_tables(planned.name, **tables)
    lots = stretches_of(longer, task.trial)
    tables["interventions"] = used_as_assigned(tables["interventions"], task.measure, lots)
    return Season.from_tables(planned.name, **tables).observed()


def _rate_sd(task: Rehearsal, planned: Season) -> float:
    return rate_sd(planned, task.truth, task.measure, task.priors)


def rate_sd(planned: Season, truth: Truth, measure: str, priors: Priors) -> float:
    """Return the posterior SD of a measure's log rate ratio to be expected of a season.

    Args:
        planned: what will be read, logged and used.
        truth: the athlete around whom is reckoned.
        measure: one of the season's.
        priors: what is believed beforehand.
    """
    design = design_of(planned)
    nights = np.arange(len(planned.nights))
    acts = design.applied[planned.interventions.index(measure)]
    used = np.cumsum(acts)
    types = [truth.types[name] for name in planned.types]
    columns = np.zeros((2 + 2 * len(types), len(nights)))
    columns[1] = acts
    scatter = np.zeros((len(design.dose), len(nights)))
    felt = design.event_nights[1 : 1 + len(design.dose)]
    for i, (night, kind, dose) in enumerate(
        zip(felt, design.session_types, design.dose, strict=True)
    ):
        rate, age = types[kind].rate, nights[night:] - night
        left = dose * types[kind].dip / truth.first_night * np.exp(-rate * age)
        shown = left.copy()
        shown[0] *= truth.first_night
        columns[0, night:] += rate * (used[night:] - used[night]) * left
        columns[2 + kind, night:] -= shown
        columns[2 + len(types) + kind, night:] += rate * age * left
        scatter[i, night:] = truth.session_sd * shown
    read = design.reading_nights
    slopes, own = columns[:, read], scatter[:, read]
    apart = np.abs(read[:, None] - read[None, :])
    tail = exp(truth.noise_tail**2 / 2)
    shared = truth.lingering * truth.persistence**apart + (1 - truth.lingering) * tail * (
        apart == 0
    )
    covariance = (
        truth.noise_sd**2 * shared
        + truth.drift_sd**2 * np.minimum(read[:, None], read[None, :])
        + _DRIFTING**2
        + own.T @ own
    )
    dip_sd = hypot(priors.type_dip.sd, exp(priors.type_dip_sd.mean))
    rate_sd_of_types = hypot(priors.type_rate.sd, exp(priors.type_rate_sd.mean))
    believed = [
        priors.log_rate_ratio_of(measure).sd,
        priors.lift_of(measure).sd,
        *[dip_sd] * len(types),
        *[rate_sd_of_types] * len(types),
    ]
    told = slopes @ np.linalg.solve(covariance, slopes.T) + np.diag(1 / np.square(believed))
    return float(np.sqrt(np.linalg.inv(told)[0, 0]))
