"""The season over time, from a week to all of it; and what one night's reading is made of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.course import Course, course
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.intake.tables import Tables
from slackwater.fitting.questions import question
from slackwater.fitting.report import words
from slackwater.fitting.report.pieces import pieces
from slackwater.fitting.report.reasons import sentences
from slackwater.fitting.serving.asked import Answered, Ask, Shown
from slackwater.model import names as n
from slackwater.model.errors import QuestionError

_SPANS: Final = {"7": "a week", "28": "four weeks", "91": "a quarter", "364": "a year", "0": "all"}
_USUAL: Final = "28"
_LISTED: Final = 31  # nights that are named one by one


def show(ask: Ask) -> Answered:
    """Show some nights of the season."""
    from slackwater.fitting.report.page.pictures_time import Lane, stretch

    season = ask.season
    answer: Course = ask.once("course", lambda: course(season))
    span = ask.one("span") or _USUAL
    if span not in _SPANS:
        raise QuestionError(f"{span!r} is no stretch of time that can be shown.")
    first, last = (_day(answer.nights, place) for place in (0, -1))
    until = min(max(ask.date("until", last), first), last)
    days = int(span) or (last - first).days + 1
    since = max(first, until - dt.timedelta(days - 1))
    shown = answer.nights.sel({n.NIGHT: slice(str(since), str(until))})
    lanes = [Lane(*lane) for lane in _lanes(ask.calendar.tables, since, until)]
    drawn = ask.once(("stretch", since, until), lambda: stretch(shown, lanes))
    step = dt.timedelta(days)
    facts = {
        "since": since,
        "until": until,
        "span": span,
        "spans": _SPANS,
        "earlier": until - step if since > first else None,
        "later": min(until + step, last) if until < last else None,
        "picture": drawn,
        "picture_text": _told(shown, since, until),
        "nights": [*reversed(_each(shown))] if len(shown[n.NIGHT]) <= _LISTED else [],
        "history": ask.once("history", lambda: _text(season, "history")),
        "mind": sentences(answer.about.warnings),
        "last": last,
    }
    return Shown("season", "The season", facts)


def show_night(ask: Ask) -> Answered:
    """Show what a night's reading is made of."""
    from slackwater.fitting.report.page.parts_today import explain

    night = ask.one("night")
    day = ask.day("night")
    given = None if day is None else np.datetime64(day)
    row = question("explain")
    part = ask.once(("explain", night), lambda: explain(row.ask(ask.season, given)))
    return Shown("one_part", part.title, {"parts_shown": [part], "back": ask.to("season")})


def _lanes(
    tables: Tables, since: dt.date, until: dt.date
) -> Iterator[tuple[str, str, list[np.datetime64]]]:
    """Yield what was logged in some days: name, kind and days, each kind's commonest first."""
    logged = (
        ("session", [(row.date, row.type) for row in tables.sessions.rows]),
        ("measure", [(row.date, row.intervention) for row in tables.interventions.rows]),
        ("stressor", [(row.date, row.stressor) for row in tables.stressors.rows]),
    )
    for kind, rows in logged:
        found: dict[str, list[np.datetime64]] = {}
        for date, label in rows:
            if since <= date <= until:
                found.setdefault(label, []).append(np.datetime64(date))
        for label, days in sorted(found.items(), key=lambda item: -len(item[1])):
            yield label, kind, days


def _text(season: SeasonFolder, name: str) -> list[Any]:
    row = question(name)
    return pieces(row.tell(row.ask(season)))


def _day(nights: xr.Dataset, place: int) -> dt.date:
    return dt.date.fromisoformat(str(nights[n.NIGHT].values[place])[:10])


def _each(shown: xr.Dataset) -> list[tuple[str, str, str, str]]:
    """Return each night's date, reading, state and baseline."""
    rows = zip(
        shown[n.NIGHT].values,
        shown["rmssd_ms"].values,
        shown["state_ms"].values,
        shown["baseline_ms"].values,
        strict=True,
    )
    return [
        (
            str(night)[:10],
            "–" if reading != reading else f"{reading:.0f} ms",
            _range(state),
            _range(baseline),
        )
        for night, reading, state, baseline in rows
    ]


def _range(bounds: Any) -> str:
    low, median, high = bounds
    return f"{median:.0f} ({low:.0f} to {high:.0f})"


def _told(shown: xr.Dataset, since: dt.date, until: dt.date) -> str:
    last = shown.isel({n.NIGHT: -1})
    return (
        f"Readings from {words.day_name(str(since))} to {words.day_name(str(until))} as dots, with "
        "the state under them and baseline as lines with bands; under them, a mark for each day "
        "of a session, a measure or a stressor. On the last morning the state is "
        f"{words.milliseconds(last['state_ms'])} and baseline "
        f"{words.milliseconds(last['baseline_ms'])}."
    )
