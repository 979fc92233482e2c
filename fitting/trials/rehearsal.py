"""Whole trials simulated beforehand: trained, randomised, read, fitted and judged.

Each simulated athlete is one draw of the posterior, who goes on training as in the last
weeks; the measure has exactly the smallest effect worth having.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.context import BaseContext
from multiprocessing.synchronize import Lock
from typing import Final, NamedTuple

import numpy as np
import pandas as pd
import xarray as xr

from slackwater.fitting.apart import ONE_THREAD, end_with_parent
from slackwater.fitting.measures.verdicts import Effect, verdict
from slackwater.fitting.trials.stretches import (
    Assigned,
    before_trial,
    planned_part,
    stretches_of,
    used_as_assigned,
)
from slackwater.model import names as n
from slackwater.model.dynamics import share_of
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import LN_2, Priors
from slackwater.model.season import DAY, Season
from slackwater.model.simulator import Impulse, Truth, plan_season, simulate

HABIT_DAYS: Final = 84  # training goes on as in these last days
FEWEST_HABIT_DAYS: Final = 21
PAST_DAYS: Final = 182  # of the season so far, that many days go before the trial
LONGEST_DAYS: Final = 1095
_turns: Lock | None = None  # held by one process at a time, while it compiles


class Habits(NamedTuple):
    """How an athlete trains and reads.

    Attributes:
        days: length of the stretch it was taken from.
        sessions: `offset` (days from its first day), `type`, `dose`.
        read_share: share of nights that are read.
    """

    days: int
    sessions: pd.DataFrame
    read_share: float


@dataclass(frozen=True)
class Rehearsal:
    """One trial to simulate.

    Attributes:
        past: what goes before the trial.
        habits: how training goes on.
        truth: the athlete, with the measure's rate ratio.
        measure: the measure under trial.
        trial: what the assignment depends on.
        sessions_per_arm: size of the trial.
        seed: of everything random.
        priors: what its fit believes beforehand.
    """

    past: Season
    habits: Habits
    truth: Truth
    measure: str
    trial: Assigned
    sessions_per_arm: int
    seed: int
    priors: Priors


class Rehearsed(NamedTuple):
    """How one simulated trial ended.

    Attributes:
        sessions_per_arm: its size.
        days: how long it took.
        log_ratio: the true log rate ratio.
        mean: posterior mean of it.
        sd: its posterior standard deviation.
        verdict: by the rule.
    """

    sessions_per_arm: int
    days: int
    log_ratio: float
    mean: float
    sd: float
    verdict: str


def habits_of(season: Season) -> Habits:
    """Return how the athlete trained in the last weeks.

    Raises:
        NoAnswerError: too short a time.
    """
    sessions = season.tables()["sessions"]
    dates = sessions["date"].to_numpy().astype("datetime64[D]")
    last = season.last_night
    done = dates[dates <= last]
    since = int((last - done.min()) / DAY) + 1 if len(done) else 0
    days = min(HABIT_DAYS, since - since % 7)
    if days < FEWEST_HABIT_DAYS:
        raise NoAnswerError(Reason("too little training", days=since, needed=FEWEST_HABIT_DAYS))
    offset = (dates - (last - (days - 1) * DAY)) / DAY
    kept = (offset >= 0) & (dates <= last)
    table = sessions[kept].assign(offset=offset[kept].astype(int))
    return Habits(days, table[["offset", "type", "dose"]], float(season.read.mean()))


def shares_of(habits: Habits, types: Sequence[str]) -> dict[str, float]:
    """Return the share of each of these types among their sessions."""
    counts = {t: int((habits.sessions["type"] == t).sum()) for t in types}
    total = sum(counts.values())
    return {t: count / total for t, count in counts.items() if count}


def truth_of(
    draw: xr.Dataset, level: float, ratios: dict[str, float], lifts: dict[str, float]
) -> Truth:
    """Return the athlete that one draw of the posterior describes.

    Args:
        draw: one draw.
        level: baseline on the first night, ln ms.
        ratios: rate ratio of measures beside those of the draw.
        lifts: what each of these adds to a night's reading, ln.
    """

    def impulses(dim: str, dip: str, rate: str) -> dict[str, Impulse]:
        if dip not in draw:
            return {}
        each = zip(draw[dim].values, draw[dip].values, draw[rate].values, strict=True)
        return {str(k): Impulse(float(np.exp(d)), LN_2 / float(np.exp(r))) for k, d, r in each}

    def named(dim: str, name: str) -> dict[str, float]:
        if name not in draw:
            return {}
        return {str(k): float(v) for k, v in zip(draw[dim].values, draw[name].values, strict=True)}

    week = [float(draw[n.WEEKDAY_SD]) * z for z in named(n.WEEKDAY, n.WEEKDAY_Z).values()]
    learnt = {k: float(np.exp(v)) for k, v in named(n.INTERVENTION, n.LOG_RATE_RATIO).items()}
    return Truth(
        baseline_ms=float(np.exp(level)),
        types=impulses(n.TYPE, n.TYPE_LOG_DIP, n.TYPE_LOG_RATE),
        start=Impulse(float(draw[n.START_DIP]), LN_2 / float(np.exp(draw[n.START_LOG_RATE]))),
        stressors=impulses(n.STRESSOR, n.STRESSOR_LOG_DIP, n.STRESSOR_LOG_RATE),
        rate_ratios=learnt | ratios,
        lifts=named(n.INTERVENTION, n.LIFT) | lifts,
        sensor_steps=named(n.OTHER_SENSOR, n.SENSOR_STEP),
        week=tuple(week) or (0.0,) * 7,
        noise_sd=float(draw[n.NOISE_SD]),
        lingering=float(share_of(draw[n.LINGERING_ODDS].values)),
        persistence=float(share_of(draw[n.PERSISTENCE_ODDS].values)),
        noise_tail=float(draw[n.NOISE_TAIL]),
        drift_sd=float(draw[n.DRIFT_SD]),
        session_sd=float(draw[n.SESSION_SD]),
        first_night=float(draw[n.FIRST_NIGHT]),
    )


def season_before(season: Season, measure: str) -> Season:
    """Return the last half-year of a season, earlier use of the measure under another label."""
    tables = season.observed().tables()
    for key in ("readings", "sessions", "interventions", "stressors"):
        dates = tables[key]["date"].to_numpy().astype("datetime64[D]")
        tables[key] = tables[key][dates > season.last_night - PAST_DAYS * DAY]
    tables["types"] = tables["types"][tables["types"]["type"].isin(tables["sessions"]["type"])]
    first = season.last_night + DAY
    tables["interventions"] = before_trial(tables["interventions"], measure, first)
    return Season.from_tables(season.name, **tables)


def rehearse(task: Rehearsal) -> Rehearsed:
    """Simulate one trial from its first day to its verdict."""
    from slackwater.fitting.sampling.brief import fit_briefly, take_turns

    if _turns is not None:
        take_turns(_turns)
    rng = np.random.default_rng(task.seed)
    plan = trial_plan(task, rng)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # libraries' notices to developers
        made = simulate(task.truth, plan, rng).season
        posterior = fit_briefly(made, priors=task.priors, seed=task.seed)
    draws = posterior.draws
    ratios = draws[n.LOG_RATE_RATIO].sel({n.INTERVENTION: task.measure}).values
    effect = Effect.of(ratios, task.priors.log_rate_ratio_of(task.measure))
    return Rehearsed(
        sessions_per_arm=task.sessions_per_arm,
        days=int((made.last_night - task.trial.start) / DAY) + 1,
        log_ratio=float(np.log(task.truth.rate_ratios[task.measure])),
        mean=effect.mean,
        sd=effect.sd,
        verdict=verdict(effect.below),
    )


def trial_plan(task: Rehearsal, rng: np.random.Generator) -> Season:
    """Return the season of a trial from beginning to end, without readings yet.

    Raises:
        NoAnswerError: it would take more than three years.
    """
    habits, past = task.habits, task.past
    turn = int(rng.integers(habits.days))  # begin anywhere in the weeks that are repeated
    length = habits.days
    while length <= LONGEST_DAYS:
        length *= 2
        season = _trained(task, length, turn, rng)
        stretches = planned_part(stretches_of(season, task.trial), task.sessions_per_arm)
        if stretches is None:
            continue
        tables = season.tables()
        table = used_as_assigned(tables["interventions"], task.measure, stretches)
        tables["interventions"] = table
        readings = tables["readings"]
        return plan_season(
            past.name,
            readings[readings["date"] <= stretches[-1].end][["date", "sensor"]],
            *(tables[key] for key in ("sessions", "types", "interventions", "stressors")),
        ).observed()
    facts = {"measure": task.measure, "sessions": task.sessions_per_arm}
    raise NoAnswerError(Reason("trial takes years", **facts, pace_days=habits.days))


def _trained(task: Rehearsal, length: int, turn: int, rng: np.random.Generator) -> Season:
    """Return the past, and `length` more days of training as usual with nights to be read."""
    habits, tables = task.habits, task.past.tables()
    cycles = np.arange(length // habits.days + 2)
    at = np.asarray(habits.sessions["offset"].to_numpy())[None, :] + cycles[:, None] * habits.days
    more = pd.concat([habits.sessions[["type", "dose"]]] * len(cycles), ignore_index=True)
    days = at.ravel() - turn
    kept = (days >= 0) & (days < length - 1)
    more = more[kept].assign(date=task.trial.start + days[kept] * DAY)
    sessions = pd.concat([tables["sessions"], more], ignore_index=True)
    nights = task.trial.start + np.arange(length) * DAY
    read = rng.random(length) < habits.read_share
    read[-1] = True
    sensor = tables["readings"]["sensor"].iloc[-1]
    coming = pd.DataFrame({"date": nights[read], "sensor": sensor})
    return plan_season(
        task.past.name,
        pd.concat([tables["readings"][["date", "sensor"]], coming], ignore_index=True),
        sessions,
        tables["types"],
        tables["interventions"],
        tables["stressors"],
    )


def rehearse_all(
    tasks: Sequence[Rehearsal],
    progress: Callable[[int, int], None] | None = None,
    work: Callable[[Rehearsal], Rehearsed] = rehearse,
) -> list[Rehearsed]:
    """Simulate many trials on all cores.

    Args:
        tasks: what to simulate.
        progress: called with the trials done and the trials in all.
        work: what simulates one, a function of a module.

    Returns:
        How they ended, in the order of `tasks`.
    """
    workers, context = min(os.cpu_count() or 1, len(tasks)), _context()
    with ProcessPoolExecutor(workers, context, _begin, (context.Lock(),)) as pool:
        with _beginning_with(ONE_THREAD):
            waiting = [pool.submit(work, task) for task in tasks]
        try:
            for done, finished in enumerate(as_completed(waiting), start=1):
                finished.result()  # stop at the first that fails
                if progress is not None:
                    progress(done, len(tasks))
        finally:
            pool.shutdown(cancel_futures=True)
    return [each.result() for each in waiting]


@contextmanager
def _beginning_with(variables: Mapping[str, str]) -> Iterator[None]:
    """Have processes that begin meanwhile find these variables in their environment."""
    before = {name: os.environ.get(name) for name in variables}
    os.environ.update(variables)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _context() -> BaseContext:
    """Return how processes begin: where forks are safe, as copies of one that has loaded all."""
    if sys.platform != "linux":
        return get_context("spawn")
    context = get_context("forkserver")
    context.set_forkserver_preload(["slackwater.fitting.sampling.brief"])
    return context


def _begin(lock: Lock) -> None:
    """Let what rehearses in this process compile only what no other process has."""
    global _turns
    _turns = lock
    end_with_parent()
