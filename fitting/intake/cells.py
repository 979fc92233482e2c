"""What the cells of a row may hold, and what is said where they hold something else."""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Annotated, Final, LiteralString

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo
from pydantic_core import PydanticCustomError

from slackwater.fitting.intake.problems import has_control, show

FIRST_YEAR: Final = 1990
LAST_YEAR: Final = 2100

_ISO_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER: Final = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")

_NO_READING: Final = "leave the row out if the night was not read"
_MS_MEND: Final = f"give milliseconds, or {_NO_READING}"
_LN_MEND: Final = f"give the natural logarithm of the milliseconds, or {_NO_READING}"
_DOSE_MEND: Final = "give a number above 0 (1 = that type's usual session), or leave the cell empty"
_DATE_MEND: Final = "dates are YYYY-MM-DD, such as 2026-03-09"


def _refusal(kind: LiteralString, what: str, mend: str) -> PydanticCustomError:
    return PydanticCustomError(kind, "{what}; {mend}", {"what": what, "mend": mend})


def _day(cell: str) -> dt.date:
    text = cell.strip()
    if not text:
        raise _refusal("date form", "is empty", _DATE_MEND)
    if not _ISO_DATE.fullmatch(text):
        raise _refusal("date form", f"{show(text)} is not an ISO 8601 date", _DATE_MEND)
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        what = f"{show(text)} is not a day of the calendar"
        raise _refusal("date form", what, _DATE_MEND) from None
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        what = f"{show(text)} lies outside the years {FIRST_YEAR} to {LAST_YEAR}"
        raise _refusal("date range", what, "write the right year")
    return day


def _number(cell: str, decimal: str, mend: str) -> float:
    text = cell.strip()
    if not text:
        raise _refusal("number", "is empty", mend)
    if decimal == "," and "." in text:
        what = f"{show(text)} has a point, but season.toml says that decimals have a comma"
        raise _refusal("decimal", what, "write the number with a comma")
    number = text.replace(",", ".")
    if not _NUMBER.fullmatch(number) or not math.isfinite(float(number)):
        raise _refusal("number", f"{show(text)} is not a number", mend)
    if decimal == "." and "," in text:
        what = f"{show(text)} has a decimal comma"
        declare = 'declare decimal = "," under [csv] in season.toml, or write a point'
        raise _refusal("decimal", what, declare)
    return float(number)


def _above_zero(cell: str, info: ValidationInfo[dict[str, str]], mend: str) -> float:
    number = _number(cell, info.context["decimal"], mend)
    if number <= 0:
        raise _refusal("not above 0", f"{show(cell.strip())} is not above 0", mend)
    return number


def _milliseconds(cell: str, info: ValidationInfo[dict[str, str]]) -> float:
    return _above_zero(cell, info, _MS_MEND)


def _ln_milliseconds(cell: str, info: ValidationInfo[dict[str, str]]) -> float:
    return _number(cell, info.context["decimal"], _LN_MEND)


def _dose(cell: str, info: ValidationInfo[dict[str, str]]) -> float:
    return _above_zero(cell, info, _DOSE_MEND) if cell.strip() else 1.0


def _optional_label(cell: str) -> str:
    text = cell.strip()
    if has_control(text):
        what = f"{show(text)} holds a line break or another control character"
        raise _refusal("control character", what, "write it on one line, in plain characters")
    return text


def _label(cell: str) -> str:
    text = _optional_label(cell)
    if not text:
        raise _refusal("empty label", "is empty", "name it, or delete the row")
    return text


Day = Annotated[dt.date, BeforeValidator(_day)]
Label = Annotated[str, BeforeValidator(_label)]
OptionalLabel = Annotated[str, BeforeValidator(_optional_label)]
Milliseconds = Annotated[float, BeforeValidator(_milliseconds)]
LnMilliseconds = Annotated[float, BeforeValidator(_ln_milliseconds)]
Dose = Annotated[float, BeforeValidator(_dose)]


class Row(BaseModel):
    """One row of any file. Validate it with the context `{"decimal": "." or ","}`."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class DayRow(Row):
    """One row that belongs to a day."""

    date: Day


class ReadingRow(DayRow):
    """One night; just one of `rmssd_ms` (ms) and `ln_rmssd` (ln ms) is given."""

    rmssd_ms: Milliseconds | None = None
    ln_rmssd: LnMilliseconds | None = None
    sensor: OptionalLabel = ""
    note: str = ""


class SessionRow(DayRow):
    """One training session; dose 1 = that type's usual session."""

    type: Label
    dose: Dose = 1.0
    note: str = ""


class TypeRow(Row):
    """One session type and the values of its attributes, empty where not given."""

    type: Label
    attributes: dict[str, OptionalLabel] = {}


class InterventionRow(DayRow):
    """One day on which one recovery measure was applied."""

    intervention: Label


class StressorRow(DayRow):
    """One day on which something else weighed on the body."""

    stressor: Label
