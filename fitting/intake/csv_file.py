"""From the bytes of one CSV file to its rows of cells, each with its line number."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from slackwater.fitting.intake.problems import Problem, SeasonFilesError, show
from slackwater.fitting.intake.settings import SEPARATORS, CsvSettings

_MARKS: Final = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}


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


@dataclass(frozen=True)
class Grid:
    """One file's rows of cells.

    Attributes:
        file: the file's name.
        header: the header row's cells, without blanks around them.
        rows: the rows below that are as long as the header.
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
    rows = [line for line in lines[1:] if len(line.cells) == len(header) and not line.blank]
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
    """Yield a problem for each row that is blank, too short or too long."""
    wanted = len(lines[0].cells)
    for line in lines:
        found = len(line.cells)
        if line.blank:
            what, mend = "the row is blank", "delete it"
            yield Problem(file, line.number, 1, what, mend, "blank row")
        elif found < wanted:
            what = f"the row has {_fields(found)}, the header {wanted}"
            mend = f"write a {SEPARATORS[separator]} for every empty field"
            yield Problem(file, line.number, found + 1, what, mend, "short row")
        elif found > wanted:
            what = f"the row has {_fields(found)}, the header {wanted} ({show(line.cells[wanted])})"
            mend = f"put a field that holds a {SEPARATORS[separator]} in double quotes"
            mend += " (a number with a decimal comma, too)" if separator == "," else ""
            yield Problem(file, line.number, wanted + 1, what, mend, "long row")


def _fields(count: int) -> str:
    return "1 field" if count == 1 else f"{count} fields"
