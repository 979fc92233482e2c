"""Beats in a text file: one interval a line, or a table with a column of them.

What a column holds is told from all of its cells, never from its name: an interval in ms lies
between 200 and 3,000 in the middle, one in s between 0.2 and 3. What is neither is asked about.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.beats.columns import Cells, Column, Times, columns_of
from slackwater.fitting.beats.mornings import Stamp, stamp_in
from slackwater.fitting.beats.recording import (
    Floats,
    Recording,
    RecordingError,
    from_beats,
    from_intervals,
    from_timed_intervals,
)
from slackwater.fitting.intake.problems import Problem, show
from slackwater.model.errors import Reason

UNITS: Final = {"ms": 1.0, "s": 1000.0, "1/1024 s": 1000 / 1024}
SHORTEST: Final = 0.2  # of the middle interval, s
LONGEST: Final = 3.0
_SEPARATORS: Final = (";", "\t", ",")
_SNIFFED: Final = 50
_HEADER_LINES: Final = 20


class Wanted(NamedTuple):
    """What the reader of a file is told of it, where the file leaves it open.

    Attributes:
        unit: of intervals and of times counted from the start; a key of `UNITS`.
        column: the header, or the number from 1, of the column that holds the beats.
        label: the text of the annotations that are beats.
    """

    unit: str | None = None
    column: str | None = None
    label: str | None = None


def read_text(file: str, text: str, wanted: Wanted) -> Recording:
    """Return the recording that a text file holds.

    Args:
        file: its name, for messages.
        text: its text.
        wanted: what it leaves open.

    Raises:
        RecordingError: it does not hold beats, or leaves open how it is to be read.
    """
    comments, cells = _cells(file, text)
    columns = columns_of(file, cells)
    beats, times = _chosen(file, columns, wanted)
    starts = _starts_in(comments)
    if beats is None:
        assert times is not None
        recording = _from_times(file, times, wanted)
    else:
        recording = _from_intervals(file, beats, times, wanted)
    if recording.starts is None and starts is not None:
        return replace(recording, starts=starts.starts, day=starts.day)
    return recording


def _cells(file: str, text: str) -> tuple[list[str], Cells]:
    """Return the comment lines at the top, and the rows of cells."""
    lines = [(n, line) for n, line in enumerate(text.split("\n"), 1) if line.strip()]
    comments = [line for _, line in lines[:_HEADER_LINES] if line.lstrip().startswith("#")]
    rows = [(n, line) for n, line in lines if not line.lstrip().startswith("#")]
    if not rows:
        what, mend = "there is nothing in it", "give a file with one interval a line"
        raise RecordingError(Problem(file, 1, 1, what, mend))
    separator = _separator([line for _, line in rows[:_SNIFFED]])
    if separator is None:
        split = [line.split() for _, line in rows]
    else:
        split = list(_split(file, rows, separator))
    numbers = [n for n, _ in rows]
    return comments, Cells(numbers, split, separator)


def _separator(lines: list[str]) -> str | None:
    """Return what most lines part their cells by; None where that is blanks, or nothing."""
    return next((s for s in _SEPARATORS if 2 * sum(s in x for x in lines) > len(lines)), None)


def _split(file: str, rows: list[tuple[int, str]], separator: str) -> Iterator[list[str]]:
    reader = csv.reader((line for _, line in rows), delimiter=separator, strict=True)
    try:
        yield from reader
    except csv.Error as error:
        line = rows[min(reader.line_num, len(rows)) - 1][0]
        what = f"the row's double quotes do not pair up ({error})"
        raise RecordingError(Problem(file, line, 1, what, "close the quoted field")) from None


def _chosen(
    file: str, columns: list[Column], wanted: Wanted
) -> tuple[Column | None, Column | None]:
    """Return the column of intervals and that of times; one of them may be None."""
    times = next((c for c in columns if c.stamps), None)
    if wanted.column is not None:
        column = _named(file, columns, wanted.column)
        if column.stamps or (_unit(column.values, wanted) is None and column.rising):
            return None, column
        return column, times
    numbers = [c for c in columns if not c.stamps]
    beats = [
        c for c in numbers if not (c.rising or c.flags) and _unit(c.values, wanted) is not None
    ]
    rising = [c for c in numbers if c.rising]
    if len(beats) == 1:
        return beats[0], times or next((c for c in rising if _fits(c, beats[0], wanted)), None)
    if len(beats) > 1:
        names = ", ".join(show(c.header) for c in beats)
        what = f"more than one column could hold the intervals ({names})"
        mend = "say which with --column"
        raise RecordingError(Problem(file, beats[1].line, beats[1].number, what, mend))
    alone = times or (rising[0] if len(rising) == 1 else None)
    if alone is not None and len(columns) == 1:
        return None, alone
    raise RecordingError(_no_beats(file, columns, alone))


def _no_beats(file: str, columns: list[Column], times: Column | None) -> Problem:
    if times is not None:
        what = "no column holds intervals, and whether its times are those of beats is left open"
        mend = f"if they are, say so with --column {show(times.header)}"
        return Problem(file, times.line, times.number, what, mend)
    first = columns[0]
    middle = float(np.nanmedian(first.values)) if np.isfinite(first.values).any() else float("nan")
    what = (
        f"these are no intervals between beats in ms (200 to 3000 in the middle) or in s (0.2 to "
        f"3): {middle:g} is in the middle"
    )
    mend = "give RR intervals, or say the unit with --unit"
    return Problem(file, first.line, first.number, what, mend)


def _named(file: str, columns: list[Column], asked: str) -> Column:
    for column in columns:
        if asked in (column.header, str(column.number)):
            return column
    names = ", ".join(show(column.header) for column in columns)
    what = f"there is no column {show(asked)} of numbers or times"
    raise RecordingError(Problem(file, 1, 1, what, f"the columns are {names}"))


def _unit(values: Floats, wanted: Wanted) -> str | None:
    """Return the unit that makes intervals of numbers, None where none does."""
    known = values[np.isfinite(values)]
    known = known[known > 0]
    if not known.size:
        return None
    middle = float(np.median(known))
    for unit in [wanted.unit] if wanted.unit else ["s", "ms"]:
        if SHORTEST <= middle * UNITS[unit] / 1000 <= LONGEST:
            return unit
    return None


def _fits(times: Column, beats: Column, wanted: Wanted) -> bool:
    """Say whether a rising column counts the time of the beats beside it."""
    unit = _unit(beats.values, wanted)
    steps = _unit(np.diff(times.values), wanted)
    if unit is None or steps is None or np.isnan(times.values).any():
        return False
    length = np.nansum(beats.values) * UNITS[unit]
    return bool((times.values[-1] - times.values[0]) * UNITS[steps] >= 0.9 * length)


def _from_intervals(file: str, beats: Column, times: Column | None, wanted: Wanted) -> Recording:
    unit = _unit(beats.values, wanted)
    if unit is None:
        raise RecordingError(_no_beats(file, [beats], None))
    rr_ms = beats.values * UNITS[unit]
    if times is None:
        return from_intervals(rr_ms, Reason("read as intervals", unit=unit))
    when = _seconds(file, times, wanted)
    read_as = Reason("read as timed intervals", unit=unit, column=beats.header, times=times.header)
    return from_timed_intervals(rr_ms, when.seconds, read_as, when.first)


def _from_times(file: str, times: Column, wanted: Wanted) -> Recording:
    when = _seconds(file, times, wanted)
    if when.seconds.size < 2:
        what, mend = "one beat makes no interval", "give the times of a night's beats"
        raise RecordingError(Problem(file, times.line, times.number, what, mend))
    return from_beats(when.seconds, Reason("read as times of beats"), when.first)


def _seconds(file: str, column: Column, wanted: Wanted) -> Times:
    """Return a column's times in seconds, which never go back."""
    if column.stamps:
        when = column.times()
    else:
        unit = _unit(np.diff(column.values), wanted)
        if unit is None:
            what = "the times of beats follow each other by no interval in ms or in s"
            raise RecordingError(
                Problem(file, column.line, column.number, what, "say the unit with --unit")
            )
        when = Times(column.values * UNITS[unit] / 1000, None)
    lost = np.flatnonzero(np.isnan(when.seconds))
    if lost.size:
        what, mend = "the time is missing here", "write it, or leave the row out"
        raise RecordingError(Problem(file, column.lines[lost[0]], column.number, what, mend))
    back = np.flatnonzero(np.diff(when.seconds) < 0)
    if back.size:
        what = "the time goes back here"
        mend = "sort the rows; where clocks were put back, give stamps with their offset from UTC"
        raise RecordingError(Problem(file, column.lines[back[0] + 1], column.number, what, mend))
    return when


def _starts_in(comments: list[str]) -> Stamp | None:
    return stamp_in(" ".join(comments)) if comments else None
