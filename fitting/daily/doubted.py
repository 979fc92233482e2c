"""What is to be asked about rows before they are logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from slackwater.fitting.daily.logged import expected
from slackwater.fitting.doubts.coming import doubts_of_coming
from slackwater.fitting.doubts.entries import Doubt
from slackwater.fitting.doubts.foreseen import Foreseen
from slackwater.fitting.intake.files import read_tables
from slackwater.fitting.intake.tables import no_tables
from slackwater.fitting.keeping.row import Row, as_entry

if TYPE_CHECKING:
    from slackwater.fitting.folder import SeasonFolder

_TOLD_WITH_THE_ROW = "a night's second reading"  # that it takes the other's place


def doubts_of_rows(
    folder: Path, rows: Sequence[Row], clock: dt.date, season: SeasonFolder | None = None
) -> list[Doubt]:
    """Return what is to be asked about rows, by what is logged and what was foreseen.

    Args:
        folder: the season folder, which may not be there yet.
        rows: readings, sessions, measures and stressors.
        clock: what day the clock says it is.
        season: the folder's object, as for `log_row`.

    Raises:
        SeasonFilesError: season.toml cannot be read.
    """
    there = folder.exists()

    def forecast(day: dt.date) -> Foreseen | None:
        if not there or not any(row.file == "readings" for row in rows):
            return None
        return expected(folder, day, season).foreseen

    tables = season.checked.tables if season else None
    if tables is None:
        tables = read_tables(folder)[1] if there else no_tables()
    found = doubts_of_coming([as_entry(row) for row in rows], tables, clock, forecast)
    return [doubt for doubt in found if doubt.reason.code != _TOLD_WITH_THE_ROW]
