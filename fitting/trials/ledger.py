"""Everything that was ever tested, judged together, so that no idea wins by luck."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import NormalDist
from typing import Any, Final, NamedTuple

import numpy as np
import xarray as xr

from slackwater.fitting.answers.compare import SURE
from slackwater.fitting.answers.intervals import BOUND, BOUNDS, DEFAULT_LEVEL, check_level
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.state.standing import Standing
from slackwater.fitting.trials.effect import PRIOR
from slackwater.fitting.trials.guards import trial_answer
from slackwater.fitting.trials.shrinkage import shrink, without_prior
from slackwater.fitting.trials.stretches import (
    assigned,
    counted,
    logged_days,
    planned_part,
    stretches_of,
)
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import Season

ROW: Final = "row"
SHRINKING: Final = (
    "alone: each measure by itself; together: all measures at once, as differing around a common "
    "centre, so that the best of many is pulled back by as much as luck explains"
)


Moments = tuple[float, float]  # mean and SD of the log rate ratio
NOTHING: Final[Moments] = (np.nan, np.nan)


class _Known(NamedTuple):
    """What is known of one row: its facts, and its posterior on the log rate ratio."""

    facts: dict[str, Any]
    mean: float
    sd: float


def trial_ledger(
    now: Standing | Season,
    trials: Sequence[Trial],
    level: float = DEFAULT_LEVEL,
    season: Season | None = None,
) -> xr.Dataset:
    """Answer what all measures ever tested did, each alone and all together.

    An analysed trial speaks by its recorded result. A measure that is used without a trial,
    or whose trial was stopped, speaks by the log; one whose trial is open not yet, since
    interim results are not shown.

    Args:
        now: the state, from `standing`; or the season alone, where no fit of it answers.
        trials: the season's trials.
        level: credible mass of every interval.
        season: the season as it is now, where the state is of its fitted part alone.

    Returns:
        Dimension `row`: `alone` and `together` (row, bound; rate ratio), `chance_faster`
        and `chance_faster_together`; NaN where nothing is known yet. Attribute `rows`: for
        each its `measure`, `trial` (None without one), `status`, `basis`, `needs_fit` (the log
        holds it and the fit does not), `verdict`, `start`, sessions and looks; attribute
        `faster` names the measures that are clearly faster, all judged together.

    Raises:
        NoAnswerError: nothing was ever tested.
    """
    check_level(level)
    whole = season or (now if isinstance(now, Season) else now.season)
    learnt = {} if isinstance(now, Season) else _learnt(now)
    rows = [*(_of_trial(whole, learnt, t, trials) for t in trials), *_of_log(whole, learnt, trials)]
    if not rows:
        raise NoAnswerError(
            "No measure was ever tested: none is logged in interventions.csv, and no trial is "
            "planned."
        )
    mean = np.array([row.mean for row in rows])
    sd = np.array([row.sd for row in rows])
    known = np.flatnonzero(np.isfinite(mean))
    estimate, error = without_prior(mean[known], sd[known], PRIOR.mean, PRIOR.sd)
    all_at_once = shrink(estimate, error)
    tail = (1 - level) / 2
    shares = (tail, 0.5, 1 - tail)
    alone = np.exp([mean + NormalDist().inv_cdf(share) * sd for share in shares]).T
    together = np.full(alone.shape, np.nan)
    chance = np.full(len(rows), np.nan)
    together[known] = np.exp([all_at_once.quantile(share) for share in shares]).T
    chance[known] = all_at_once.chance_above(0.0)
    data = xr.Dataset(
        {
            "alone": ((ROW, BOUND), alone),
            "together": ((ROW, BOUND), together),
            "chance_faster": (ROW, [NormalDist().cdf(r.mean / r.sd) for r in rows]),
            "chance_faster_together": (ROW, chance),
        },
        coords={BOUND: list(BOUNDS)},
    )
    of_log = any(row.facts["basis"] == "log" for row in rows)
    behind = [] if isinstance(now, Season) or not of_log else _behind(now, whole)
    of_fit = [] if isinstance(now, Season) else [*now.warnings, *behind]
    return trial_answer(
        data,
        "trial ledger",
        whole,
        level,
        [*of_fit, *_warnings(rows, data)],
        rows=[row.facts for row in rows],
        faster=[r.facts["measure"] for r, c in zip(rows, chance, strict=True) if c >= SURE],
        shrinking=SHRINKING,
    )


def _of_trial(
    season: Season, learnt: dict[str, Moments], trial: Trial, trials: Sequence[Trial]
) -> _Known:
    plan = trial.plan
    stretches = stretches_of(season, assigned(plan))
    stretches = planned_part(stretches, plan.sessions_per_arm) or stretches
    facts = {
        "measure": plan.measure,
        "trial": plan.trial,
        "status": trial.status(season.last_night.astype(object)),
        "start": str(plan.start),
        "sessions_per_arm": plan.sessions_per_arm,
        **{f"sessions_{arm}": count for arm, count in counted(stretches).items()},
        "looks": len(trial.looks),
        "verdict": trial.analysed.verdict if trial.analysed else None,
        "because": trial.stopped.because if trial.stopped else None,
        "needs_fit": False,
    }
    if trial.analysed is not None:
        found = trial.analysed
        facts["basis"] = "trial"
        return _Known(facts, found.log_rate_ratio_mean, found.log_rate_ratio_sd)
    # The log of a measure with another trial holds that one's days, maybe not yet to be seen.
    alone = sum(t.plan.measure == plan.measure for t in trials) == 1
    if trial.stopped is not None and alone and plan.measure in season.interventions:
        return _by_log(facts, learnt)
    return _Known(facts | {"basis": None}, *NOTHING)


def _of_log(season: Season, learnt: dict[str, Moments], trials: Sequence[Trial]) -> list[_Known]:
    """Return the measures that are logged and never had a trial."""
    tried = {t.plan.measure for t in trials}
    return [
        _by_log(
            {
                "measure": name,
                "trial": None,
                "status": "no trial",
                "start": str(logged_days(season, name).min()),
                "sessions_per_arm": None,
                "sessions_with": None,
                "sessions_without": None,
                "looks": 0,
                "verdict": None,
                "because": None,
            },
            learnt,
        )
        for name in season.interventions
        if name not in tried
    ]


def _by_log(facts: dict[str, Any], learnt: dict[str, Moments]) -> _Known:
    """Return a row that speaks by what the fit made of the log, where it has seen the measure."""
    seen = facts["measure"] in learnt
    facts = facts | {"basis": "log" if seen else None, "needs_fit": not seen}
    return _Known(facts, *learnt.get(facts["measure"], NOTHING))


def _learnt(now: Standing) -> dict[str, Moments]:
    """Return mean and SD of the log rate ratio of each measure that the fit has seen."""
    if n.INTERVENTION not in now.draws.coords:
        return {}
    draws = now.parameter(n.LOG_RATE_RATIO)
    names = [str(name) for name in now.draws[n.INTERVENTION].values]
    return {
        name: (float(draws[:, k].mean()), float(draws[:, k].std())) for k, name in enumerate(names)
    }


def _behind(now: Standing, season: Season) -> list[str]:
    if now.season.last_night >= season.last_night:
        return []
    return [
        f"What the log tells is told up to {now.season.last_night}, as the fit does not take in "
        "what came since."
    ]


def _warnings(rows: Sequence[_Known], data: xr.Dataset) -> list[str]:
    said = []
    alone = data["chance_faster"].values
    together = data["chance_faster_together"].values
    for row, first, then in zip(rows, alone, together, strict=True):
        if first >= SURE > then:
            said.append(
                f"{row.facts['measure']!r} looks faster by itself, but not among all that was "
                "tried: take it as a hint, and try it again."
            )
        if row.facts["looks"] and row.facts["verdict"]:
            said.append(
                f"Interim results of {row.facts['measure']!r} were looked at "
                f"{row.facts['looks']} times before its end."
            )
    unfitted = [repr(row.facts["measure"]) for row in rows if row.facts["needs_fit"]]
    if unfitted:
        said.append(
            f"Not in the fit yet: {', '.join(unfitted)}. slackwater fit SEASON_FOLDER learns what "
            "the log tells."
        )
    if any(row.facts["status"] == "no trial" and row.facts["basis"] for row in rows):
        said.append(
            "Measures without a trial were used when the athlete chose, so what else differed on "
            "those days counts for them too."
        )
    return said
