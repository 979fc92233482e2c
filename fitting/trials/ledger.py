"""Everything that was ever tested, judged together, so that no idea wins by luck."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np

from slackwater.fitting.answers.answer import Answer, about_season
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level
from slackwater.fitting.measures.verdicts import (
    FASTER,
    Judged,
    ever_tried,
    judged,
    latest_state,
    told_by_log,
)
from slackwater.fitting.records.lots import WITH, WITHOUT
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials.followed import follow
from slackwater.fitting.trials.stretches import logged_days
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.season import Season

_UNKNOWN: Final = Interval(np.nan, np.nan, np.nan)


@dataclass(frozen=True)
class LedgerRow:
    """One measure ever tested: a trial of it, or its use by the log.

    Attributes:
        measure: the measure.
        trial: the trial's number; None without one.
        status: planned, running, analysed, stopped or "no trial".
        start: the trial's first day, or the first day of use.
        sessions_per_arm, sessions_with, sessions_without: planned, and those that tell of
            recovery; None without a trial.
        looks: interim looks.
        verdict: the one that is told, after a trial; None where there is none.
        verdict_alone: what the trial's own rule said, by itself; None where there is none.
        because: why it was stopped; None where it was not.
        needs_fit: whether the log holds it and the fit does not.
        basis: what its numbers rest on; None where nothing is known yet.
        rate_ratio_alone: recovery rate with over without, by itself.
        rate_ratio_together: the same with all measures judged together.
        chance_faster_alone, chance_faster_together: the chance that it is above 1, likewise.
    """

    measure: str
    trial: int | None
    status: str
    start: dt.date
    sessions_per_arm: int | None = None
    sessions_with: int | None = None
    sessions_without: int | None = None
    looks: int = 0
    verdict: str | None = None
    verdict_alone: str | None = None
    because: str | None = None
    needs_fit: bool = False
    basis: Literal["trial", "log"] | None = None
    rate_ratio_alone: Interval = _UNKNOWN
    rate_ratio_together: Interval = _UNKNOWN
    chance_faster_alone: float = np.nan
    chance_faster_together: float = np.nan


@dataclass(frozen=True)
class TrialLedger(Answer):
    """All measures ever tested.

    Attributes:
        rows: one for each trial and each measure without one.
        faster: the measures whose verdict is faster.
        shrinking: what judging together means.
    """

    rows: tuple[LedgerRow, ...]
    faster: tuple[str, ...]
    shrinking: Reason


def trial_ledger(athlete: Athlete, level: float = DEFAULT_LEVEL) -> TrialLedger:
    """Answer what all measures ever tested did, each alone and all together.

    An analysed trial speaks by its recorded result. A measure that is used without a trial,
    or whose trial was stopped, speaks by the log; one whose trial is open not yet, since
    interim results are not shown.

    Args:
        athlete: the season and its trials; what was learnt of it, where it was fitted.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: nothing was ever tested.
    """
    check_level(level)
    season, trials, now = athlete.season, athlete.trials, latest_state(athlete)
    listed = [_of_trial(season, t, trials) for t in trials]
    listed += _of_log(season, trials)
    if not listed:
        raise NoAnswerError(Reason("nothing ever tested"))
    told = judged(ever_tried(athlete), level)
    rows = [_with_numbers(row, told, level) for row in listed]
    of_log = any(row.basis == "log" for row in rows)
    of_fit = [*now.warnings, *(_behind(now, season) if of_log else [])] if now else []
    return TrialLedger(
        about_season(season, level, [*of_fit, *_warnings(rows)]),
        rows=tuple(rows),
        faster=tuple(dict.fromkeys(row.measure for row in rows if row.verdict == FASTER)),
        shrinking=Reason("alone and together"),
    )


def _of_trial(season: Season, trial: Trial, trials: Sequence[Trial]) -> LedgerRow:
    plan = trial.plan
    reached = follow(season, plan).reached
    by_log = trial.stopped is not None and told_by_log(trials, plan.measure)
    return LedgerRow(
        measure=plan.measure,
        trial=plan.trial,
        status=trial.status(season.last_night.astype(object)),
        start=plan.start,
        sessions_per_arm=plan.sessions_per_arm,
        sessions_with=reached[WITH],
        sessions_without=reached[WITHOUT],
        looks=len(trial.looks),
        verdict_alone=trial.analysed.verdict if trial.analysed else None,
        because=trial.stopped.because if trial.stopped else None,
        basis="trial" if trial.analysed else None,
        needs_fit=by_log and plan.measure in season.interventions,
    )


def _of_log(season: Season, trials: Sequence[Trial]) -> list[LedgerRow]:
    """Return the measures that are logged and never had a trial."""
    tried = {t.plan.measure for t in trials}
    first = {
        name: logged_days(season, name).min().astype(object)
        for name in season.interventions
        if name not in tried
    }
    return [LedgerRow(name, None, "no trial", day, needs_fit=True) for name, day in first.items()]


def _with_numbers(row: LedgerRow, told: Sequence[Judged], level: float) -> LedgerRow:
    """Return a row with what is known of its measure, each alone and all together."""
    wanted = (row.measure, row.trial if row.basis == "trial" else None)
    for each in told:
        tried = each.tried
        if wanted == (tried.measure, tried.trial.plan.trial if tried.trial else None):
            return replace(
                row,
                verdict=each.verdict,
                needs_fit=False,
                basis=row.basis or "log",
                rate_ratio_alone=tried.rate_ratio(level),
                rate_ratio_together=each.together,
                chance_faster_alone=tried.chance_faster,
                chance_faster_together=each.chance_faster,
            )
    return row


def _behind(now: Standing, season: Season) -> list[Reason]:
    if now.season.last_night >= season.last_night:
        return []
    return [Reason("log told up to the fit", last_night=str(now.season.last_night))]


def _warnings(rows: Sequence[LedgerRow]) -> list[Reason]:
    said = []
    for row in rows:
        if row.verdict_alone == FASTER != row.verdict:
            said.append(Reason("faster by itself only", measure=row.measure))
        if row.looks and row.verdict_alone:
            said.append(Reason("looked at before its end", measure=row.measure, looks=row.looks))
    unfitted = [row.measure for row in rows if row.needs_fit]
    if unfitted:
        said.append(Reason("not in the fit yet", measures=unfitted))
    if any(row.status == "no trial" and row.basis for row in rows):
        said.append(Reason("used without a trial"))
    return said
