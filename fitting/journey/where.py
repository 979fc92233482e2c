"""How far a season folder has come, and the next step from there."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from slackwater.fitting.journey.next_step import NextStep, Where, next_step
from slackwater.model.errors import NoAnswerError, SlackwaterError

if TYPE_CHECKING:
    from slackwater.fitting.intake import SeasonCheck
    from slackwater.model.season import Season


def next_of(folder: Path, asked: str, found: SeasonCheck | None = None) -> NextStep:
    """Return the next step of a season folder, whatever state it is in.

    Args:
        folder: the season folder; it need not exist.
        asked: the question that was answered just now.
        found: what it holds; read if left out.
    """
    from slackwater.fitting.intake import check_season

    found = found or check_season(folder)
    at = Where(folder=shlex.quote(str(folder)), asked=asked)
    if found.season is None:
        begun = (folder / "readings.csv").exists()
        return next_step(at._replace(begun=begun, problems=len(found.problems)))
    season = found.season
    facts = _log(season) | _fit(season, folder) | _plan(season, folder) | _trial(season, folder)
    if facts.get("fitted_until"):
        until = facts.pop("fitted_until")
        facts["plan_fitted"] = until > facts.get("plan_until", "")
    return next_step(at._replace(**facts))


def _log(season: Season) -> dict[str, Any]:
    from slackwater.fitting.answers.support import FEW_SESSIONS
    from slackwater.model import names as n
    from slackwater.model.season import DAY

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


def _fit(season: Season, folder: Path) -> dict[str, Any]:
    from slackwater.fitting.answers.baseline import FLAT_NIGHTS_NEEDED, flat_nights
    from slackwater.fitting.sampling.posterior import FILE_NAME, Posterior
    from slackwater.fitting.state.standing import standing

    if not (folder / FILE_NAME).exists():
        return {}
    try:
        posterior = Posterior.load(folder)
        now = standing(season, posterior)
    except NoAnswerError:
        return {"fitted": True}
    read = season.nights[season.read]
    return {
        "fitted": True,
        "answers": True,
        "fit_age": int((read > posterior.last_night).sum()),
        "fitted_until": str(posterior.last_night),
        "plateau": flat_nights(now) >= FLAT_NIGHTS_NEEDED,
    }


def _plan(season: Season, folder: Path) -> dict[str, Any]:
    from slackwater.fitting.records.plans import FILE_NAME, read_plans
    from slackwater.model.season import DAY

    path = folder / FILE_NAME
    try:
        plans = read_plans(path.read_bytes(), str(path))
    except (OSError, SlackwaterError):
        return {}
    if not plans:
        return {}
    until = np.datetime64(plans[-1].start) + DAY * (plans[-1].days - 1)
    return {"plan_until": str(until), "plan_over": bool(season.last_night > until)}


def _trial(season: Season, folder: Path) -> dict[str, Any]:
    from slackwater.fitting.records.trials import read_trials
    from slackwater.fitting.trials.analyse import due, latest_trial

    try:
        found = latest_trial(read_trials(folder))
    except SlackwaterError:
        return {}
    facts: dict[str, Any] = {"trial": found}
    if found.analysed is not None:
        judged = np.datetime64(found.analysed.last_night)
        facts["since_judged"] = int((season.nights[season.read] > judged).sum())
    try:
        due(season, found)
    except NoAnswerError:
        return facts
    return facts | {"due": True}
