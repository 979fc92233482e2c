"""How large a trial of one recovery measure must be, and its assignment."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.compare import VERDICT_RULE
from slackwater.fitting.answers.intervals import BOUND, DEFAULT_LEVEL, check_level, interval
from slackwater.fitting.answers.sayings import answer
from slackwater.fitting.records.lots import ASSIGNMENT
from slackwater.fitting.records.trials import Planned, Trial, orders
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials import effect
from slackwater.fitting.trials.plan_sayings import (
    refuse_too_large,
    refuse_too_long,
    warnings_of,
)
from slackwater.fitting.trials.rehearsal import (
    Habits,
    Rehearsal,
    Rehearsed,
    habits_of,
    outside,
    past_of,
    rehearse_all,
    shares_of,
    truth_of,
)
from slackwater.fitting.trials.sizes import (
    LARGEST,
    chance_range,
    information_of,
    pace,
    sizes,
    smallest_found,
)
from slackwater.fitting.trials.stretches import Assigned
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError
from slackwater.model.season import DAY

SIZES: Final = (8, 12, 16, 24, 32)
REHEARSALS: Final = 40
LEAST_TO_SHORTEN: Final = 0.5  # days: a type with less left after its first reading shows nothing
PILOTS: Final = 8
PILOT_RATIO: Final = 1.5  # what a session adds to what is known depends little on it
USUAL_SIZE: Final = 24  # sessions per arm: about half a year of most training
SMALLEST_RULE: Final = "about the smallest that {} sessions per arm can find"
CHANCE: Final = 0.8

Run = Callable[[Sequence[Rehearsal]], list[Rehearsed]]


@dataclass(frozen=True)
class Wanted:
    """What a trial is wanted for.

    Attributes:
        measure: the recovery measure, as it will be logged.
        smallest: the smallest effect worth having, days saved for a typical session; None for
            the smallest that 24 sessions per arm (or `sessions`) can find.
        chance: the wanted chance of the verdict "faster" if that effect is true.
        sessions: sessions per arm, None to find the number.
        seed: of the assignment.
        start: first day of the trial, the day after the last reading if left out.
    """

    measure: str
    seed: int
    smallest: float | None = None
    chance: float = CHANCE
    sessions: int | None = None
    start: np.datetime64 | None = None


def plan_trial(
    now: Standing,
    wanted: Wanted,
    trials: Sequence[Trial] = (),
    level: float = DEFAULT_LEVEL,
    run: Run = rehearse_all,
) -> xr.Dataset:
    """Answer how many sessions a trial needs, by simulating whole trials and fitting them.

    Args:
        now: the state, from `standing`.
        wanted: what the trial is for.
        trials: the season's trials so far.
        level: mass of every range.
        run: simulates the trials.

    Returns:
        Dimension `size`: `simulated`, `faster` (how many ended with that verdict),
        `faster_share` (size, bound), `chance` (by the smooth curve), `weeks`. Scalars
        `sessions_per_arm`, `expected_chance` (bound), `planned_weeks`, `smallest_found`
        (days saved that a trial of that size finds with the wanted chance), `smallest_ratio`
        (bound). Attribute `planned` holds all that the record will keep, None where no
        trial of at most 64 sessions per arm has the wanted chance.

    Raises:
        QuestionError: out of range, or another trial is open.
        NoAnswerError: nothing to learn it from, or too small an effect for any measure.
    """
    check_level(level)
    start = _check(now, wanted, trials)
    habits = habits_of(now.season)
    shares = _shares(now, habits)
    to_shorten = effect.typical_session(now, shares)
    lots = Assigned(now.season.last_night + DAY, list(shares), wanted.seed)

    def simulated(size: int | None, truths: dict[int, float]) -> list[Rehearsed]:
        return run(_tasks(now, replace(wanted, sessions=size), lots, habits, truths))

    smallest = wanted.smallest
    if smallest is None:
        smallest = _findable(to_shorten, wanted, simulated)
    effects = effect.log_ratio_for(to_shorten, smallest)
    refuse_too_large(smallest, to_shorten, effects)
    possible = np.flatnonzero(np.isfinite(effects))
    chosen = possible[np.linspace(0, len(possible) - 1, REHEARSALS).astype(int)]
    results = simulated(wanted.sessions, {int(s): effects[s] for s in chosen})
    true, information = effects[chosen], information_of(results)
    sessions = wanted.sessions or effect.sessions_for(true, information, wanted.chance, LARGEST)
    shown = sessions or LARGEST
    data = sizes(results, true, information, level).assign(
        sessions_per_arm=shown,
        expected_chance=chance_range(true, information, shown, level),
        planned_weeks=pace(results) * shown,
        smallest_found=smallest_found(to_shorten[chosen], information, shown, wanted.chance),
        smallest_ratio=interval(np.exp(effects[possible]), level),
    )
    planned = None if sessions is None else _planned(wanted, smallest, start, shares, data)
    return answer(
        data,
        "trial plan",
        now,
        level,
        warnings_of(now, wanted.measure, smallest, effects, shares, data),
        measure=wanted.measure,
        smallest=smallest,
        smallest_rule=_rule(wanted),
        wanted_chance=wanted.chance,
        types=shares,
        verdict_rule=VERDICT_RULE,
        planned=planned,
    )


def to_record(answer: xr.Dataset, trials: Sequence[Trial], written: dt.datetime) -> Planned:
    """Return the event that registers a planned trial.

    Raises:
        NoAnswerError: no trial of a sensible size would do.
    """
    refuse_too_long(answer)
    number = 1 + max((t.plan.trial for t in trials), default=0)
    return Planned(trial=number, written=written, **answer.attrs["planned"])


def _check(now: Standing, wanted: Wanted, trials: Sequence[Trial]) -> np.datetime64:
    for trial in trials:
        if trial.open:
            raise QuestionError(
                f"The trial of {trial.plan.measure!r} is still open. One measure at a time: finish "
                "it, or give it up with: slackwater trial stop SEASON_FOLDER --because WORDS"
            )
    if not wanted.measure.strip() or not wanted.measure.isprintable():
        raise QuestionError("Name the measure as you will log it in interventions.csv.")
    if wanted.smallest is not None and not 0 < wanted.smallest < np.inf:
        raise QuestionError("--smallest is in days saved, above 0, such as 0.5.")
    if not 0 < wanted.chance < 1:
        raise QuestionError("--chance is a share between 0 and 1, such as 0.8.")
    if wanted.sessions is not None and wanted.sessions < 2:
        raise QuestionError("--sessions is the number of sessions per arm, 2 or more.")
    start = now.season.last_night + DAY if wanted.start is None else wanted.start
    if start <= now.season.last_night:
        raise QuestionError(
            f"A trial is drawn by lot before its days: --start must be after the last reading, "
            f"{now.season.last_night}."
        )
    if n.TYPE_LOG_DIP not in now.draws:
        raise NoAnswerError("No session is logged, so there is no recovery to speed up.")
    return start


def _shares(now: Standing, habits: Habits) -> dict[str, float]:
    """Return the trial's types, longest recovery first, and their shares."""
    left = np.median(effect.days_to_shorten(now), axis=0)
    known = [str(t) for t in now.draws[n.TYPE].values]
    order = [known[i] for i in np.argsort(-left) if left[i] >= LEAST_TO_SHORTEN]
    shares = shares_of(habits, order)
    if not shares:
        raise NoAnswerError(
            "No type trained in the last weeks leaves a typical session at least half a day of "
            "recovery after its first reading, so there is nothing for a measure to work on."
        )
    return shares


def _rule(wanted: Wanted) -> str | None:
    """Return where the smallest effect comes from, None where it was named."""
    size = wanted.sessions or USUAL_SIZE
    return SMALLEST_RULE.format(size) if wanted.smallest is None else None


def _findable(
    to_shorten: np.ndarray,
    wanted: Wanted,
    simulated: Callable[[int | None, dict[int, float]], list[Rehearsed]],
) -> float:
    """Return the smallest effect that a usual number of sessions finds, from a few trials first."""
    size = wanted.sessions or USUAL_SIZE
    chosen = np.linspace(0, len(to_shorten) - 1, PILOTS).astype(int)
    pilots = simulated(size, {int(s): float(np.log(PILOT_RATIO)) for s in chosen})
    information = np.resize(information_of(pilots), len(to_shorten))
    found = smallest_found(to_shorten, information, size, wanted.chance)
    return found if np.isfinite(found) else max(0.1, round(float(np.median(to_shorten)) / 2, 1))


def _tasks(
    now: Standing,
    wanted: Wanted,
    lots: Assigned,
    habits: Habits,
    effects: dict[int, float],
) -> list[Rehearsal]:
    """Return the trials to simulate, one for each of these draws and its log rate ratio."""
    past = past_of(now.season, wanted.measure)
    each = (wanted.sessions,) if wanted.sessions else SIZES
    earlier = np.zeros(now.draws.sizes["sample"])
    if n.INTERVENTION in now.draws.coords and wanted.measure in now.draws[n.INTERVENTION].values:
        earlier = now.draws[n.LOG_RATE_RATIO].sel({n.INTERVENTION: wanted.measure}).values
    tasks = []
    for k, (at, log_ratio) in enumerate(effects.items()):
        ratios = {
            wanted.measure: float(np.exp(log_ratio)),
            outside(wanted.measure): float(np.exp(earlier[at])),
        }
        truth = truth_of(now.draws.isel(sample=at), float(now.level_mean[at]), ratios)
        seed = wanted.seed + 1 + k
        trial = lots._replace(seed=seed)
        tasks.append(
            Rehearsal(past, habits, truth, wanted.measure, trial, each[k % len(each)], seed)
        )
    return tasks


def _planned(
    wanted: Wanted,
    smallest: float,
    start: np.datetime64,
    shares: dict[str, float],
    data: xr.Dataset,
) -> dict[str, Any]:
    sessions = int(data["sessions_per_arm"])
    return {
        "measure": wanted.measure,
        "start": start.astype(object),
        "sessions_per_arm": sessions,
        "smallest_days": smallest,
        "wanted_chance": wanted.chance,
        "expected_chance": round(float(data["expected_chance"].sel({BOUND: "median"})), 3),
        "types": {label: round(share, 3) for label, share in shares.items()},
        "seed": wanted.seed,
        "assignment": ASSIGNMENT,
        "pairs": orders(wanted.seed, list(shares), sessions),
        "verdict_rule": VERDICT_RULE,
    }
