"""This morning: the reading, where the athlete stands, and what the day asks for."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import numpy as np

from slackwater.fitting.answers.baseline import baseline
from slackwater.fitting.answers.forecast import forecast
from slackwater.fitting.daily.typed import Typed
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.journey.where import next_of
from slackwater.fitting.questions import question
from slackwater.fitting.report import steps, words
from slackwater.fitting.report.caution import SHORT_CAUTION
from slackwater.fitting.report.page.pieces import pieces
from slackwater.fitting.report.reasons import sentences, told
from slackwater.fitting.serving.asked import Answered, Ask, Shown
from slackwater.fitting.serving.days import Calendar, reading_of
from slackwater.fitting.serving.views.entering import enter
from slackwater.model.errors import NoAnswerError, SlackwaterError

_WAYS: Final = {  # the view that a next step is done in, where it is not this one
    "mend": "fit", "fit": "fit", "judge": "trial", "trial": "trial", "books": "trial",
    "adopt": "season", "fit what is new": "fit", "find out": "season", "train": "log",
    "fit again": "fit", "recovery": "types", "repeats": "types", "elements": "types",
    "train on": "log", "train what is rare": "log", "plan otherwise": "plan", "plan": "plan",
    "follow the plan": "plan", "fit the plan's days": "fit", "check the plan": "plan",
    "plan a trial": "trial", "look back": "season", "another trial": "trial",
    "another measure": "trial",
}  # fmt: skip


def show(ask: Ask) -> Shown:
    """Show this morning."""
    season = ask.season
    calendar = ask.calendar
    there = reading_of(calendar.tables, calendar.day)
    rows = calendar.tables.readings.rows
    facts = {
        "day": calendar.day,
        "ahead": calendar.ahead,
        "reading": there,
        "sensor": rows[-1].sensor if rows else "",
        "sensors": sorted({row.sensor for row in rows if row.sensor}),
        "standing": ask.once("standing", lambda: _standing(season)),
        "problems": _problems(season),
        "trial": ask.once(("lot", calendar.day), lambda: _trial(season, calendar.day)),
        "planned": _planned(season, calendar),
        "step": ask.once("step", lambda: _step(season)),
        "caution": SHORT_CAUTION,
    }
    return Shown("morning", f"The morning of {words.day_name(str(calendar.day))}", facts)


def log_reading(ask: Ask) -> Answered:
    """Take this morning's reading."""
    day = ask.date("date", ask.calendar.day)
    cells: dict[str, str | None] = {"rmssd_ms": ask.one("ms").removesuffix("ms").strip()}
    if "sensor" in ask.form:
        cells["sensor"] = ask.one("sensor") or None
    return enter(ask, Typed("readings", cells), day, ask.to())


def _problems(season: SeasonFolder) -> list[str]:
    return [str(problem) for problem in season.checked.problems] if season.begun else []


def _standing(season: SeasonFolder) -> dict[str, Any] | None:
    """Return where the athlete stands, or why that cannot be said; None before a first fit."""
    if not season.fitted:
        return None
    try:
        now, coming = baseline(season), forecast(season, 10)
    except NoAnswerError as error:
        return {"headline": "", "why": told(error)}
    except SlackwaterError:
        return None  # the season's problems are named above
    from slackwater.fitting.report.page.parts_today import headline

    return {
        "headline": headline(now, coming),
        "why": "",
        "unexplained": words.unexplained(now.unexplained),
        "last": now.about.last_night,
        "fitted_to": season.now.fitted_to,
        "newer": season.newer_readings,
        "mind": sentences(w for w in now.about.warnings if w.code != "unexplained"),
        "known": [
            pieces(question("baseline").tell(now)),
            pieces(question("forecast").tell(coming)),
        ],
    }


def _trial(season: SeasonFolder, day: dt.date) -> str:
    """Return what the lot of a running trial says of a day; empty where no trial is open."""
    try:
        if not any(trial.open for trial in season.trials):
            return ""
        row = question("trial today")
        first = pieces(row.tell(row.ask(season, np.datetime64(day))))[0]
    except SlackwaterError:
        return ""
    return getattr(first, "text", "")


def _planned(season: SeasonFolder, calendar: Calendar) -> list[tuple[dt.date, str]]:
    """Return the next planned sessions of the latest plan that are not logged yet."""
    try:
        plan = season.plans[-1] if season.plans else None
    except SlackwaterError:
        return []
    done = {(row.date, row.type) for row in calendar.tables.sessions.rows}
    coming = [(s.date, s.type) for s in plan.sessions] if plan else []
    return [s for s in coming if s[0] >= calendar.day and s not in done][:1]


def _step(season: SeasonFolder) -> dict[str, str]:
    step = next_of(season, "today")
    return {
        "stage": step.stage,
        "sentence": words.capital(steps.sentence(step)),
        "view": _WAYS.get(step.stage, ""),
    }
