"""Rows into a file and out of it again, nothing else in it changed."""

from __future__ import annotations

import datetime as dt
import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import NamedTuple

from slackwater.fitting.intake.problems import Problem, SeasonFilesError
from slackwater.fitting.intake.settings import Settings
from slackwater.fitting.keeping.row import KEYS, MANY_ALIKE, Row, in_columns
from slackwater.fitting.keeping.sheet import Line, Sheet, new_sheet, read_sheet
from slackwater.model.errors import NoAnswerError, QuestionError, Reason

_FIRST_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "readings": ("date", "rmssd_ms"),
    "sessions": ("date", "type"),
    "types": ("type",),
    "interventions": ("date", "intervention"),
    "stressors": ("date", "stressor"),
    "confirmed": ("date", "entry"),
}


class Placed(NamedTuple):
    """A row that was entered.

    Attributes:
        cells: our column name -> what was written, a number with a decimal point.
        was: the same of the row whose place it took; None where it is a row of its own.
    """

    cells: dict[str, str]
    was: dict[str, str] | None


class Written(NamedTuple):
    """A file with rows entered.

    Attributes:
        content: its bytes.
        placed: the rows, in the order given.
        added: the headers of columns that it did not have and now has.
    """

    content: bytes
    placed: list[Placed]
    added: list[str]


class Readings(NamedTuple):
    """What a file of readings holds.

    Attributes:
        held: ISO date -> RMSSD, ms.
        sensor: what the latest was read with; "" where that is not said.
    """

    held: dict[str, float]
    sensor: str


def enter(file: str, data: bytes | None, rows: Sequence[Row], settings: Settings) -> Written:
    """Return a file with rows entered, each where the order of its dates puts it.

    Args:
        file: its name without `.csv`.
        data: its bytes; None where there is no such file yet.
        rows: rows of this file.
        settings: what the folder's season.toml says.

    Raises:
        SeasonFilesError: the file cannot be added to as it is.
        QuestionError: a row is none that the file can hold, or is there already.
    """
    sheet = None if data is None else read_sheet(file, data, settings)
    has_ln = sheet is not None and "ln_rmssd" in sheet.columns
    given = [in_columns(row, has_ln) for row in rows]
    if sheet is None:
        more = [name for cells in given for name, text in cells.items() if text]
        sheet = new_sheet(file, [*dict.fromkeys((*_FIRST_COLUMNS[file], *more))], settings)
    sheet, added = _with_columns(sheet, given)
    given = [{name: c[name] for name in c if name in sheet.columns} for c in given]
    replaced, placed, fresh = _placed(sheet, rows, given)
    lines = [replaced.get(n, line) for n, line in enumerate(sheet.lines)]
    return Written(sheet.content(_joined(sheet, lines, fresh)), placed, added)


def _with_columns(sheet: Sheet, given: Sequence[Mapping[str, str]]) -> tuple[Sheet, list[str]]:
    """Return the file with the columns that it lacks and the rows need, behind its own."""
    needed = dict.fromkeys(name for cells in given for name, text in cells.items() if text)
    lacks = [name for name in needed if name not in sheet.columns]
    _refuse_lost(sheet, lacks)
    if not lacks:
        return sheet, []
    added = [sheet.headers.get(name, name) for name in lacks]
    quoted = [sheet.lines[0].fields[0]]
    titles = tuple(sheet.field("", header, quoted) for header in added)
    empty = ('""' if sheet.all_quoted else "",) * len(added)
    width = len(sheet.lines[0].fields)
    lines = [
        _of(sheet, (*line.fields, *(empty if n else titles)), line.end)
        if len(line.fields) == width and (not n or line.raw)
        else line
        for n, line in enumerate(sheet.lines)
    ]
    return replace(sheet, lines=lines), added


def _refuse_lost(sheet: Sheet, lacks: Sequence[str]) -> None:
    """Refuse a file without one of the columns that it must have, as `check` does."""
    for name in lacks:
        if name in _FIRST_COLUMNS[sheet.file]:
            header = sheet.headers.get(name, name)
            what = f"the column {header} is missing, so no row can be added"
            mend = "see what `check` says of the file"
            raise SeasonFilesError([Problem(f"{sheet.file}.csv", 1, 1, what, mend)])


def _placed(
    sheet: Sheet, rows: Sequence[Row], given: Sequence[dict[str, str]]
) -> tuple[dict[int, Line], list[Placed], list[tuple[int, Line]]]:
    """Return the lines that change, the rows as placed, and new lines with their places."""
    there = _by_key(sheet)
    replaced: dict[int, Line] = {}
    placed: list[Placed] = []
    fresh: list[tuple[int, Line]] = []
    entered: dict[tuple[str, ...], int] = {}
    for row, cells in zip(rows, given, strict=True):
        key = _key(sheet.file, cells)
        at = there[key][-1] if there.get(key) else None
        if at is not None and row.replaces:
            line = replaced.get(at, sheet.lines[at])
            was = {name: sheet.value(line, name) for name in cells if name in sheet.columns}
            replaced[at] = with_cells(sheet, line, cells)
            placed.append(Placed(cells, was))
            continue
        many = sheet.file == MANY_ALIKE
        if not many and (at is not None or key in entered):
            place = "among the new rows" if at is None else f"in line {line_number(sheet, at)}"
            raise QuestionError(f"{sheet.file}.csv: {' '.join(key)} stands {place} already.")
        entered[key] = len(placed)
        placed.append(Placed(cells, None))
        fresh.append((_place_of(sheet, cells), _new_line(sheet, cells)))
    return replaced, placed, fresh


def _by_key(sheet: Sheet) -> dict[tuple[str, ...], list[int]]:
    found: defaultdict[tuple[str, ...], list[int]] = defaultdict(list)
    for n, line in enumerate(sheet.lines):
        if n and not line.blank:
            found[tuple(sheet.value(line, name) for name in KEYS[sheet.file])].append(n)
    return found


def _key(file: str, cells: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(cells[name] for name in KEYS[file])


def _place_of(sheet: Sheet, cells: Mapping[str, str]) -> int:
    """Return before which row of the file a new one belongs."""
    after_all = sheet.last + 1
    if "date" not in cells or not sheet.dates:
        return after_all
    day = dt.date.fromisoformat(cells["date"])
    if sheet.newest_first:
        at = bisect_left(sheet.dates, -day.toordinal(), key=lambda row: -row[0].toordinal())
        return sheet.dates[at][1] if at < len(sheet.dates) else after_all
    if sheet.oldest_first:
        at = bisect_right(sheet.dates, day, key=lambda row: row[0])
        return sheet.dates[at][1] if at < len(sheet.dates) else after_all
    return after_all


def _new_line(sheet: Sheet, cells: Mapping[str, str]) -> Line:
    ours = {at: name for name, at in sheet.columns.items()}
    fields = []
    for at, showing in enumerate(sheet.showing):
        name = ours.get(at, "")
        field = sheet.field(name, cells.get(name, ""), showing)
        fields.append(field or ('""' if sheet.all_quoted else ""))
    return _of(sheet, tuple(fields), sheet.end)


def with_cells(sheet: Sheet, line: Line, cells: Mapping[str, str]) -> Line:
    """Return a row with other cells, the rest of it as it stands."""
    fields = list(line.fields)
    for name, text in cells.items():
        at = sheet.columns[name]
        fields += [""] * (at + 1 - len(fields))
        if sheet.value(line, name) != text:
            fields[at] = sheet.field(name, text, [fields[at]])
    return _of(sheet, tuple(fields), line.end)


def _of(sheet: Sheet, fields: tuple[str, ...], end: str) -> Line:
    return Line(sheet.dialect.separator.join(fields), end, fields)


def _joined(sheet: Sheet, lines: list[Line], fresh: list[tuple[int, Line]]) -> list[Line]:
    """Return the lines with new ones before the rows they belong before, in order of date."""
    dated = sheet.columns.get("date")
    falling = sheet.newest_first

    def when(placed: tuple[int, Line]) -> tuple[int, int]:
        if dated is None:
            return placed[0], 0
        day = dt.date.fromisoformat(sheet.cell(placed[1], dated)).toordinal()
        return placed[0], -day if falling else day

    bare = lines[-1].end == ""  # the file stops without a line end, and goes on doing so
    result: list[Line] = []
    waiting = sorted(fresh, key=when)
    for n, line in enumerate([*lines, None]):
        while waiting and waiting[0][0] <= n:
            result.append(waiting.pop(0)[1])
        if line is not None:
            result.append(line)
    ended = [line if line.end else line._replace(end=sheet.end) for line in result]
    return [*ended[:-1], ended[-1]._replace(end="")] if bare else ended


def readings_in(data: bytes, settings: Settings) -> Readings:
    """Return what a file of readings holds.

    Raises:
        SeasonFilesError: the file's rows cannot be told.
    """
    sheet = read_sheet("readings", data, settings)
    held: dict[str, float] = {}
    for line in sheet.lines[1:]:
        ms, ln = (sheet.value(line, name) for name in ("rmssd_ms", "ln_rmssd"))
        with suppress(ValueError, OverflowError):
            held[sheet.value(line, "date")] = float(ms) if ms else math.exp(float(ln))
    latest = max(sheet.dates, default=None)
    sensor = sheet.value(sheet.lines[latest[1]], "sensor") if latest else ""
    return Readings(held, sensor)


def take_out(file: str, data: bytes, placed: Sequence[Placed], settings: Settings) -> bytes:
    """Return a file without rows that were entered, whatever else was changed in it since.

    A row that is no longer there is no hindrance, one that is there otherwise is.

    Args:
        file: its name without `.csv`.
        data: its bytes.
        placed: the rows.
        settings: what the folder's season.toml says.

    Raises:
        SeasonFilesError: the file's rows cannot be told.
        NoAnswerError: a row was changed since.
    """
    sheet = read_sheet(file, data, settings)
    there = _by_key(sheet)
    lines: list[Line | None] = list(sheet.lines)
    for cells, was in reversed(placed):
        alike = there.get(_key(file, cells), [])
        same = [n for n in alike if _holds(sheet, sheet.lines[n], cells)]
        if alike and not same:
            line = line_number(sheet, alike[-1])
            raise NoAnswerError(Reason("entry changed since", file=f"{file}.csv", line=line))
        for n in same[-1:]:
            lines[n] = None if was is None else with_cells(sheet, sheet.lines[n], was)
            alike.remove(n)
    kept = [line for line in lines if line is not None]
    bare = sheet.lines[-1].end == ""
    return sheet.content([*kept[:-1], kept[-1]._replace(end="")] if bare else kept)


def _holds(sheet: Sheet, line: Line, cells: Mapping[str, str]) -> bool:
    return all(_same(sheet.value(line, name), text) for name, text in cells.items())


def _same(there: str, text: str) -> bool:
    try:
        return there == text or float(there) == float(text)
    except ValueError:
        return False


def line_number(sheet: Sheet, row: int) -> int:
    """Return the line of the file on which a row starts, 1 = the header row."""
    before = "".join(line.raw + line.end for line in sheet.lines[:row])
    return 1 + len(before.splitlines())
