"""The log: what was done and what weighed on a day, and a whole week's gaps."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from slackwater.fitting.daily.days import last_days
from slackwater.fitting.daily.likely import LESS, MORE, likely
from slackwater.fitting.daily.typed import Typed, row_of
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.logbook import last_entry, readings_of
from slackwater.fitting.records.plans import holding
from slackwater.fitting.report import words
from slackwater.fitting.serving.asked import Answered, Ask, Shown
from slackwater.fitting.serving.days import DAY, Calendar, reading_of
from slackwater.fitting.serving.views.entering import enter, enter_many
from slackwater.model.errors import QuestionError, SlackwaterError

_SHOWN: Final = 14  # days
_COLUMNS: Final = {"sessions": "type", "interventions": "intervention", "stressors": "stressor"}
WEEK: Final = 7


def show(ask: Ask) -> Shown:
    """Show the log of a day."""
    season = ask.season
    calendar = ask.calendar
    today = calendar.day
    day = ask.date("day", today)
    facts = {
        "day": day,
        "today": today,
        "names": likely(calendar.tables, day, *_expected(season, day)),
        "less": LESS,
        "more": MORE,
        "on_the_day": _on(calendar, day),
        "days": reversed(last_days(season.path, _SHOWN).days) if season.path.is_dir() else [],
        "last": last_entry(season.path),
        "week": monday_of(day),
    }
    return Shown("log", f"The log of {words.day_name(str(day))}", facts)


def log_event(ask: Ask) -> Answered:
    """Take a session, a measure or a stressor of a day.

    Raises:
        QuestionError: no name was given, or it cannot be logged.
    """
    day = ask.date("day", ask.calendar.day)
    given = [(f, column, ask.one(column)) for f, column in _COLUMNS.items() if ask.one(column)]
    if not given:
        raise QuestionError("Say what it was: press its button, or write its name.")
    file, column, name = given[0]
    cells: dict[str, str | None] = {column: name}
    if file == "sessions":
        cells["dose"] = _dose(ask.one("dose"), ask.one("other_dose"))
    then = ask.to("log") if day == ask.date("today", day) else f"{ask.to('log')}?day={day}"
    return enter(ask, Typed(file, cells), day, then)


def show_week(ask: Ask) -> Shown:
    """Show a week, with room for what is missing of it."""
    calendar = ask.calendar
    monday = monday_of(ask.date("of", calendar.day))
    days = [monday + i * DAY for i in range(WEEK)]
    facts = {
        "monday": monday,
        "today": calendar.day,
        "days": [(day, *_on(calendar, day), reading_of(calendar.tables, day)) for day in days],
        "names": likely(calendar.tables, monday + WEEK * DAY),
        "earlier": monday - WEEK * DAY,
        "later": monday + WEEK * DAY,
    }
    return Shown("week", f"The week of {words.day_name(str(monday))}", facts)


def log_week(ask: Ask) -> Answered:
    """Take what was filled in of a week, as one step."""
    monday = ask.date("monday", ask.seasons.clock())
    rows, held = [], readings_of(ask.season.path)
    for day in (monday + i * DAY for i in range(WEEK)):
        if ms := ask.one(f"ms-{day}"):
            rows.append(row_of(ask.season.path, Typed("readings", {"rmssd_ms": ms}), day, held))
        for file, column in _COLUMNS.items():
            if name := ask.one(f"{column}-{day}"):
                cells: dict[str, str | None] = {column: name}
                if file == "sessions":
                    cells["dose"] = ask.one(f"dose-{day}") or None
                rows.append(row_of(ask.season.path, Typed(file, cells), day))
    return enter_many(ask, rows, f"the week of {monday}", f"{ask.to('week')}?of={monday}")


def monday_of(day: dt.date) -> dt.date:
    """Return the Monday of a day's week."""
    return day - day.weekday() * DAY


def _dose(chosen: str, other: str) -> str | None:
    """Return a dose as it is entered; None for the usual one."""
    return other or (chosen if chosen not in ("", "1") else None)


def _on(calendar: Calendar, day: dt.date) -> tuple[list[str], list[str], list[str]]:
    """Return the sessions, measures and stressors logged under a day."""
    tables = calendar.tables
    sessions = [
        row.type if row.dose == 1 else f"{row.type}, dose {row.dose:g}"
        for row in tables.sessions.rows
        if row.date == day
    ]
    measures = [row.intervention for row in tables.interventions.rows if row.date == day]
    return sessions, measures, [row.stressor for row in tables.stressors.rows if row.date == day]


def _expected(season: SeasonFolder, day: dt.date) -> tuple[list[str], list[str]]:
    """Return the types planned for a day, and the measure on trial."""
    found: Any = ([], [])
    try:
        found[0].extend(s.type for s in holding(season.plans).sessions if s.date == day)
        found[1].extend(trial.plan.measure for trial in season.trials if trial.open)
    except SlackwaterError:
        pass  # a damaged record is told where it is asked for
    return found  # type: ignore[no-any-return]
