"""From the bytes of one CSV file to its rows of cells, each with its line number."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from slackwater.fitting.intake.problems import Problem, SeasonFilesError, show
from slackwater.fitting.intake.settings import SEPARATORS, CsvSettings
from slackwater.fitting.text import plural

_MARKS: Final = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
_DATED: Final = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}")
MOST_ROWS: Final = 200_000  # over 500 years of nights; bounds the memory that a file can take


@dataclass(frozen=True)
class Line:
    """One row of a file.

    Attributes:
        number: the file's line on which the row starts, 1 = the header row.
        cells: the row's fields as they stand.
    """

    number: int
    cells: list[str]

    @property
    def blank(self) -> bool:
        """Whether nothing stands in the row."""
        return not any(cell.strip() for cell in self.cells)

    def of(self, length: int) -> Line:
        """Return the row with empty cells at its end, up to a length."""
        return Line(self.number, self.cells + [""] * (length - len(self.cells)))


@dataclass(frozen=True)
class Grid:
    """One file's rows of cells.

    Attributes:
        file: the file's name.
        header: the header row's cells, without blanks around them.
        rows: the rows below, as long as the header: what a row leaves out at its end is empty.
        problems: what is wrong with the others.
    """

    file: str
    header: list[str]
    rows: list[Line]
    problems: list[Problem]


def read_grid(file: str, data: bytes, dialect: CsvSettings) -> Grid:
    """Return the rows of a CSV file.

    Args:
        file: the file's name, for messages.
        data: the file's bytes.
        dialect: how the file is written.

    Raises:
        SeasonFilesError: the file as a whole cannot be read: its encoding, an empty
            file, a wrong separator.
    """
    lines, problems = _lines(file, _decode(file, data, dialect.encoding), dialect.separator)
    while lines and lines[-1].blank:
        lines.pop()
    if not lines:
        mend = "write the header row and the rows below it"
        raise SeasonFilesError(problems or [Problem(file, 1, 1, "the file is empty", mend)])
    if lines[0].blank:
        what, mend = "the first row is blank", "write the header row there"
        raise SeasonFilesError([*problems, Problem(file, 1, 1, what, mend)])
    header = [cell.strip() for cell in lines[0].cells]
    _refuse_separator(file, header, dialect.separator)
    problems += _shape_problems(file, lines, dialect.separator)
    wrong = {problem.line for problem in problems}
    rows = [line.of(len(header)) for line in lines[1:] if line.number not in wrong]
    return Grid(file, header, rows, problems)


def _decode(file: str, data: bytes, encoding: str) -> str:
    for mark, name in _MARKS.items():
        if data.startswith(mark) and codecs.lookup(encoding).name != name:
            what = f"the file starts with a byte-order mark ({name})"
            mend = f'declare encoding = "{name}" under [csv] in season.toml'
            raise SeasonFilesError([Problem(file, 1, 1, what, mend)])
    try:
        text = data.decode(encoding)
    except UnicodeError as err:
        line, what = 1, f"this is not {encoding} text"
        if isinstance(err, UnicodeDecodeError):
            line += err.object[: err.start].count(b"\n")
            what = f"byte 0x{err.object[err.start]:02x} is not {encoding} text"
        mend = _encoding_mend(encoding, "cp1252")
        raise SeasonFilesError([Problem(file, line, 1, what, mend)]) from None
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        what = f"a NUL character stands here, so this is not {encoding} text"
        mend = _encoding_mend(encoding, "utf-16-le")
        raise SeasonFilesError([Problem(file, line, 1, what, mend)])
    return text


def _encoding_mend(encoding: str, other: str) -> str:
    declare = f'declare the right one under [csv] in season.toml, such as encoding = "{other}"'
    return f"save the file as CSV in {encoding}, or {declare}"


def _lines(file: str, text: str, separator: str) -> tuple[list[Line], list[Problem]]:
    # newline="" leaves line ends to the csv module, so quoted ones stay and are counted.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines: list[Line] = []
    start = 1
    try:
        for cells in reader:
            lines.append(Line(start, cells))
            start = reader.line_num + 1
            if len(lines) > MOST_ROWS:
                what, mend = f"there are over {MOST_ROWS:,} rows", "leave in it one season's rows"
                raise SeasonFilesError([Problem(file, start, 1, what, mend)])
    except csv.Error as err:
        what = f"the row's double quotes do not pair up ({err})"
        mend = "close the quoted field, and write a double quote inside it twice"
        return lines, [Problem(file, start, 1, what, mend, "quotes")]
    return lines, []


def _refuse_separator(file: str, header: list[str], separator: str) -> None:
    if len(header) > 1:
        return
    for other, name in SEPARATORS.items():
        if other != separator and other in header[0]:
            what = f"the header row has no {SEPARATORS[separator]}, but a {name}"
            declared = other.replace("\t", r"\t")
            mend = f'declare separator = "{declared}" under [csv] in season.toml'
            raise SeasonFilesError([Problem(file, 1, 1, what, mend)])


def _shape_problems(file: str, lines: list[Line], separator: str) -> Iterator[Problem]:
    """Yield a problem for each row that is blank, too long, or written with another separator."""
    wanted = len(lines[0].cells)
    for line in lines[1:]:
        found = len(line.cells)
        if line.blank:
            what, mend = "the row is blank", "delete it"
            yield Problem(file, line.number, 1, what, mend, "blank row")
        elif other := _other_separator(line, wanted, separator):
            shown = show(separator.join(line.cells))
            what = f"this row uses {_named(other)}, the header {_named(separator)} ({shown})"
            mend = f"write the row with {_named(separator)} between its fields, like the others"
            yield Problem(file, line.number, 1, what, mend, "separator")
        elif found > wanted:
            shown = show(line.cells[wanted])
            what = f"the row has {plural(found, 'field')}, the header {wanted} ({shown})"
            mend = f"put a field that holds a {SEPARATORS[separator]} in double quotes"
            mend += " (a number with a decimal comma, too)" if separator == "," else ""
            yield Problem(file, line.number, wanted + 1, what, mend, "long row")


def _other_separator(line: Line, wanted: int, separator: str) -> str | None:
    """Return the separator with which a row was plainly written, None for the header's own.

    That is one which parts the row's first field in two or more, the first of them a date, or
    makes as many fields of the row as the header has, where its own makes only one.
    """
    for other in SEPARATORS:
        if other == separator or other not in line.cells[0]:
            continue
        parts = [part.strip() for part in separator.join(line.cells).split(other)]
        dated = _DATED.fullmatch(parts[0].strip('"'))
        if dated or (len(line.cells) == 1 and len(parts) == wanted > 1):
            return other
    return None


def _named(separator: str) -> str:
    return "a tab" if separator == "\t" else separator
