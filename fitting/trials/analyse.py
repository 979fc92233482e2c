"""What a trial found: by the model, by a test without a model, and by its own rule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Answer, about_season
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level, interval
from slackwater.fitting.measures.compare import compare_intervention
from slackwater.fitting.measures.verdicts import (
    VERDICT_RULE,
    Effect,
    Judged,
    Tried,
    ever_tried,
    judged,
    of_record,
    verdict,
)
from slackwater.fitting.records.lots import WITH, WITHOUT, Arm
from slackwater.fitting.records.trials import Analysed, Looked, Trial, latest_trial
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.trials import effect as effect_of
from slackwater.fitting.trials.followed import Followed, follow
from slackwater.fitting.trials.randomisation import (
    FEWEST_PAIRS,
    WithoutModel,
    gaps_of,
    pairs_of,
    randomisation_test,
)
from slackwater.fitting.trials.stretches import assigned_days, logged_days, trial_season
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import Belief
from slackwater.model.season import Season

FEWEST_SESSIONS: Final = 2  # of each arm, for a look
GAPS_DIFFER: Final = 0.05  # so seldom by the lots alone
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
        verdict: the one that is told, or "not due yet": where several trials were judged, that of
            all that was ever tried together.
        verdict_alone: what the rule says of this trial by itself; "not due yet" likewise.
        verdict_basis: which of the two is told, and by which rule.
        verdict_rule: the rule fixed in the plan.
        sessions_with, sessions_without: sessions that tell of recovery.
        rate_ratio: recovery rate with over without, as assigned.
        rate_ratio_as_used: the same by the log; NaN where that cannot tell.
        typical_days_saved: for a typical session of the trial's types.
        days_saved: dimension `type`, with `bound`.
        chance_faster: the chance that the rate ratio is above 1.
        lift_percent: what a reading gains on a night of use by itself.
        told_apart: whether rate and lift can be told apart, see `compare_intervention`.
        recovered_days: recovered days of each arm that were read; None where none were drawn.
        gap_days_with, gap_days_without: mean days from a session that tells of recovery to the
            next of the trial; NaN where there is none.
        gap_p_value: share of the possible lots with gaps as different; NaN for too few pairs.
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
    verdict_alone: str
    verdict_basis: Reason
    verdict_rule: str
    sessions_with: int
    sessions_without: int
    rate_ratio: Interval
    rate_ratio_as_used: Interval
    typical_days_saved: Interval
    days_saved: xr.DataArray
    chance_faster: float
    lift_percent: Interval
    told_apart: bool
    recovered_days: Mapping[Arm, int] | None
    gap_days_with: float
    gap_days_without: float
    gap_p_value: float
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
    due_now = due(season, trial, peek=peek)
    by_lot = trial_season(season, plan.measure, due_now.stretches, as_assigned=True)
    judging = ask(by_lot)
    now, prior = judging.now, judging.posterior.priors.log_rate_ratio_of(plan.measure)
    compared = compare_intervention(judging, plan.measure, level)
    log_ratio = now.log_ratio(plan.measure)
    effect = fresh = Effect.of(log_ratio, prior)
    if trial.analysed is not None:
        effect = of_record(trial.analysed)  # a verdict is given once
    told = _judged(athlete, trial, effect, level)
    complete = due_now.complete
    saved = effect_of.days_saved(effect_of.typical_session(now, plan.types), log_ratio)
    pairs = pairs_of(by_lot, due_now.stretches)
    gaps = gaps_of(due_now.stretches)
    tested = randomisation_test(gaps.pairs, np.random.default_rng(plan.seed))
    last, reached = by_lot.last_night, due_now.reached
    said = _warnings(trial, due_now, last, len(pairs.order), fresh.mean, tested.p_value)
    return TrialFound(
        about_season(season, level, [*now.warnings, *compared.about.warnings, *said]),
        measure=plan.measure,
        trial=plan.trial,
        sessions_per_arm=plan.sessions_per_arm,
        smallest_days=plan.smallest_days,
        complete=complete,
        judged_before=trial.analysed is not None,
        last_judged=last,
        looks=len(trial.looks) + (not complete),
        verdict=told.verdict or NOT_DUE if complete else NOT_DUE,
        verdict_alone=told.tried.alone or NOT_DUE if complete else NOT_DUE,
        verdict_basis=told.rule,
        verdict_rule=plan.verdict_rule,
        sessions_with=reached[WITH],
        sessions_without=reached[WITHOUT],
        rate_ratio=effect.rate_ratio(level),
        rate_ratio_as_used=_as_used(due_now, ask, by_lot, effect, level),
        typical_days_saved=interval(saved, level),
        days_saved=compared.days_saved,
        chance_faster=effect.chance_faster,
        lift_percent=compared.lift_percent,
        told_apart=compared.told_apart,
        recovered_days=due_now.recovered if plan.recovered_after else None,
        gap_days_with=gaps.with_,
        gap_days_without=gaps.without,
        gap_p_value=tested.p_value,
        chance_worth_having=float((saved >= plan.smallest_days).mean()),
        log_rate_ratio_mean=effect.mean,
        log_rate_ratio_sd=effect.sd,
        log_rate_ratio_prior=effect.prior,
        used_when_assigned=_share(due_now, last, WITH),
        unused_when_not=_share(due_now, last, WITHOUT),
        randomisation_test=randomisation_test(pairs, np.random.default_rng(plan.seed)),
    )


def _judged(athlete: Athlete, trial: Trial, effect: Effect, level: float) -> Judged:
    """Return the verdict on a trial among all that was ever tried."""
    alone = trial.analysed.verdict if trial.analysed else verdict(effect.below)
    others = [t for t in ever_tried(athlete) if t.trial is not trial]
    return judged([*others, Tried(trial.plan.measure, trial, effect, alone)], level)[-1]


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
        verdict=answer.verdict_alone,
        log_rate_ratio_mean=answer.log_rate_ratio_mean,
        log_rate_ratio_sd=answer.log_rate_ratio_sd,
        prior_mean=answer.log_rate_ratio_prior.mean,
        prior_sd=answer.log_rate_ratio_prior.sd,
        chance_worth_having=answer.chance_worth_having,
        p_value=p_value if np.isfinite(p_value) else None,
    )


def _as_used(
    due_now: Followed, ask: Ask, by_lot: Season, as_assigned: Effect, level: float
) -> Interval:
    """Return the rate ratio by the days logged; NaN where those cannot tell."""
    measure = due_now.plan.measure
    as_used = trial_season(due_now.season, measure, due_now.stretches, as_assigned=False)
    if as_used.fingerprint() == by_lot.fingerprint():
        return as_assigned.rate_ratio(level)
    try:
        if measure in as_used.observed().interventions:
            using = ask(as_used)
            compare_intervention(using, measure, level)  # refuses what cannot be compared
            return Effect.of(using.now.log_ratio(measure), as_assigned.prior).rate_ratio(level)
    except NoAnswerError:
        pass
    return Interval(np.nan, np.nan, np.nan)


def _share(due_now: Followed, last: np.datetime64, arm: Arm) -> float:
    """Return the share of an arm's days before the last reading that were as assigned."""
    days = assigned_days(due_now.stretches, arm)
    days = days[days < last]
    used = np.isin(days, logged_days(due_now.season, due_now.plan.measure))
    return float((used == (arm == WITH)).mean()) if len(days) else np.nan


def _warnings(
    trial: Trial, due_now: Followed, last: np.datetime64, pairs: int, mean: float, gap_p: float
) -> list[Reason]:
    """Return what to mind with how the trial went, and with its result.

    Args:
        trial: the trial.
        due_now: what it is judged from.
        last: the last reading judged.
        pairs: complete pairs.
        mean: posterior mean of the log rate ratio.
        gap_p: share of the lots with gaps between sessions as different.
    """
    said = due_now.dangers()
    skipped, added = len(due_now.missed(last)), len(due_now.strayed(last))
    if skipped or added:
        said.append(Reason("log differs from the lots", missed=skipped, strayed=added))
    if pairs < FEWEST_PAIRS:
        said.append(Reason("too few pairs", pairs=pairs, needed=FEWEST_PAIRS))
    if trial.plan.verdict_rule != VERDICT_RULE:
        said.append(Reason("another verdict rule", rule=VERDICT_RULE))
    if gap_p < GAPS_DIFFER:
        said.append(Reason("gaps differ by arm", p_value=gap_p))
    if not due_now.complete:
        return [*said, Reason("a look before the end")]
    before = trial.analysed
    # Beyond what another run of the sampler moves it.
    if before and abs(before.log_rate_ratio_mean - mean) > 0.25 * before.log_rate_ratio_sd:
        written = f"{before.written:%Y-%m-%d}"
        said.append(Reason("another result in the record", verdict=before.verdict, written=written))
    return said
