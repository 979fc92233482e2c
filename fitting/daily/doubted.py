"""What is to be asked about one row before it is logged."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from slackwater.fitting.daily.logged import expected
from slackwater.fitting.doubts.coming import doubts_of_coming
from slackwater.fitting.doubts.entries import Doubt
from slackwater.fitting.doubts.foreseen import Foreseen
from slackwater.fitting.intake.files import read_tables
from slackwater.fitting.intake.tables import no_tables
from slackwater.fitting.keeping.row import Row, as_entry

_TOLD_WITH_THE_ROW = "a night's second reading"  # that it takes the other's place


def doubts_of_row(folder: Path, row: Row, clock: dt.date) -> list[Doubt]:
    """Return what is to be asked about a row, by what is logged and what was foreseen.

    Args:
        folder: the season folder, which may not be there yet.
        row: a reading, a session, a measure or a stressor.
        clock: what day the clock says it is.

    Raises:
        SeasonFilesError: season.toml cannot be read.
    """
    there = folder.exists()

    def forecast(day: dt.date) -> Foreseen | None:
        if row.file != "readings" or not there:
            return None
        return expected(folder, day).foreseen

    tables = read_tables(folder)[1] if there else no_tables()
    found = doubts_of_coming([as_entry(row)], tables, clock, forecast)
    return [doubt for doubt in found if doubt.reason.code != _TOLD_WITH_THE_ROW]
