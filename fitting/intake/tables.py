"""From rows of cells to typed rows: find the columns, then validate every cell."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Generic, NamedTuple, TypeVar

from slackwater.fitting.intake.cells import (
    ATTRIBUTE,
    COLUMNS,
    CellError,
    ConfirmedRow,
    InterventionRow,
    LevelRow,
    ReadingRow,
    Row,
    SessionRow,
    StressorRow,
    TypeRow,
)
from slackwater.fitting.intake.csv_file import Grid, Line
from slackwater.fitting.intake.problems import Note, Problem, at_lines, has_control, show
from slackwater.fitting.text import listed
from slackwater.model.errors import nearest

# Columns whose cells are no labels; in types.csv every column but `type` is an attribute.
_NO_LABELS: Final = {"date", "rmssd_ms", "ln_rmssd", "ln_sd", "dose", "note"}

AnyRow = TypeVar("AnyRow", bound=Row)


class Column(NamedTuple):
    """A column as it stands in the file: its header, and its number from 1."""

    header: str
    number: int


@dataclass(frozen=True)
class Entry(Generic[AnyRow]):
    """A valid row and the line of the file on which it starts."""

    line: int
    values: AnyRow


@dataclass
class Table(Generic[AnyRow]):
    """One file, understood; without columns where there is no such file.

    Attributes:
        file: the file's name.
        columns: our column name, or an attribute's name -> the column of the file.
        entries: the valid rows, in the file's order.
        problems: what is wrong with the others, and with the file.
        notes: what is worth saying about it.
    """

    file: str
    columns: dict[str, Column] = field(default_factory=dict)
    entries: list[Entry[AnyRow]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    @property
    def attributes(self) -> list[str]:
        """The attributes' names, in the file's order; only types.csv has any."""
        return [name for name in self.columns if name != "type"]

    @property
    def rows(self) -> list[AnyRow]:
        """The valid rows, without their lines."""
        return [entry.values for entry in self.entries]

    def values(self, name: str) -> list[Any]:
        """Return one column's values, in the file's order."""
        return [getattr(entry.values, name) for entry in self.entries]

    def problem(self, line: int, name: str, what: str, mend: str, kind: str) -> Problem:
        """Return a problem with one cell; its text opens with the column's header."""
        column = self.columns[name]
        return Problem(self.file, line, column.number, f"{column.header} {what}", mend, kind)


@dataclass(frozen=True)
class Tables:
    """The folder's tables."""

    readings: Table[ReadingRow]
    sessions: Table[SessionRow]
    types: Table[TypeRow]
    interventions: Table[InterventionRow]
    stressors: Table[StressorRow]
    levels: Table[LevelRow]
    confirmed: Table[ConfirmedRow]

    @property
    def each(self) -> list[Table[Any]]:
        """All tables."""
        return [*self.logged, self.types, self.levels, self.confirmed]

    @property
    def logged(self) -> list[Table[Any]]:
        """The tables of what was logged, day by day."""
        return [self.readings, self.sessions, self.interventions, self.stressors]


def rows_through(tables: Tables, night: dt.date) -> list[list[Any]]:
    """Return all rows that readings up to a night can tell of, table by table.

    Args:
        tables: a folder's rows.
        night: the last night.
    """
    dated = [*tables.logged, tables.levels]
    kept = [[row for row in table.rows if row.date <= night] for table in dated]
    return [*kept, tables.types.rows]


def no_tables() -> Tables:
    """Return the tables of a season that has no file yet."""
    return Tables(
        Table("readings.csv"),
        Table("sessions.csv"),
        Table("types.csv"),
        Table("interventions.csv"),
        Table("stressors.csv"),
        Table("levels.csv"),
        Table("confirmed.csv"),
    )


def read_table(
    grid: Grid, row: type[AnyRow], headers: Mapping[str, str], decimal: str
) -> Table[AnyRow]:
    """Return a file's typed rows, and what is wrong with the others.

    Args:
        grid: the file's rows of cells.
        row: what a row of this file holds.
        headers: our column name -> the header that it has in the file.
        decimal: the decimal mark, "." or ",".
    """
    known = {
        name: Column(header, grid.header.index(header) + 1)
        for name, header in headers.items()
        if header in grid.header
    }
    rest = [
        Column(header, number)
        for number, header in enumerate(grid.header, start=1)
        if header not in headers.values()
    ]
    attributes = {column.header: column for column in rest} if row is TypeRow else {}
    table = Table[AnyRow](grid.file, known | attributes, problems=list(grid.problems))
    wrong = [*_twice(grid, table.columns), *_missing(grid, row, known, headers)]
    if attributes:
        wrong += _misnamed(grid.file, rest)
    elif rest and not wrong:
        table.notes.append(_left_aside(grid.file, rest))
    table.problems.extend(wrong)
    if not wrong:
        _fill(table, row, grid.rows, decimal)
    return table


def _fill(table: Table[AnyRow], row: type[AnyRow], lines: list[Line], decimal: str) -> None:
    padded: list[int] = []
    for line in lines:
        cells = {name: line.cells[number - 1] for name, (_, number) in table.columns.items()}
        if any(cells[name] != cells[name].strip() for name in cells.keys() - _NO_LABELS):
            padded.append(line.number)
        values, wrong = _values(row, cells, decimal)
        for name, error in wrong:
            found = table.problem(line.number, name, error.what, error.mend, error.kind)
            table.problems.append(found)
        if not wrong:
            table.entries.append(Entry(line.number, row(**values)))
    if padded:
        text = f"blanks before or after a label are dropped in {at_lines(padded)}"
        table.notes.append(Note(table.file, padded[0], text))


def _values(
    row: type[Row], cells: Mapping[str, str], decimal: str
) -> tuple[dict[str, Any], list[tuple[str, CellError]]]:
    """Return a row's values by name, and what is wrong with the others."""
    values: dict[str, Any] = {}
    wrong: list[tuple[str, CellError]] = []
    attributes: dict[str, str] = {}
    for name, cell in cells.items():
        column = COLUMNS[row].get(name, ATTRIBUTE)
        try:
            (attributes if column is ATTRIBUTE else values)[name] = column.read(cell, decimal)
        except CellError as error:
            wrong.append((name, error))
    return values | ({"attributes": attributes} if attributes else {}), wrong


def _twice(grid: Grid, columns: Mapping[str, Column]) -> Iterator[Problem]:
    for header in {column.header: None for column in columns.values() if column.header}:
        first, *others = [n for n, cell in enumerate(grid.header, start=1) if cell == header]
        for number in others:
            what = f"the column {show(header)} stands in field {first} as well"
            yield Problem(grid.file, 1, number, what, "keep one, or rename the other", "header")


def _missing(
    grid: Grid, row: type[Row], known: Mapping[str, Column], headers: Mapping[str, str]
) -> Iterator[Problem]:
    """Yield a problem for each column that must be there once and is not."""
    needs = [[name] for name, column in COLUMNS[row].items() if column.needed]
    if row is ReadingRow:
        needs.append(["rmssd_ms", "ln_rmssd"])
    for names in needs:
        there = [known[name] for name in names if name in known]
        if len(there) > 1:
            what = f"{there[0].header} and {there[1].header} are both given"
            yield Problem(grid.file, 1, there[1].number, what, "keep one of them", "header")
        elif not there:
            yield _missing_column(grid, names, headers)


def _missing_column(grid: Grid, names: list[str], headers: Mapping[str, str]) -> Problem:
    section = f"[columns.{grid.file.removesuffix('.csv')}] in season.toml"
    wanted = [
        name if headers[name] == name else f"{headers[name]} ({name} under {section})"
        for name in names
    ]
    found = ", ".join(show(header) for header in grid.header)
    what = f"the column {' or '.join(wanted)} is missing (the header row has {found})"
    # Only headers that can stand in the suggested line of TOML as they are.
    plain = [header for header in grid.header if header.isprintable() and '"' not in header]
    like = nearest(headers[names[0]], plain)
    if like is not None:
        rename = f"rename {show(like)} to {headers[names[0]]}"
        mend = f'{rename}, or declare {names[0]} = "{like}" under {section}'
    else:
        mend = f'add it, or declare its header with {names[0]} = "…" under {section}'
    return Problem(grid.file, 1, 1, what, mend, "header")


def _misnamed(file: str, attributes: list[Column]) -> Iterator[Problem]:
    for header, number in attributes:
        mend = "name the attribute, or delete the column"
        if not header:
            yield Problem(file, 1, number, f"the column in field {number} has no name", mend)
        elif header == "type" or has_control(header):
            what = f"an attribute cannot be called {show(header)}"
            yield Problem(file, 1, number, what, "give it another name")


def _left_aside(file: str, columns: list[Column]) -> Note:
    names = [show(header) if header else f"field {number}" for header, number in columns]
    columns_are = "the column {} is" if len(names) == 1 else "the columns {} are"
    return Note(file, 1, f"{columns_are.format(listed(names))} not known here and left aside")
