"""What the cells of a row may hold, and what is said where they hold something else."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from dataclasses import field as made_of
from typing import Any, ClassVar, Final

from slackwater.fitting.intake.problems import has_control, show

FIRST_YEAR: Final = 1990
LAST_YEAR: Final = 2100
MOST_LN_SD: Final = 1.0  # a reading known to within a factor of 2.7 tells nothing

_ISO_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER: Final = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")

_NO_READING: Final = "leave the row out if the night was not read"
_MS_MEND: Final = f"give milliseconds, or {_NO_READING}"
_LN_MEND: Final = f"give the natural logarithm of the milliseconds, or {_NO_READING}"
_DOSE_MEND: Final = "give a number above 0 (1 = that type's usual session), or leave the cell empty"
_LN_SD_MEND: Final = (
    "give the standard error of ln RMSSD (0.05 is about 5 % of RMSSD), or leave the cell empty"
)
_DATE_MEND: Final = "dates are YYYY-MM-DD, such as 2026-03-09"


class CellError(ValueError):
    """A cell does not hold what it may.

    Attributes:
        kind: problems of one kind share it.
        what: what is wrong with the cell.
        mend: how to mend it.
    """

    def __init__(self, kind: str, what: str, mend: str) -> None:
        """Take what is said of the cell."""
        super().__init__(f"{what}; {mend}")
        self.kind, self.what, self.mend = kind, what, mend


def _day(cell: str, _decimal: str) -> dt.date:
    text = cell.strip()
    if not text:
        raise CellError("date form", "is empty", _DATE_MEND)
    if not _ISO_DATE.fullmatch(text):
        raise CellError("date form", f"{show(text)} is not an ISO 8601 date", _DATE_MEND)
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        what = f"{show(text)} is not a day of the calendar"
        raise CellError("date form", what, _DATE_MEND) from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        what = f"{show(text)} lies outside the years {FIRST_YEAR} to {LAST_YEAR}"
        raise CellError("date range", what, "write the right year")
    return day


def _number(cell: str, decimal: str, mend: str) -> float:
    text = cell.strip()
    if not text:
        raise CellError("number", "is empty", mend)
    if decimal == "," and "." in text:
        what = f"{show(text)} has a point, but season.toml says that decimals have a comma"
        raise CellError("decimal", what, "write the number with a comma")
    number = text.replace(",", ".")
    if not _NUMBER.fullmatch(number) or not math.isfinite(float(number)):
        raise CellError("number", f"{show(text)} is not a number", mend)
    if decimal == "." and "," in text:
        what = f"{show(text)} has a decimal comma"
        declare = 'declare decimal = "," under [csv] in season.toml, or write a point'
        raise CellError("decimal", what, declare)
    return float(number)


def _above_zero(cell: str, decimal: str, mend: str) -> float:
    number = _number(cell, decimal, mend)
    if number <= 0:
        raise CellError("not above 0", f"{show(cell.strip())} is not above 0", mend)
    return number


def _milliseconds(cell: str, decimal: str) -> float:
    return _above_zero(cell, decimal, _MS_MEND)


def _ln_milliseconds(cell: str, decimal: str) -> float:
    return _number(cell, decimal, _LN_MEND)


def _dose(cell: str, decimal: str) -> float:
    return _above_zero(cell, decimal, _DOSE_MEND) if cell.strip() else 1.0


def _ln_sd(cell: str, decimal: str) -> float:
    if not cell.strip():
        return 0.0
    number = _number(cell, decimal, _LN_SD_MEND)
    if not 0 <= number < MOST_LN_SD:
        what = f"{show(cell.strip())} lies outside 0 to {MOST_LN_SD:g}"
        raise CellError("ln_sd range", what, _LN_SD_MEND)
    return number


def _text(cell: str, _decimal: str) -> str:
    return cell


def _optional_label(cell: str, _decimal: str) -> str:
    text = cell.strip()
    if has_control(text):
        what = f"{show(text)} holds a line break or another control character"
        raise CellError("control character", what, "write it on one line, in plain characters")
    return text


def _label(cell: str, decimal: str) -> str:
    text = _optional_label(cell, decimal)
    if not text:
        raise CellError("empty label", "is empty", "name it, or delete the row")
    return text


@dataclass(frozen=True)
class Row:
    """One row of any file.

    Attributes:
        file: the file's name without `.csv`.
    """

    file: ClassVar[str]


@dataclass(frozen=True)
class DayRow(Row):
    """One row that belongs to a day."""

    date: dt.date


@dataclass(frozen=True)
class ReadingRow(DayRow):
    """One night; just one of `rmssd_ms` (ms) and `ln_rmssd` (ln ms) is given.

    Attributes:
        ln_sd: standard error of ln RMSSD as measured; 0 where it is not known.
    """

    file = "readings"
    rmssd_ms: float | None = None
    ln_rmssd: float | None = None
    sensor: str = ""
    note: str = ""
    ln_sd: float = 0.0


@dataclass(frozen=True)
class SessionRow(DayRow):
    """One training session; dose 1 = that type's usual session."""

    file = "sessions"
    type: str
    dose: float = 1.0
    note: str = ""


@dataclass(frozen=True)
class TypeRow(Row):
    """One session type and the values of its attributes, empty where not given."""

    file = "types"
    type: str
    attributes: Mapping[str, str] = made_of(default_factory=dict)


@dataclass(frozen=True)
class InterventionRow(DayRow):
    """One day on which one recovery measure was applied."""

    file = "interventions"
    intervention: str


@dataclass(frozen=True)
class StressorRow(DayRow):
    """One day on which something else weighed on the body."""

    file = "stressors"
    stressor: str


@dataclass(frozen=True)
class ConfirmedRow(DayRow):
    """One entry that its athlete said is right although it looked wrong.

    Attributes:
        entry: what it says, as `slackwater.fitting.doubts.entries.entry_of` writes it.
    """

    file = "confirmed"
    entry: str


@dataclass(frozen=True)
class LevelRow(DayRow):
    """One morning from which on readings lie at a new level that the athlete accepts."""

    file = "levels"
    note: str = ""


@dataclass(frozen=True)
class CellKind:
    """What the cells of one column are read by.

    Attributes:
        read: from a cell and the decimal mark to its value; raises `CellError`.
        needed: whether the file must have the column.
    """

    read: Callable[[str, str], Any]
    needed: bool = False


_DATE: Final = CellKind(_day, needed=True)
_NAME: Final = CellKind(_label, needed=True)
ATTRIBUTE: Final = CellKind(_optional_label)
COLUMNS: Final[Mapping[type[Row], Mapping[str, CellKind]]] = {
    ReadingRow: {
        "date": _DATE,
        "rmssd_ms": CellKind(_milliseconds),
        "ln_rmssd": CellKind(_ln_milliseconds),
        "ln_sd": CellKind(_ln_sd),
        "sensor": CellKind(_optional_label),
        "note": CellKind(_text),
    },
    SessionRow: {
        "date": _DATE,
        "type": _NAME,
        "dose": CellKind(_dose),
        "note": CellKind(_text),
    },
    TypeRow: {"type": _NAME},
    InterventionRow: {"date": _DATE, "intervention": _NAME},
    StressorRow: {"date": _DATE, "stressor": _NAME},
    ConfirmedRow: {"date": _DATE, "entry": _NAME},
    LevelRow: {"date": _DATE, "note": CellKind(_text)},
}
