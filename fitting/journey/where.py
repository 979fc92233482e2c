"""How far a season folder has come."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from slackwater.fitting.answers.support import FEW_SESSIONS
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.journey.next_step import NextStep, Where, next_step
from slackwater.fitting.spacing.overtaken import overtaken, to_come
from slackwater.fitting.spacing.session import day_of, log_of
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason, SlackwaterError
from slackwater.model.season import DAY, Season


def next_of(folder: SeasonFolder, asked: str) -> NextStep:
    """Return the next step of a season folder, whatever state it is in.

    Args:
        folder: the season folder; it need not exist.
        asked: the question that was answered just now.
    """
    checked = folder.checked
    at = Where(asked=asked)
    if checked.season is None:
        return next_step(at._replace(begun=folder.begun, problems=len(checked.problems)))
    log, fit = _log(checked.season), _fit(folder)
    if fit.get("answers") and not log["sessions"]:
        from slackwater.fitting.answers.baseline import plateau  # slow to import

        fit["plateau"] = plateau(folder.now).reached
    return next_step(at._replace(**log, **fit, **_plan(folder), **_trial(folder)))


def _log(season: Season) -> dict[str, Any]:
    seen = season.observed().data
    types = [str(t) for t in seen[n.SESSION_TYPE].values]
    counts = sorted((types.count(label), label) for label in set(types))
    facts = {"readings": int(season.read.sum()), "sessions": len(types)}
    if not counts:
        return facts
    first = seen[n.SESSION_DATE].values.astype("datetime64[D]").min()
    return facts | {
        "weeks": int((season.last_night - first) / DAY) // 7,
        "rare": counts[0][1] if counts[0][0] < FEW_SESSIONS else "",
        "plan_for": counts[-1][1],
        "attributes": bool(season.attributes),
    }


def _fit(folder: SeasonFolder) -> dict[str, Any]:
    if not folder.fitted:
        return {}
    try:
        now = folder.now
    except NoAnswerError:
        return {"fitted": True}
    return {
        "fitted": True,
        "answers": True,
        "fit_age": folder.newer_readings,
        "fitted_until": str(now.fitted_to),
        "unexplained": now.unexplained is not None,
    }


def _plan(folder: SeasonFolder) -> dict[str, Any]:
    try:
        plans = folder.plans
    except SlackwaterError:
        return {}
    if not plans:
        return {}
    until = np.datetime64(plans[-1].start) + DAY * (plans[-1].days - 1)
    facts = {"plan_until": str(until), "plan_over": bool(folder.season.last_night > until)}
    return facts | ({"overtaken": True, **_left_of(folder)} if overtaken_plan(folder) else {})


def overtaken_plan(folder: SeasonFolder) -> tuple[Reason, ...]:
    """Return why the plan to come no longer holds; empty where it does or nobody can tell."""
    try:
        return overtaken(folder) if folder.checked.season and folder.fitted else ()
    except SlackwaterError:
        return ()


def _left_of(folder: SeasonFolder) -> dict[str, Any]:
    """Return what is to be planned anew, for the days that the last session to come lies in."""
    night = day_of(folder.season.last_night)
    left = to_come(folder.plans, log_of(folder.season), night).sessions
    days = max((left[-1].date - night).days + 1, len(left))
    return {"plan_left": tuple(Counter(s.type for s in left).items()), "plan_days": days}


def _trial(folder: SeasonFolder) -> dict[str, Any]:
    try:
        trials = folder.trials
    except SlackwaterError:
        return {}
    if not trials:
        return {}
    from slackwater.fitting.measures.verdicts import verdict_of
    from slackwater.fitting.records.trials import latest_trial  # slow to import
    from slackwater.fitting.trials.analyse import due

    season, found = folder.season, latest_trial(trials)
    facts: dict[str, Any] = {"trial": found, "verdict": verdict_of(folder, found)}
    if found.analysed is not None:
        judged = np.datetime64(found.analysed.last_night)
        facts["since_judged"] = int((season.nights[season.read] > judged).sum())
    try:
        due(season, found)
    except NoAnswerError:
        return facts
    return facts | {"due": True}
