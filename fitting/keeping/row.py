"""A row to be entered into one of the season's files."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from slackwater.fitting.intake.cells import COLUMNS, CellError, DayRow
from slackwater.fitting.intake.settings import COLUMNS_OF
from slackwater.fitting.text import neutral
from slackwater.model.errors import QuestionError

Cell = str | float | dt.date

# Rows that agree in these are the same entry; a day may have several sessions of a type, though.
KEYS: Final[Mapping[str, tuple[str, ...]]] = {
    "readings": ("date",),
    "sessions": ("date", "type"),
    "types": ("type",),
    "interventions": ("date", "intervention"),
    "stressors": ("date", "stressor"),
    "confirmed": ("date", "entry"),
}
NUMBERS: Final = ("rmssd_ms", "ln_rmssd", "ln_sd", "dose")
MANY_ALIKE: Final = "sessions"
_ROWS: Final = {kind.file: kind for kind in COLUMNS if issubclass(kind, DayRow)}
_KINDS: Final = {kind.file: columns for kind, columns in COLUMNS.items()}
_LN_DIGITS: Final = 6  # of ln RMSSD where a file holds that: ms to 7 digits


@dataclass(frozen=True)
class Row:
    """One row.

    Attributes:
        file: the file's name without `.csv`.
        cells: our column name (in types.csv an attribute's, too) -> what it holds: a text, a date,
            or a number. Readings are given as `rmssd_ms`, also where the file holds `ln_rmssd`.
        replaces: whether it takes the place of the row of the same date (for a type, of the same
            type; else of the same date and name), of which all other cells are left.
    """

    file: str
    cells: Mapping[str, Cell]
    replaces: bool = False


def as_entry(row: Row) -> DayRow:
    """Return a row of a day as the intake would read it."""
    cells: dict[str, Any] = dict(row.cells)
    return _ROWS[row.file](**cells)


def in_columns(row: Row, has_ln: bool) -> dict[str, str]:
    """Return a row's cells as plain texts with decimal points, by our column names.

    Args:
        row: the row.
        has_ln: whether the file holds ln RMSSD in place of milliseconds.

    Raises:
        QuestionError: no such file or column, or a cell that the column does not take.
    """
    if row.file not in COLUMNS_OF:
        raise QuestionError(f"A season has no file {row.file}.csv.")
    texts = {
        name: cell.strip() if name in NUMBERS and isinstance(cell, str) else _plain(cell)
        for name, cell in row.cells.items()
    }
    kinds = _KINDS[row.file]
    for name, text in texts.items():
        if name not in kinds and row.file != "types":
            raise QuestionError(f"{row.file}.csv has no column {name!r}.")
        if name in kinds:
            try:
                kinds[name].read(text, ".")
            except CellError as error:
                raise QuestionError(f"{name} {error.what}; {error.mend}.") from None
    for name in KEYS[row.file]:
        if not texts.get(name):
            raise QuestionError(f"A row of {row.file}.csv needs its {name}.")
    if row.file == "readings":
        if not texts.get("rmssd_ms"):
            raise QuestionError("A row of readings.csv needs its rmssd_ms.")
        if has_ln:
            ln = round(math.log(float(texts["rmssd_ms"])), _LN_DIGITS)
            texts["ln_rmssd"] = _plain(ln)
            del texts["rmssd_ms"]
    return texts


def _plain(cell: Cell) -> str:
    """Return a cell as text; a number in as few digits as give it back, without an exponent."""
    if isinstance(cell, dt.date):
        return cell.isoformat()
    if isinstance(cell, str):
        return neutral(cell.strip())
    shown = f"{cell:.15f}".rstrip("0") if "e" in repr(cell) else repr(cell)
    return shown.removesuffix(".0").removesuffix(".")
