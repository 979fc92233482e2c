"""The columns of a table of beats, by what their cells hold."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.beats.recording import Floats, RecordingError
from slackwater.fitting.intake.problems import Problem, show

_MISSING: Final = {"", "nan", "na", "n/a", "null", "none", "-"}
_LOOKED_AT: Final = 20
_GIVE_INTERVALS: Final = "give one RR interval a line, in ms or in s"
_DAY_S: Final = 86_400.0
_EPOCH: Final = dt.datetime(1970, 1, 1)


class Cells(NamedTuple):
    """The rows of a file, header included.

    Attributes:
        lines: the file's line of each.
        rows: their cells.
        separator: between cells; None where it is blanks.
    """

    lines: list[int]
    rows: list[list[str]]
    separator: str | None


class Times(NamedTuple):
    """Times of beats.

    Attributes:
        seconds: of any origin.
        first: the local clock at the first; None where it is not known.
    """

    seconds: Floats
    first: dt.datetime | None


@dataclass(frozen=True)
class Column:
    """One column of numbers or of time stamps.

    Attributes:
        header: its header; its number where there is no header row.
        number: its place in the row, from 1.
        lines: the file's line of each cell.
        values: its numbers, NaN where missing; empty for time stamps.
        stamps: its time stamps; empty for numbers.
    """

    header: str
    number: int
    lines: list[int]
    values: Floats
    stamps: list[dt.datetime | dt.time]

    @property
    def line(self) -> int:
        """The file's line of its first cell."""
        return self.lines[0]

    @cached_property
    def rising(self) -> bool:
        """Whether its numbers never fall, and rise for the most part."""
        known = self.values[np.isfinite(self.values)]
        steps = np.diff(known)
        return bool(steps.size and (steps >= 0).all() and (steps > 0).mean() > 0.5)

    @cached_property
    def flags(self) -> bool:
        """Whether it holds nothing but noughts and ones."""
        return bool(np.isin(self.values[np.isfinite(self.values)], (0.0, 1.0)).all())

    def times(self) -> Times:
        """Return its time stamps in seconds; clocks without a date go on past midnight."""
        if isinstance(self.stamps[0], dt.datetime):
            first = self.stamps[0]
            return Times(np.array([_since_epoch(s) for s in self.stamps]), _local(first))
        seconds = np.array([_of_day(s) for s in self.stamps])
        turns = np.diff(seconds) < -_DAY_S / 2
        return Times(seconds + _DAY_S * np.append(0, np.cumsum(turns)), None)


def columns_of(file: str, cells: Cells) -> list[Column]:
    """Return the columns that hold numbers or time stamps; others are passed over.

    Raises:
        RecordingError: a cell does not hold what the others of its column do, a row has more or
            fewer cells than the others, or a comma may be one between cells or a decimal one.
    """
    if not any(_is_value(cell) for row in cells.rows[:_LOOKED_AT] for cell in row):
        what = f"nothing in it is a number or a time ({show(cells.rows[0][0])} stands first)"
        raise RecordingError(Problem(file, cells.lines[0], 1, what, _GIVE_INTERVALS))
    has_header = not any(_is_value(cell) for cell in cells.rows[0])
    header = cells.rows[0] if has_header else None
    rows, lines = cells.rows[has_header:], cells.lines[has_header:]
    _refuse_commas(file, cells, header, rows, lines)
    width = len(header) if header else len(rows[0])
    for line, row in zip(lines, rows, strict=True):
        if len(row) != width:
            what = f"the row has {len(row)} fields, the first {width}"
            raise RecordingError(
                Problem(file, line, min(len(row), width) + 1, what, "write the row as the others")
            )
    found = []
    for at in range(width):
        name = header[at].strip() if header else str(at + 1)
        column = _column(file, name, at + 1, lines, [row[at].strip() for row in rows], cells)
        if column is not None:
            found.append(column)
    if not found:
        what = f"no column holds numbers or times for the most part ({show(rows[0][0])} is first)"
        raise RecordingError(Problem(file, lines[0], 1, what, _GIVE_INTERVALS))
    return found


def _refuse_commas(
    file: str,
    cells: Cells,
    header: list[str] | None,
    rows: list[list[str]],
    lines: list[int],
) -> None:
    """Refuse rows of two numbers that may be one with a decimal comma."""
    if cells.separator == "," and len(rows[0]) == 2 and (header is None or len(header) == 1):
        whole = all("." not in cell for row in rows for cell in row)
        if whole and all(cell.strip().isdigit() for row in rows for cell in row):
            what = f"{show(','.join(rows[0]))} may be one number with a decimal comma or two"
            mend = "write a decimal point, or part the fields with a semicolon"
            raise RecordingError(Problem(file, lines[0], 1, what, mend))


def _column(
    file: str, header: str, number: int, lines: list[int], texts: list[str], cells: Cells
) -> Column | None:
    there = [text for text in texts[: 5 * _LOOKED_AT] if text.lower() not in _MISSING]
    sample = there[:_LOOKED_AT]
    if not sample:
        return None
    comma = cells.separator != ","
    numbers = sum(_number(text, comma) is not None for text in sample)
    stamps = sum(_stamp(text) is not None for text in sample)
    if 2 * numbers > len(sample):
        values = [_number(t, comma) if t.lower() not in _MISSING else math.nan for t in texts]
        _refuse_others(file, number, lines, texts, values, "number")
        return Column(header, number, lines, np.array(values, float), [])
    if 2 * stamps > len(sample):
        read = [_stamp(text) for text in texts]
        _refuse_others(file, number, lines, texts, read, "time, such as 2031-05-01T22:48:00.250")
        mixed = [
            i
            for i, s in enumerate(read)
            if type(s) is not type(read[0]) or _aware(s) != _aware(read[0])
        ]
        if mixed:
            what = f"{show(texts[mixed[0]])} is written otherwise than the times before it"
            raise RecordingError(
                Problem(file, lines[mixed[0]], number, what, "write all times alike")
            )
        return Column(header, number, lines, np.array([]), [s for s in read if s is not None])
    return None


def _refuse_others(
    file: str, number: int, lines: list[int], texts: list[str], read: Sequence[object], kind: str
) -> None:
    for line, text, value in zip(lines, texts, read, strict=True):
        if value is None:
            what, mend = f"{show(text)} is no {kind}", "mend the cell, or leave the row out"
            raise RecordingError(Problem(file, line, number, what, mend))


def _is_value(cell: str) -> bool:
    text = cell.strip()
    return _number(text, comma=True) is not None or _stamp(text) is not None


def _number(text: str, comma: bool) -> float | None:
    try:
        value = float(text.replace(",", ".") if comma else text)
    except ValueError:
        return None
    return value if math.isfinite(value) and "_" not in text else None


def _stamp(text: str) -> dt.datetime | dt.time | None:
    if len(text) < 5 or text.isdigit():
        return None
    try:
        if text[2] == ":":
            return dt.time.fromisoformat(text)
        return dt.datetime.fromisoformat(text)
    except ValueError:
        return None


def _aware(stamp: object) -> bool:
    return getattr(stamp, "tzinfo", None) is not None


def _since_epoch(stamp: dt.datetime | dt.time) -> float:
    assert isinstance(stamp, dt.datetime)
    if stamp.tzinfo is not None:
        return stamp.timestamp()
    return (stamp - _EPOCH).total_seconds()


def _local(stamp: dt.datetime | dt.time) -> dt.datetime:
    assert isinstance(stamp, dt.datetime)
    return stamp.replace(tzinfo=None)


def _of_day(stamp: dt.datetime | dt.time) -> float:
    return stamp.hour * 3600 + stamp.minute * 60 + stamp.second + stamp.microsecond / 1e6
