"""This morning: the reading, where the athlete stands, and what the day asks for."""

from __future__ import annotations

from typing import Any, Final

from slackwater.fitting.daily.typed import Typed
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.journey.today import Today, morning_of
from slackwater.fitting.journey.where import next_of
from slackwater.fitting.questions import question
from slackwater.fitting.report import steps, words
from slackwater.fitting.report import today as words_of
from slackwater.fitting.report.caution import SHORT_CAUTION, caution
from slackwater.fitting.report.page.part import Table
from slackwater.fitting.report.pieces import pieces
from slackwater.fitting.report.reasons import sentence, sentences, told
from slackwater.fitting.serving.asked import Answered, Ask, Shown
from slackwater.fitting.serving.days import reading_of
from slackwater.fitting.serving.views.entering import enter
from slackwater.model.errors import NoAnswerError, SlackwaterError

_WAYS: Final = {  # the view that a next step is done in, where it is not this one
    "mend": "fit", "fit": "fit", "judge": "trial", "trial": "trial", "books": "trial",
    "adopt": "season", "fit what is new": "fit", "find out": "season", "train": "log",
    "fit again": "fit", "recovery": "types", "repeats": "repeats", "elements": "types",
    "train on": "log", "train what is rare": "log", "plan otherwise": "plan", "plan": "plan",
    "follow the plan": "plan", "fit the plan's days": "fit", "check the plan": "plan",
    "plan a trial": "trial", "look back": "season", "another trial": "trial",
    "another measure": "trial", "rest": "rest", "read": "rest", "rest on": "rest",
}  # fmt: skip

_LABELS: Final = {
    "fit": "what the answers rest on", "trial": "the trial", "season": "the season",
    "types": "session types", "log": "the log", "plan": "the plan", "rest": "how rest goes",
    "repeats": "do repeats agree",
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
        "standing": ask.once(("standing", ask.seasons.clock()), lambda: _standing(ask)),
        "problems": _problems(season),
        "step": ask.once("step", lambda: _step(season)),
        "caution": SHORT_CAUTION,
    }
    return Shown("morning", f"The morning of {words.day_name(str(calendar.day))}", facts)


def this_morning(ask: Ask) -> Today:
    """Return the one answer of the morning.

    Raises:
        NoAnswerError: there is none.
        SeasonFilesError: the season cannot be read.
    """
    season, clock = ask.season, ask.seasons.clock()

    def work() -> Today:
        found: Today = question("today").ask(season, morning=morning_of(season.season, clock))
        return found

    answer: Today = ask.once(("today", clock), work)
    return answer


def log_reading(ask: Ask) -> Answered:
    """Take this morning's reading."""
    day = ask.date("date", ask.calendar.day)
    cells: dict[str, str | None] = {"rmssd_ms": ask.one("ms").removesuffix("ms").strip()}
    if "sensor" in ask.form:
        cells["sensor"] = ask.one("sensor") or None
    return enter(ask, Typed("readings", cells), day, ask.to())


def _problems(season: SeasonFolder) -> list[str]:
    return [str(problem) for problem in season.checked.problems] if season.begun else []


def _standing(ask: Ask) -> dict[str, Any] | None:
    """Return where the athlete stands, or why that cannot be said; None before a first fit."""
    season = ask.season
    if not season.fitted:
        return None
    row = question("today")
    try:
        answer = this_morning(ask)
    except NoAnswerError as error:
        from slackwater.fitting.serving.views.trial import asked_today

        lot = [piece.text for piece in asked_today(ask)[:1]]
        return {"headline": "", "why": told(error), "asked": lot}
    except SlackwaterError:
        return None  # the season's problems are named above
    where, again = words_of.headline(answer)
    types = next((p for p in pieces(row.tell(answer)) if isinstance(p, Table)), None)
    return {
        "headline": where,
        "again": again,
        "why": "",
        "unexplained": words.unexplained(answer.unexplained),
        "reading": words_of.reading(answer),
        "asked": [" ".join(said) for said in (words_of.trial(answer), words_of.plan(answer))],
        "missing": sentences(answer.missing),
        "types": types,
        "morning": answer.morning,
        "fitted_to": season.now.fitted_to,
        "newer": season.newer_readings,
        "mind": sentences(w for w in answer.about.warnings if w.code != "unexplained"),
        "threshold": sentence(season.now.threshold_rule),
        "caution": caution(answer),
    }


def _step(season: SeasonFolder) -> dict[str, str]:
    step = next_of(season, "today")
    return {
        "stage": step.stage,
        "sentence": words.capital(steps.sentence(step).removesuffix(", such as")),
        "view": (view := _WAYS.get(step.stage, "")),
        "label": _LABELS.get(view, ""),
    }
