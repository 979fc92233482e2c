"""Where a sheet's header stands, which of its columns hold dates, and what else stands around."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from slackwater.fitting.importing.cells import Cell, Row, Sheet, words_of
from slackwater.fitting.importing.dates import day_number, looks_dated
from slackwater.fitting.importing.numbers import missing
from slackwater.fitting.importing.words import HEADERS, TOTALS, UNITS, folded

_LOOKED_AT: Final = 500  # rows by which columns of dates are found
_OTHER_UNITS: Final = frozenset(
    [
        *("min", "mins", "minutes", "minuten", "h", "hh mm", "hh mm ss", "mm ss", "km", "m", "bpm"),
        *("1 min", "kg", "yyyy mm dd", "dd mm yyyy", "mm dd yyyy"),
    ]
)
_IN_BRACKETS: Final = re.compile(r"^(.*?)[\s_]*[(\[]([^)\]]*)[)\]]\s*$")


@dataclass(frozen=True)
class Header:
    """One column's header.

    Attributes:
        text: as it stands; "column 3" where there is none.
        words: the same without its unit, as `folded`.
        unit: the unit in brackets, behind it or below it, as `UNITS` name it; else empty.
    """

    text: str
    words: str
    unit: str = ""


@dataclass(frozen=True)
class Layout:
    """One sheet, parted.

    Attributes:
        sheet: its name.
        headers: the header of each column.
        line: the row of the header, 0 where there is none.
        rows: what stands below it.
        dated: columns that hold dates, counted from 0, those with the most first.
        numbered: columns that may hold day numbers under a header that means a date.
    """

    sheet: str
    headers: Sequence[Header]
    line: int
    rows: Sequence[Row]
    dated: Sequence[int]
    numbered: Sequence[int] = ()

    def column(self, number: int) -> list[Cell]:
        """Return the cells of a column, counted from 0."""
        return [row.at(number) for row in self.rows]


@dataclass
class Days:
    """A sheet's rows by what they are, once it is known where the dates stand.

    Attributes:
        rows: the rows with a date, or with what should be one.
        undated: rows with something in them and no date.
        totals: row numbers of sums and means.
        asides: row numbers of titles, remarks and headers that stand again between the rows.
    """

    rows: list[Row] = field(default_factory=list)
    undated: list[Row] = field(default_factory=list)
    totals: list[int] = field(default_factory=list)
    asides: list[int] = field(default_factory=list)


def part(sheet: Sheet) -> Layout:
    """Return a sheet's header, and the rows below it."""
    width = max(len(row.cells) for row in sheet.rows)
    counts = _dated_counts(sheet.rows, width, looks_dated)
    dated = sorted((c for c in range(width) if counts[c]), key=lambda c: -counts[c])
    dated = [c for c in dated if 2 * counts[c] >= counts[dated[0]]]
    first = next(
        (i for i, row in enumerate(sheet.rows) if dated and looks_dated(row.at(dated[0]))), -1
    )
    at = _header_above(sheet.rows, first) if first >= 0 else _first_of_words(sheet.rows)
    body = at + 1 if at is not None else max(first, 0)
    header = sheet.rows[at].cells if at is not None else ()
    units: Sequence[Cell] = ()
    if at is not None and body < len(sheet.rows) and _all_units(sheet.rows[body]):
        units, body = sheet.rows[body].cells, body + 1
    headers = [_header(_cell(header, c), _cell(units, c), c) for c in range(width)]
    numbers = _dated_counts(sheet.rows[body:], width, day_number)
    numbered = [c for c in range(width) if numbers[c] and headers[c].words in HEADERS["date"]]
    line = sheet.rows[at].number if at is not None else 0
    return Layout(sheet.name, headers, line, sheet.rows[body:], dated, numbered)


def days(layout: Layout, dates: int) -> Days:
    """Return a sheet's rows by what they are.

    Args:
        layout: the sheet.
        dates: the column of its dates, counted from 0.
    """
    found = Days()
    header = [h.text for h in layout.headers]
    for row in layout.rows:
        cell = row.at(dates)
        if row.blank:
            continue
        filled = [(c, held) for c, held in enumerate(row.cells) if held is not None]
        first = filled[0][1]
        if looks_dated(cell) or (day_number(cell) and dates in layout.numbered):
            found.rows.append(row)
        elif isinstance(first, str) and _total(first):
            found.totals.append(row.number)
        elif all(words_of(held) == header[c] for c, held in filled) or _remark(filled, dates):
            found.asides.append(row.number)
        elif missing(cell):
            found.undated.append(row)
        else:
            found.rows.append(row)
    return found


def _total(text: str) -> bool:
    return folded(text) in TOTALS or folded(text).split(" ")[0] in TOTALS - {"min", "max", "n"}


def _remark(filled: Sequence[tuple[int, Cell]], dates: int) -> bool:
    """Say whether all that a row holds is one text in its first or its date's column."""
    (column, cell), *more = filled
    return (
        not more and column in (0, dates) and isinstance(cell, str) and any(map(str.isalpha, cell))
    )


def _dated_counts(rows: Sequence[Row], width: int, dated: object) -> list[int]:
    looked_at = rows[:_LOOKED_AT]
    return [sum(dated(row.at(c)) for row in looked_at) for c in range(width)]  # type: ignore[operator]


def _header_above(rows: Sequence[Row], first: int) -> int | None:
    """Return which row above the first date is the header: the nearest with several texts."""
    for at in range(first - 1, -1, -1):
        texts = [cell for cell in rows[at].cells if isinstance(cell, str)]
        if len(texts) >= min(2, sum(c is not None for c in rows[first].cells)) and not _all_units(
            rows[at]
        ):
            return at
    return None


def _first_of_words(rows: Sequence[Row]) -> int | None:
    """Return the first row of several texts and nothing else."""
    for at, row in enumerate(rows[:_LOOKED_AT]):
        held = [cell for cell in row.cells if cell is not None]
        if len(held) > 1 and all(isinstance(cell, str) for cell in held):
            return at
    return None


def _all_units(row: Row) -> bool:
    held = [folded(words_of(cell).strip("()[]")) for cell in row.cells if cell is not None]
    return bool(held) and all(text in UNITS or text in _OTHER_UNITS for text in held)


def _cell(cells: Sequence[Cell], column: int) -> Cell:
    return cells[column] if column < len(cells) else None


def _header(cell: Cell, unit: Cell, column: int) -> Header:
    text = " ".join(words_of(cell).split())
    if not text:
        return Header(f"column {column + 1}", "")
    words, given = folded(text), words_of(unit).strip("()[] ")
    if found := _IN_BRACKETS.match(text):
        inside = folded(found[2])
        # What is no unit is part of the name: HRV (SDNN) is another thing than HRV (ms).
        if inside in UNITS or inside in _OTHER_UNITS:
            words = folded(found[1])
        given = given or next((each for each in inside.split(" ") if each in UNITS), "")
    if not given and (parts := words.split(" "))[-1] in UNITS and len(parts) > 1:
        words, given = " ".join(parts[:-1]), parts[-1]
    if not given and re.match(r"(ln|log) ?r? ?mssd|(ln|log) hrv", words):
        given = "ln"
    return Header(text, words, UNITS.get(folded(given), folded(given)))
