"""How large a trial of one recovery measure must be, and its assignment."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, check_level, interval
from slackwater.fitting.answers.support import confounded_types
from slackwater.fitting.measures.verdicts import VERDICT_RULE
from slackwater.fitting.records.lots import ASSIGNMENT, ASSIGNMENT_RECOVERED, RECOVERED
from slackwater.fitting.records.trials import Design, Planned, Trial, orders
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials import effect
from slackwater.fitting.trials.recovered import RecoveredDays, bought, recovered_after
from slackwater.fitting.trials.rehearsal import (
    Habits,
    Rehearsal,
    Rehearsed,
    habits_of,
    rehearse_all,
    season_before,
    shares_of,
    truth_of,
)
from slackwater.fitting.trials.sizes import (
    LARGEST,
    OFFERED,
    SIZE,
    Curve,
    information_of,
    pace,
    sizes,
    smallest_found,
)
from slackwater.fitting.trials.stretches import Assigned, logged_days, outside
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.levels import BASELINE
from slackwater.model.priors import Belief
from slackwater.model.season import DAY, Season

SIZES: Final = (8, 12, 16, 24, 32)
REHEARSALS: Final = 40
LEAST_TO_SHORTEN: Final = 0.5  # days: a type with less left after its first reading shows nothing
PILOTS: Final = 8
PILOT_RATIO: Final = 1.5  # what a session adds to what is known depends little on it
USUAL_SIZE: Final = 24  # sessions per arm: about half a year of most training
CHANCE: Final = 0.8

Run = Callable[[Sequence[Rehearsal]], list[Rehearsed]]
_Simulate = Callable[[int | None, Mapping[int, float]], list[Rehearsed]]


@dataclass(frozen=True)
class Wanted:
    """What a trial is wanted for.

    Attributes:
        measure: the recovery measure, as it will be logged.
        seed: of the assignment.
        smallest: the smallest effect worth having, days saved for a typical session; None for
            the smallest that 24 sessions per arm (or `sessions`) can find.
        chance: the wanted chance of the verdict "faster" if that effect is true.
        sessions: sessions per arm, None to find the number.
        start: first day of the trial, the day after the last reading if left out.
    """

    measure: str
    seed: int
    smallest: float | None = None
    chance: float = CHANCE
    sessions: int | None = None
    start: np.datetime64 | None = None


@dataclass(frozen=True)
class TrialPlan(Answer):
    """How large a trial must be, and its assignment.

    Attributes:
        measure: the measure to be put on trial.
        smallest_days: the smallest effect worth having, days saved for a typical session.
        smallest_rule: where it comes from; None where it was named.
        wanted_chance: the wanted chance of the verdict "faster" if that effect is true.
        types: the trial's session types, longest recovery first, and their shares.
        sessions_per_arm: how many sessions with, and as many without.
        planned_weeks: how long that takes.
        expected_chance: the chance at that size, with its Monte Carlo range.
        smallest_found_days: the effect that so many find with the wanted chance; where nothing is
            planned, that `OFFERED` find, so that it can be planned for instead; NaN for none.
        smallest_rate_ratio: the recovery rate with over without that saves `smallest_days`.
        simulated: dimension `sessions_per_arm`; see `sizes`.
        recovered: what recovered days cost and buy; None where none can be drawn.
        verdict_rule: the rule by which it will be judged.
        planned: what the record will keep; None where no trial of at most 64 sessions per arm
            has the wanted chance.
        why_not: why nothing is planned then; otherwise empty.
    """

    measure: str
    smallest_days: float
    smallest_rule: Reason | None
    wanted_chance: float
    types: Mapping[str, float]
    sessions_per_arm: int
    planned_weeks: float
    expected_chance: Interval
    smallest_found_days: float
    smallest_rate_ratio: Interval
    simulated: xr.Dataset
    recovered: RecoveredDays | None
    verdict_rule: str
    planned: Design | None
    why_not: tuple[Reason, ...]


def plan_trial(
    athlete: Athlete,
    wanted: Wanted,
    level: float = DEFAULT_LEVEL,
    run: Run = rehearse_all,
) -> TrialPlan:
    """Answer how many sessions a trial needs, by simulating whole trials and fitting them.

    Args:
        athlete: the season, what was learnt of it, and its trials so far.
        wanted: what the trial is for.
        level: mass of every range.
        run: simulates the trials.

    Raises:
        QuestionError: out of range, or another trial is open.
        NoAnswerError: nothing to learn it from, or too small an effect for any measure.
    """
    check_level(level)
    now, prior = athlete.now, athlete.posterior.priors.log_rate_ratio_of(wanted.measure)
    start = _check(now, wanted, athlete.trials)
    habits = habits_of(now.season)
    shares = _shares(now, habits)
    to_shorten = effect.typical_session(now, shares)

    def simulate(size: int | None, truths: Mapping[int, float]) -> list[Rehearsed]:
        return run(_tasks(athlete, wanted, size, habits, list(shares), truths))

    smallest, rule = wanted.smallest, None
    if smallest is None:
        size = wanted.sessions or USUAL_SIZE
        smallest = _findable(to_shorten, prior, size, wanted.chance, simulate)
        rule = Reason("smallest that can be found", sessions_per_arm=size)
    effects = _effects(to_shorten, smallest)
    possible = np.flatnonzero(np.isfinite(effects))
    chosen = possible[np.linspace(0, len(possible) - 1, REHEARSALS).astype(int)]
    results = simulate(wanted.sessions, {int(s): effects[s] for s in chosen})
    curve = Curve(effects[chosen], information_of(results, prior), prior)
    sessions = wanted.sessions or curve.sessions_for(wanted.chance, LARGEST)
    shown, most = sessions or LARGEST, float(np.median(to_shorten))
    middle = int(possible[len(possible) // 2])
    (of_one,) = _tasks(athlete, wanted, shown, habits, list(shares), {middle: effects[middle]})
    answer = TrialPlan(
        about(now, level),
        measure=wanted.measure,
        smallest_days=smallest,
        smallest_rule=rule,
        wanted_chance=wanted.chance,
        types=shares,
        sessions_per_arm=shown,
        planned_weeks=pace(results) * shown,
        expected_chance=curve.chance_range(shown, level),
        smallest_found_days=smallest_found(
            to_shorten[chosen], curve.information, prior, sessions or OFFERED, wanted.chance, most
        ),
        smallest_rate_ratio=interval(np.exp(effects[possible]), level),
        simulated=sizes(results, curve, level),
        recovered=bought(of_one) if of_one.trial.recovered_after else None,
        verdict_rule=VERDICT_RULE,
        planned=None,
        why_not=(),
    )
    return replace(
        answer,
        about=about(now, level, [*_warnings(now, answer, effects), *_told_together(athlete)]),
        planned=_design(answer, now.season, start, wanted.seed) if sessions else None,
        why_not=() if sessions else (_why_not(answer),),
    )


def to_record(answer: TrialPlan, trials: Sequence[Trial], written: dt.datetime) -> Planned:
    """Return the event that a plan is kept as.

    Args:
        answer: the plan.
        trials: the season's trials so far.
        written: when it is written down.

    Raises:
        NoAnswerError: no trial of a sensible size would do.
    """
    if answer.planned is None:
        raise NoAnswerError(*answer.why_not)
    number = 1 + max((t.plan.trial for t in trials), default=0)
    return Planned(trial=number, written=written, **answer.planned.model_dump())


def _check(now: Standing, wanted: Wanted, trials: Sequence[Trial]) -> np.datetime64:
    """Refuse what is asked wrongly, and return the first day."""
    for trial in trials:
        if trial.open:
            raise QuestionError(
                f"The trial of {trial.plan.measure!r} is still open. One measure at a time: finish "
                "it, or stop it."
            )
    if not wanted.measure.strip() or not wanted.measure.isprintable():
        raise QuestionError("Name the measure as you will log it in interventions.csv.")
    if wanted.smallest is not None and not 0 < wanted.smallest < np.inf:
        raise QuestionError("The smallest effect is in days saved, above 0, such as 0.5.")
    if not 0 < wanted.chance < 1:
        raise QuestionError("The wanted chance is a share between 0 and 1, such as 0.8.")
    if wanted.sessions is not None and wanted.sessions < 2:
        raise QuestionError("The number of sessions per arm is 2 or more.")
    start = now.season.last_night + DAY if wanted.start is None else wanted.start
    if start <= now.season.last_night:
        raise QuestionError(
            "A trial is drawn by lot before its days: its first day must be after the last "
            f"reading, {now.season.last_night}."
        )
    if n.TYPE_LOG_DIP not in now.draws:
        raise NoAnswerError(Reason("no recovery to speed up"))
    return start


def _shares(now: Standing, habits: Habits) -> dict[str, float]:
    """Return the trial's types, longest recovery first, and their shares."""
    left = np.median(effect.days_to_shorten(now), axis=0)
    order = [now.types[i] for i in np.argsort(-left) if left[i] >= LEAST_TO_SHORTEN]
    shares = shares_of(habits, order)
    if not shares:
        raise NoAnswerError(Reason("nothing left to shorten", least_days=LEAST_TO_SHORTEN))
    return shares


def _findable(
    to_shorten: Floats, prior: Belief, size: int, chance: float, simulate: _Simulate
) -> float:
    """Return the smallest effect that a number of sessions finds, from a few trials first."""
    chosen = np.linspace(0, len(to_shorten) - 1, PILOTS).astype(int)
    pilots = simulate(size, {int(s): float(np.log(PILOT_RATIO)) for s in chosen})
    information = np.resize(information_of(pilots, prior), len(to_shorten))
    most = float(np.median(to_shorten))
    found = smallest_found(to_shorten, information, prior, size, chance, most)
    return found if np.isfinite(found) else max(0.1, round(most / 2, 1))


def _effects(to_shorten: Floats, smallest: float) -> Floats:
    """Return the log rate ratio that saves the smallest effect, NaN where none does, shape (S,)."""
    effects = effect.log_ratio_for(to_shorten, smallest)
    if np.isfinite(effects).mean() < 0.5:
        left = float(np.median(to_shorten))
        raise NoAnswerError(Reason("more than there is to save", days=smallest, left_days=left))
    return effects


def _tasks(
    athlete: Athlete,
    wanted: Wanted,
    size: int | None,
    habits: Habits,
    types: list[str],
    effects: Mapping[int, float],
) -> list[Rehearsal]:
    """Return the trials to simulate, one for each of these draws and its log rate ratio.

    Args:
        athlete: the season and what was learnt of it.
        wanted: what the trial is for.
        size: sessions per arm; several sizes in turn where it is None.
        habits: how training goes on.
        types: the trial's.
        effects: the log rate ratio, by draw.
    """
    now = athlete.now
    past = season_before(now.season, wanted.measure)
    each = (size,) if size else SIZES
    draws = now.draws.sizes["sample"]
    belief = athlete.posterior.priors.lift_of(wanted.measure)
    lift = np.random.default_rng(wanted.seed).normal(*belief, draws)
    earlier = np.zeros(draws)
    if wanted.measure in now.interventions:
        earlier, lift = now.log_ratio(wanted.measure), now.lift(wanted.measure)
    tasks = []
    for k, (at, log_ratio) in enumerate(effects.items()):
        ratios = {
            wanted.measure: float(np.exp(log_ratio)),
            outside(wanted.measure): float(np.exp(earlier[at])),
        }
        lifts = dict.fromkeys(ratios, float(lift[at]))
        seed = wanted.seed + 1 + k
        tasks.append(
            Rehearsal(
                past=past,
                habits=habits,
                truth=truth_of(
                    now.draws.isel(sample=at), float(now.level.mean[BASELINE, at]), ratios, lifts
                ),
                measure=wanted.measure,
                trial=Assigned(
                    now.season.last_night + DAY, types, seed, recovered_after(now, types)
                ),
                sessions_per_arm=each[k % len(each)],
                seed=seed,
                priors=athlete.posterior.priors,
            )
        )
    return tasks


def _design(answer: TrialPlan, season: Season, start: np.datetime64, seed: int) -> Design:
    sessions, recovered = answer.sessions_per_arm, answer.recovered
    drawn = [*answer.types, *([RECOVERED] if recovered else [])]
    return Design(
        measure=answer.measure,
        start=start.astype(object),
        sessions_per_arm=sessions,
        smallest_days=answer.smallest_days,
        threshold_percent=season.threshold_percent,
        wanted_chance=answer.wanted_chance,
        expected_chance=round(answer.expected_chance.median, 3),
        types={label: round(share, 3) for label, share in answer.types.items()},
        recovered_after=dict(recovered.after) if recovered else {},
        seed=seed,
        assignment=ASSIGNMENT_RECOVERED if recovered else ASSIGNMENT,
        pairs=orders(seed, drawn, sessions),
        verdict_rule=answer.verdict_rule,
    )


def _why_not(answer: TrialPlan) -> Reason:
    facts = {
        "measure": answer.measure,
        "sessions_per_arm": answer.sessions_per_arm,
        "weeks": answer.planned_weeks,
        "days": answer.smallest_days,
        "chance": answer.expected_chance.median,
    }
    if np.isfinite(answer.smallest_found_days):
        instead = {"found_days": answer.smallest_found_days, "found_sessions": OFFERED}
        return Reason("too small to find", **facts, **instead)
    return Reason("nothing can be found", **facts)


def _told_together(athlete: Athlete) -> list[Reason]:
    """Return that more is asked of the verdict than of the chance, where trials were judged."""
    judged = sum(trial.analysed is not None for trial in athlete.trials)
    return [Reason("told together with others", trials=judged)] if judged else []


def _warnings(now: Standing, answer: TrialPlan, effects: Floats) -> list[Reason]:
    """Return what to mind with a plan.

    Args:
        now: the state.
        answer: the plan.
        effects: the log rate ratio that saves the smallest effect, NaN where none does.
    """
    said = [why for label, why in confounded_types(now).items() if label in answer.types]
    impossible = float(np.isnan(effects).mean())
    if impossible > 0.05:
        days = answer.smallest_days
        said.append(Reason("maybe more than there is to save", share=impossible, days=days))
    earlier = len(logged_days(now.season, answer.measure))
    if earlier:
        said.append(Reason("used before its trial", measure=answer.measure, days=earlier))
    table = answer.simulated
    largest = int(table[SIZE].max())
    if answer.sessions_per_arm > largest:
        said.append(Reason("larger than simulated", sessions_per_arm=largest))
    expected = float((table["trials"] * table["chance"]).sum())
    spread = float((table["trials"] * table["chance"] * (1 - table["chance"])).sum()) ** 0.5
    seen = int(table["faster"].sum())
    if abs(seen - expected) > 2.6 * spread + 0.5:  # beyond what 99 in 100 plans show
        said.append(Reason("counts differ from the curve", expected=expected, seen=seen))
    return list(dict.fromkeys(said))
