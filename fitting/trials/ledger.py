"""Everything that was ever tested, judged together, so that no idea wins by luck."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, NamedTuple

import numpy as np

from slackwater.fitting.answers.answer import Answer, about_season
from slackwater.fitting.answers.compare import CLEARLY
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level
from slackwater.fitting.records.lots import WITH, WITHOUT
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials.followed import follow
from slackwater.fitting.trials.shrinkage import shrink, without_prior
from slackwater.fitting.trials.stretches import logged_days
from slackwater.model.errors import NoAnswerError, Reason, SeasonError
from slackwater.model.priors import Belief
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
        verdict: of the trial; None where there is none.
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
        faster: the measures that are clearly faster, all judged together.
        shrinking: what judging together means.
    """

    rows: tuple[LedgerRow, ...]
    faster: tuple[str, ...]
    shrinking: Reason


class _Moments(NamedTuple):
    """What is known of a log rate ratio, and what was believed beforehand."""

    mean: float
    sd: float
    prior: Belief


_Row = tuple[LedgerRow, _Moments | None]


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
    season, trials, now = athlete.season, athlete.trials, _state(athlete)
    learnt = _learnt(now, athlete.posterior.priors.log_rate_ratio) if now else {}
    listed = [_of_trial(season, learnt, t, trials) for t in trials]
    listed += _of_log(season, learnt, trials)
    if not listed:
        raise NoAnswerError(Reason("nothing ever tested"))
    rows = _judged_together(listed, level)
    of_log = any(row.basis == "log" for row in rows)
    of_fit = [*now.warnings, *(_behind(now, season) if of_log else [])] if now else []
    return TrialLedger(
        about_season(season, level, [*of_fit, *_warnings(rows)]),
        rows=tuple(rows),
        faster=tuple(row.measure for row in rows if row.chance_faster_together >= CLEARLY),
        shrinking=Reason("alone and together"),
    )


def _state(athlete: Athlete) -> Standing | None:
    """Return the latest state that a fit tells of; None where none does."""
    if not athlete.fitted:
        return None
    try:
        return athlete.now
    except NoAnswerError:
        pass
    try:
        return athlete.as_fitted
    except (NoAnswerError, SeasonError):
        return None


def _of_trial(
    season: Season, learnt: Mapping[str, _Moments], trial: Trial, trials: Sequence[Trial]
) -> _Row:
    plan = trial.plan
    reached = follow(season, plan).reached
    row = LedgerRow(
        measure=plan.measure,
        trial=plan.trial,
        status=trial.status(season.last_night.astype(object)),
        start=plan.start,
        sessions_per_arm=plan.sessions_per_arm,
        sessions_with=reached[WITH],
        sessions_without=reached[WITHOUT],
        looks=len(trial.looks),
        verdict=trial.analysed.verdict if trial.analysed else None,
        because=trial.stopped.because if trial.stopped else None,
    )
    if trial.analysed is not None:
        found = trial.analysed
        prior = Belief(found.prior_mean, found.prior_sd)
        moments = _Moments(found.log_rate_ratio_mean, found.log_rate_ratio_sd, prior)
        return replace(row, basis="trial"), moments
    # The log of a measure with another trial holds that one's days, maybe not yet to be seen.
    alone = sum(t.plan.measure == plan.measure for t in trials) == 1
    if trial.stopped is not None and alone and plan.measure in season.interventions:
        return _by_log(row, learnt)
    return row, None


def _of_log(season: Season, learnt: Mapping[str, _Moments], trials: Sequence[Trial]) -> list[_Row]:
    """Return the measures that are logged and never had a trial."""
    tried = {t.plan.measure for t in trials}
    first = {
        name: logged_days(season, name).min().astype(object)
        for name in season.interventions
        if name not in tried
    }
    return [_by_log(LedgerRow(name, None, "no trial", day), learnt) for name, day in first.items()]


def _by_log(row: LedgerRow, learnt: Mapping[str, _Moments]) -> _Row:
    """Return a row that speaks by what the fit made of the log, where it has seen the measure."""
    if row.measure not in learnt:
        return replace(row, needs_fit=True), None
    return replace(row, basis="log"), learnt[row.measure]


def _learnt(now: Standing, prior: Belief) -> dict[str, _Moments]:
    """Return what the fit has learnt of each measure that it has seen."""
    draws = {name: now.log_ratio(name) for name in now.interventions}
    return {name: _Moments(float(x.mean()), float(x.std()), prior) for name, x in draws.items()}


def _judged_together(listed: Sequence[_Row], level: float) -> list[LedgerRow]:
    """Return the rows with their numbers, each alone and all together."""
    from scipy.special import ndtr, ndtri

    known = [moments for _, moments in listed if moments is not None]
    mean, sd = np.array([m.mean for m in known]), np.array([m.sd for m in known])
    shares = np.array([(1 - level) / 2, 0.5, (1 + level) / 2])
    together = shrink(*without_prior(mean, sd, [m.prior for m in known]))
    numbers = zip(
        np.exp(mean[:, None] + sd[:, None] * ndtri(shares)),
        np.exp([together.quantile(share) for share in shares]).T,
        ndtr(mean / sd),
        together.chance_above(0.0),
        strict=True,
    )
    rows = []
    for row, moments in listed:
        if moments is not None:
            alone, shrunk, chance_alone, chance = next(numbers)
            row = replace(
                row,
                rate_ratio_alone=Interval(*map(float, alone)),
                rate_ratio_together=Interval(*map(float, shrunk)),
                chance_faster_alone=float(chance_alone),
                chance_faster_together=float(chance),
            )
        rows.append(row)
    return rows


def _behind(now: Standing, season: Season) -> list[Reason]:
    if now.season.last_night >= season.last_night:
        return []
    return [Reason("log told up to the fit", last_night=str(now.season.last_night))]


def _warnings(rows: Sequence[LedgerRow]) -> list[Reason]:
    said = []
    for row in rows:
        if row.chance_faster_alone >= CLEARLY > row.chance_faster_together:
            said.append(Reason("faster by itself only", measure=row.measure))
        if row.looks and row.verdict:
            said.append(Reason("looked at before its end", measure=row.measure, looks=row.looks))
    unfitted = [row.measure for row in rows if row.needs_fit]
    if unfitted:
        said.append(Reason("not in the fit yet", measures=unfitted))
    if any(row.status == "no trial" and row.basis for row in rows):
        said.append(Reason("used without a trial"))
    return said
