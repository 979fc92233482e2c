"""The last days of a season side by side, as far as its files can be read."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

from slackwater.fitting import logbook
from slackwater.fitting.daily.logged import tables
from slackwater.fitting.intake.cells import (
    DayRow,
    InterventionRow,
    ReadingRow,
    SessionRow,
    StressorRow,
)


class Day(NamedTuple):
    """What was logged under one date.

    Attributes:
        date: the date.
        rmssd_ms: the reading of its morning, ms; None where there is none.
        sensor: what it was read with; "" where that is not said.
        sessions: each session's type and dose.
        interventions: the measures used.
        stressors: what else weighed on the body.
    """

    date: dt.date
    rmssd_ms: float | None
    sensor: str
    sessions: list[tuple[str, float]]
    interventions: list[str]
    stressors: list[str]


class Days(NamedTuple):
    """The last days.

    Attributes:
        days: in order, up to the last one of which anything is logged; none where nothing is.
        problems: how many problems keep rows from being read.
    """

    days: list[Day]
    problems: int


def last_days(folder: Path, count: int) -> Days:
    """Return the last days of a season.

    Args:
        folder: the season folder.
        count: how many days.

    Raises:
        SeasonFilesError: season.toml cannot be read.
    """
    logbook.settle(folder)
    found = [*tables(folder, logbook.settings_of(folder))]
    rows = [entry.values for table in found for entry in table.entries]
    problems = sum(len(table.problems) for table in found)
    if not rows:
        return Days([], problems)
    last = max(row.date for row in rows)
    dates = [last - dt.timedelta(back) for back in reversed(range(count))]
    return Days([_day(date, (row for row in rows if row.date == date)) for date in dates], problems)


def _day(date: dt.date, rows: Iterable[DayRow]) -> Day:
    day: dict[str, Any] = {"rmssd_ms": None, "sensor": ""}
    sessions, interventions, stressors = [], [], []
    for row in rows:
        match row:
            case ReadingRow():
                ms = row.rmssd_ms
                day["rmssd_ms"] = math.exp(row.ln_rmssd or 0.0) if ms is None else ms
                day["sensor"] = row.sensor
            case SessionRow():
                sessions.append((row.type, row.dose))
            case InterventionRow():
                interventions.append(row.intervention)
            case StressorRow():
                stressors.append(row.stressor)
    return Day(date, day["rmssd_ms"], day["sensor"], sessions, interventions, stressors)
