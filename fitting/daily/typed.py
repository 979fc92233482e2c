"""A line of the log as a person gives it, as the row that it is."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Final, NamedTuple

from slackwater.fitting.keeping.row import NUMBERS, Cell, Row, in_columns
from slackwater.fitting.keeping.writing import Readings
from slackwater.fitting.logbook import readings_of, settings_of

CALLED: Final = {
    "readings": "reading",
    "sessions": "session",
    "interventions": "measure",
    "stressors": "stressor",
}


class Typed(NamedTuple):
    """A row as it was typed.

    Attributes:
        file: the file's name without `.csv`.
        cells: our column name -> what was typed; None where it was left out.
    """

    file: str
    cells: dict[str, str | None]

    @property
    def said(self) -> str:
        """What the row says, in a few words."""
        if self.file == "readings":
            return f"{self.cells['rmssd_ms']} ms"
        name, dose = next(iter(self.cells.values())) or "", self.cells.get("dose")
        return name if dose is None else f"{name}, dose {dose}"

    def what(self, day: dt.date) -> str:
        """Return the same with what it is and its day."""
        return f"the {CALLED[self.file]} of {day} ({self.said})"


def row_of(season: Path, typed: Typed, day: dt.date, there: Readings | None = None) -> Row:
    """Return what was typed as the row that it is; a reading takes the place of its night's.

    A reading without a sensor is one of the sensor of the reading before.

    Args:
        season: the season folder, which may not be there yet.
        typed: what was typed, numbers as the season's own files write them.
        day: its date.
        there: the season's readings, where they were read already.

    Raises:
        QuestionError: it is none.
        SeasonFilesError: season.toml or the readings cannot be read.
    """
    comma = settings_of(season).csv.decimal == ","
    cells: dict[str, Cell] = {"date": day}
    for name, text in typed.cells.items():
        if text is not None:
            cells[name] = text.replace(",", ".") if comma and name in NUMBERS else text.strip()
    is_reading = typed.file == "readings"
    if is_reading and "sensor" not in cells:
        there = there or readings_of(season)
        if there.sensor and str(day) not in there.held:
            cells["sensor"] = there.sensor
    in_columns(Row(typed.file, cells), has_ln=False)  # refuses what is no such row
    numbers = {name: float(str(cells[name])) for name in NUMBERS if name in cells}
    return Row(typed.file, cells | numbers, replaces=is_reading)


def replaced(season: Path, row: Row, there: Readings | None = None) -> float | None:
    """Return the other reading, ms, whose place a row would take; None where there is none.

    Args:
        season: the season folder.
        row: the row.
        there: as for `row_of`.

    Raises:
        SeasonFilesError: season.toml or the readings cannot be read.
    """
    if row.file != "readings" or not season.exists():
        return None
    before = (there or readings_of(season)).held.get(str(row.cells["date"]))
    return None if before == row.cells["rmssd_ms"] else before
