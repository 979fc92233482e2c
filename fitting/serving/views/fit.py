"""What was learnt and how old it is; learning anew in a process of its own."""

from __future__ import annotations

from typing import Any

from slackwater.fitting.daily.logged import FIRST_FIT
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.report.reasons import sentence, sentences, told
from slackwater.fitting.serving.asked import Answered, Ask, Elsewhere, Shown
from slackwater.fitting.serving.work import FIT
from slackwater.model.errors import NoAnswerError, SlackwaterError


def show(ask: Ask) -> Shown:
    """Show what the answers rest on, and how far learning anew has come."""
    season = ask.season
    readings, work = season.checked.season, ask.works.on(season.path)
    facts = {
        "work": work if work is not None and work.kind == FIT else None,
        "busy": work is not None and work.running,
        "readings": 0 if readings is None else int(readings.read.sum()),
        "first_fit": FIRST_FIT,
        "fitted": season.fitted,
        "learnt": _learnt(season),
        "problems": [str(problem) for problem in season.checked.problems] if season.begun else [],
        "doubts": [sentence(found.reason) for found in season.doubts],
        "path": season.path,
    }
    return Shown("fit", "What the answers rest on", facts)


def start(ask: Ask) -> Answered:
    """Learn anew."""
    ask.works.start(ask.season.path, FIT)
    return Elsewhere(ask.to("fit"))


def stop(ask: Ask) -> Answered:
    """Stop what runs."""
    ask.works.stop(ask.season.path)
    then = ask.one("then") or ask.to("fit")
    return Elsewhere(then, ["Stopped; what was there is as it was."])


def confirm(ask: Ask) -> Answered:
    """Say that all rows are right that look wrong."""
    entered = ask.season.confirm()
    lines = ["Nothing looks wrong."] if entered is None else ["All of these count as right now."]
    return Elsewhere(ask.to("fit"), lines, undoes=entered is not None)


def _learnt(season: SeasonFolder) -> dict[str, Any] | None:
    """Return what was learnt last, and whether it still answers."""
    if not season.fitted:
        return None
    try:
        posterior = season.posterior
    except NoAnswerError as error:
        return {"until": "", "newer": 0, "why": told(error), "complaints": []}
    found = {"until": posterior.last_night, "complaints": sentences(posterior.checks.complaints)}
    try:
        _ = season.now
        return found | {"newer": season.newer_readings, "why": ""}
    except NoAnswerError as error:
        return found | {"newer": 0, "why": told(error)}
    except SlackwaterError:
        return found | {"newer": 0, "why": ""}
