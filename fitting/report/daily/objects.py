"""What is logged, undone and shown day by day, as JSON objects; made without pandas."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from slackwater.fitting.daily.days import Days
from slackwater.fitting.daily.logged import FIRST_FIT, Logged
from slackwater.fitting.logbook import TakenBack
from slackwater.fitting.mornings import LEVEL

SCHEMA: Final = 1


def logged(found: Logged) -> dict[str, Any]:
    """Return what was entered and what it means."""
    cells = {k: str(v) if isinstance(v, dt.date) else v for k, v in found.row.cells.items()}
    told = _about(found.season, found.last_night) | {
        "entered": {"file": f"{found.row.file}.csv", **cells},
        "replaced": found.row.replaces,
        "files": found.entered.files,
        "new_files": found.entered.made,
        "new_columns": found.entered.added,
        "why_not": [],
        "readings_until_first_fit": None,
    }
    if found.first_fit is not None:
        told["readings_until_first_fit"] = max(0, FIRST_FIT - found.first_fit)
    if found.why_not:
        from slackwater.fitting.report.reasons import sentence

        told["why_not"] = [sentence(reason) for reason in found.why_not]
    if found.row.file == "readings":
        return told | _reading(found)
    return told | _ahead(found)


def taken_back(found: TakenBack, season: str, last_night: dt.date | None) -> dict[str, Any]:
    """Return what was undone."""
    undone = {"undone": found.what, "files": found.files, "more": found.more}
    return _about(season, last_night) | undone


def days(found: Days, season: str, last_night: dt.date | None) -> dict[str, Any]:
    """Return the last days."""
    shown = [
        {
            "date": str(day.date),
            "rmssd_ms": day.rmssd_ms,
            "sensor": day.sensor or None,
            "sessions": [{"type": label, "dose": dose} for label, dose in day.sessions],
            "interventions": day.interventions,
            "stressors": day.stressors,
        }
        for day in found.days
    ]
    return _about(season, last_night) | {"days": shown, "problems": found.problems}


def _about(season: str, last_night: dt.date | None) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "season": season,
        "last_night": None if last_night is None else str(last_night),
        "level": LEVEL,
        "warnings": [],
    }


def _reading(found: Logged) -> dict[str, Any]:
    morning = found.expected
    if morning is None:
        return {"expected_ms": None, "percent": None, "ln_mean": None, "ln_sd": None}
    return {
        "expected_ms": {"median": morning.median, "low": morning.low, "high": morning.high},
        "percent": found.percent,
        "ln_mean": morning.ln_mean,
        "ln_sd": morning.ln_sd,
    }


def _ahead(found: Logged) -> dict[str, Any]:
    if found.ahead is None:
        return {"next_morning": None, "days_to_baseline": None}
    from slackwater.fitting.report.objects import as_object

    answer = as_object(found.ahead)
    return {
        "warnings": answer["warnings"],
        "next_morning": answer["nights"][-1],
        "days_to_baseline": answer["days_to_baseline"],
    }
