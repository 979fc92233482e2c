"""What a trial found: by the model, by a test without a model, and by its own rule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Answer, about_season
from slackwater.fitting.answers.compare import VERDICT_RULE, compare_intervention
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level, interval
from slackwater.fitting.records.lots import WITH, WITHOUT, Arm
from slackwater.fitting.records.trials import Analysed, Looked, Trial, latest_trial
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.trials import effect
from slackwater.fitting.trials.followed import Followed, follow
from slackwater.fitting.trials.randomisation import (
    FEWEST_PAIRS,
    WithoutModel,
    pairs_of,
    randomisation_test,
)
from slackwater.fitting.trials.stretches import assigned_days, logged_days, trial_season
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import Belief
from slackwater.model.season import Season

FEWEST_SESSIONS: Final = 2  # of each arm, for a look
NOT_DUE: Final = "not due yet"

Ask = Callable[[Season], Athlete]


@dataclass(frozen=True)
class TrialFound(Answer):
    """What a trial found.

    Attributes:
        measure: the measure under trial.
        trial: its number in the record.
        sessions_per_arm: the planned number.
        smallest_days: the smallest effect worth having, days saved for a typical session.
        complete: whether the planned number is reached; otherwise this is a look.
        judged_before: whether the record holds a result already, which it keeps.
        last_judged: the last reading that it goes by.
        looks: interim looks, this one included where it is one.
        verdict: by the rule, or "not due yet".
        verdict_rule: the rule fixed in the plan.
        sessions_with, sessions_without: sessions that tell of recovery.
        rate_ratio: recovery rate with over without, as assigned.
        rate_ratio_as_used: the same by the log; NaN where that cannot tell.
        typical_days_saved: for a typical session of the trial's types.
        days_saved: dimension `type`, with `bound`.
        chance_faster: the chance that the rate ratio is above 1.
        chance_worth_having: the chance that the measure saves at least `smallest_days`.
        log_rate_ratio_mean, log_rate_ratio_sd: posterior moments, as assigned.
        log_rate_ratio_prior: what was believed of it beforehand.
        used_when_assigned, unused_when_not: shares of days; NaN where there are none.
        randomisation_test: what a test without a model found.
    """

    measure: str
    trial: int
    sessions_per_arm: int
    smallest_days: float
    complete: bool
    judged_before: bool
    last_judged: np.datetime64
    looks: int
    verdict: str
    verdict_rule: str
    sessions_with: int
    sessions_without: int
    rate_ratio: Interval
    rate_ratio_as_used: Interval
    typical_days_saved: Interval
    days_saved: xr.DataArray
    chance_faster: float
    chance_worth_having: float
    log_rate_ratio_mean: float
    log_rate_ratio_sd: float
    log_rate_ratio_prior: Belief
    used_when_assigned: float
    unused_when_not: float
    randomisation_test: WithoutModel


def due(season: Season, trial: Trial, *, peek: bool = False) -> Followed:
    """Return the stretches that a trial is judged from, once it may be.

    Args:
        season: the season as it is now.
        trial: the trial.
        peek: whether an interim look was asked for.

    Raises:
        NoAnswerError: the trial was stopped, or the planned number is not reached and no
            look was asked for, or there is nothing to look at.
    """
    plan = trial.plan
    if trial.stopped is not None:
        because = trial.stopped.because
        raise NoAnswerError(Reason("trial stopped", measure=plan.measure, because=because))
    followed = follow(season, plan)
    if followed.complete:
        return followed
    reached = followed.reached
    so_far: dict[str, Any] = {
        "measure": plan.measure,
        "sessions_with": reached[WITH],
        "sessions_without": reached[WITHOUT],
        "planned": plan.sessions_per_arm,
    }
    if not peek:
        raise NoAnswerError(Reason("trial not due", **so_far))
    if min(reached.values()) < FEWEST_SESSIONS:
        raise NoAnswerError(Reason("too little for a look", **so_far))
    return replace(followed, stretches=[s for s in followed.stretches if s.over])


def analyse_trial(
    athlete: Athlete, ask: Ask, *, peek: bool = False, level: float = DEFAULT_LEVEL
) -> TrialFound:
    """Answer what a trial found.

    The verdict is about the measure as assigned: skipping it on the better or the worse
    days cannot tilt that. The same as used, by the log, stands beside it.

    Args:
        athlete: the season and its trials.
        ask: fits a season.
        peek: show interim results before the planned number is reached.
        level: credible mass of every interval.

    Raises:
        NoAnswerError: see `due`; or the data do not support a comparison.
    """
    check_level(level)
    season, trial = athlete.season, latest_trial(athlete.trials)
    plan = trial.plan
    judged = due(season, trial, peek=peek)
    by_lot = trial_season(season, plan.measure, judged.stretches, as_assigned=True)
    judging = ask(by_lot)
    now = judging.now
    compared = compare_intervention(judging, plan.measure, level)
    log_ratio = now.log_ratio(plan.measure)
    mean, sd = float(log_ratio.mean()), float(log_ratio.std())
    saved = effect.days_saved(effect.typical_session(now, plan.types), log_ratio)
    pairs = pairs_of(by_lot, judged.stretches)
    last, reached = by_lot.last_night, judged.reached
    warnings = _warnings(trial, judged, last, len(pairs.order), mean)
    return TrialFound(
        about_season(season, level, [*now.warnings, *warnings]),
        measure=plan.measure,
        trial=plan.trial,
        sessions_per_arm=plan.sessions_per_arm,
        smallest_days=plan.smallest_days,
        complete=judged.complete,
        judged_before=trial.analysed is not None,
        last_judged=last,
        looks=len(trial.looks) + (not judged.complete),
        verdict=compared.verdict if judged.complete else NOT_DUE,
        verdict_rule=plan.verdict_rule,
        sessions_with=reached[WITH],
        sessions_without=reached[WITHOUT],
        rate_ratio=compared.rate_ratio,
        rate_ratio_as_used=_as_used(judged, ask, by_lot, compared.rate_ratio, level),
        typical_days_saved=interval(saved, level),
        days_saved=compared.days_saved,
        chance_faster=compared.chance_faster,
        chance_worth_having=float((saved >= plan.smallest_days).mean()),
        log_rate_ratio_mean=mean,
        log_rate_ratio_sd=sd,
        log_rate_ratio_prior=judging.posterior.priors.log_rate_ratio,
        used_when_assigned=_share(judged, last, WITH),
        unused_when_not=_share(judged, last, WITHOUT),
        randomisation_test=randomisation_test(pairs, np.random.default_rng(plan.seed)),
    )


def to_record(answer: TrialFound, written: dt.datetime) -> Looked | Analysed | None:
    """Return the event that an analysis is kept as: a look, or the first result.

    Args:
        answer: what the trial found.
        written: when it is written down.

    Returns:
        None for a result after the first, which the record keeps.
    """
    shared: dict[str, Any] = {
        "trial": answer.trial,
        "written": written,
        "last_night": answer.last_judged.astype(object),
        "sessions_with": answer.sessions_with,
        "sessions_without": answer.sessions_without,
    }
    if not answer.complete:
        return Looked(**shared)
    if answer.judged_before:
        return None
    p_value = answer.randomisation_test.p_value
    return Analysed(
        **shared,
        verdict=answer.verdict,
        log_rate_ratio_mean=answer.log_rate_ratio_mean,
        log_rate_ratio_sd=answer.log_rate_ratio_sd,
        prior_mean=answer.log_rate_ratio_prior.mean,
        prior_sd=answer.log_rate_ratio_prior.sd,
        chance_worth_having=answer.chance_worth_having,
        p_value=p_value if np.isfinite(p_value) else None,
    )


def _as_used(
    judged: Followed, ask: Ask, by_lot: Season, as_assigned: Interval, level: float
) -> Interval:
    """Return the rate ratio by the days logged; NaN where those cannot tell."""
    measure = judged.plan.measure
    as_used = trial_season(judged.season, measure, judged.stretches, as_assigned=False)
    if as_used.fingerprint() == by_lot.fingerprint():
        return as_assigned
    try:
        if measure in as_used.observed().interventions:
            return compare_intervention(ask(as_used), measure, level).rate_ratio
    except NoAnswerError:
        pass
    return Interval(np.nan, np.nan, np.nan)


def _share(judged: Followed, last: np.datetime64, arm: Arm) -> float:
    """Return the share of an arm's days before the last reading that were as assigned."""
    days = assigned_days(judged.stretches, arm)
    days = days[days < last]
    used = np.isin(days, logged_days(judged.season, judged.plan.measure))
    return float((used == (arm == WITH)).mean()) if len(days) else np.nan


def _warnings(
    trial: Trial, judged: Followed, last: np.datetime64, pairs: int, mean: float
) -> list[Reason]:
    """Return what to mind with how the trial went, and with its result.

    Args:
        trial: the trial.
        judged: what it is judged from.
        last: the last reading judged.
        pairs: complete pairs.
        mean: posterior mean of the log rate ratio.
    """
    said = judged.dangers()
    skipped, added = len(judged.missed(last)), len(judged.strayed(last))
    if skipped or added:
        said.append(Reason("log differs from the lots", missed=skipped, strayed=added))
    if pairs < FEWEST_PAIRS:
        said.append(Reason("too few pairs", pairs=pairs, needed=FEWEST_PAIRS))
    if trial.plan.verdict_rule != VERDICT_RULE:
        said.append(Reason("another verdict rule", rule=VERDICT_RULE))
    if not judged.complete:
        return [*said, Reason("a look before the end")]
    before = trial.analysed
    # Beyond what another run of the sampler moves it.
    if before and abs(before.log_rate_ratio_mean - mean) > 0.25 * before.log_rate_ratio_sd:
        written = f"{before.written:%Y-%m-%d}"
        said.append(Reason("another result in the record", verdict=before.verdict, written=written))
    return said
