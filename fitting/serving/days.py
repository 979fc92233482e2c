"""What day it is for a season, and what its files hold of a day."""

from __future__ import annotations

import datetime as dt
from math import exp
from typing import NamedTuple

from slackwater.fitting.doubts.dates import today_of
from slackwater.fitting.doubts.history import History, ln_of
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.intake.files import read_tables
from slackwater.fitting.intake.tables import Tables, no_tables

DAY = dt.timedelta(days=1)


class Calendar(NamedTuple):
    """A season's rows and its day.

    Attributes:
        tables: all rows that can be read.
        day: the day that it is.
        ahead: whether the season lies ahead of the clock, so that its next morning counts as today.
    """

    tables: Tables
    day: dt.date
    ahead: bool


def calendar_of(season: SeasonFolder, clock: dt.date) -> Calendar:
    """Return a season's rows, and what day it is for it.

    Args:
        season: the season folder, which may not be there yet.
        clock: what the clock says.

    Raises:
        SeasonFilesError: season.toml cannot be read.
    """
    tables = season.checked.tables
    if tables is None:
        tables = read_tables(season.path)[1] if season.path.is_dir() else no_tables()
    today = today_of(clock, History(row for table in tables.each for row in table.rows))
    if today is not None:
        return Calendar(tables, today, ahead=False)
    nights = tables.readings.values("date")
    return Calendar(tables, max(nights) + DAY if nights else clock, ahead=True)


def reading_of(tables: Tables, day: dt.date) -> float | None:
    """Return a morning's reading, ms; None where there is none."""
    rows = [row for row in tables.readings.rows if row.date == day]
    if not rows:
        return None
    ms = rows[-1].rmssd_ms
    return exp(ln_of(rows[-1])) if ms is None else ms
