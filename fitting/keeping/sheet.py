"""A CSV file as it stands: its lines with all that is in them, and the ways it is written."""

from __future__ import annotations

import codecs
import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Final, NamedTuple

from slackwater.fitting.intake.csv_file import read_grid
from slackwater.fitting.intake.problems import Problem, SeasonFilesError, show
from slackwater.fitting.intake.settings import CsvSettings, Settings
from slackwater.fitting.keeping.row import NUMBERS

_SHOWING: Final = 20  # rows that show how a column is written
_ENDS: Final = ("\r\n", "\n", "\r")
_MARKED: Final = {"utf-16": ("utf-16-le", "utf-16-be"), "utf-32": ("utf-32-le", "utf-32-be")}
_BY_MARK: Final = {
    "utf-16-le": codecs.BOM_UTF16_LE,
    "utf-16-be": codecs.BOM_UTF16_BE,
    "utf-32-le": codecs.BOM_UTF32_LE,
    "utf-32-be": codecs.BOM_UTF32_BE,
}


class Encoding(NamedTuple):
    """How a file's text becomes bytes: the mark in front, and the codec of the rest."""

    mark: bytes
    codec: str

    def text(self, data: bytes) -> str:
        """Return what the bytes say."""
        return data[len(self.mark) :].decode(self.codec)

    def data(self, text: str) -> bytes:
        """Return a text's bytes.

        Raises:
            UnicodeEncodeError: the codec does not have a character of it.
        """
        return self.mark + text.encode(self.codec)


def encoding_of(data: bytes | None, declared: str) -> Encoding:
    """Return how a file is encoded; one that is not there yet, as is declared."""
    codec = codecs.lookup(declared).name
    if codec == "utf-8-sig":
        marked = data is None or data.startswith(codecs.BOM_UTF8)
        return Encoding(codecs.BOM_UTF8 if marked else b"", "utf-8")
    if codec in _MARKED:
        for ordered in _MARKED[codec]:
            if data is not None and data.startswith(_BY_MARK[ordered]):
                return Encoding(_BY_MARK[ordered], ordered)
        ordered = _MARKED[codec][0]
        return Encoding(_BY_MARK[ordered] if data is None else b"", ordered)
    return Encoding(b"", codec)


class Line(NamedTuple):
    """One row of the file, which a line break in quotes may spread over several lines.

    Attributes:
        raw: the row as it stands, without its line end.
        end: its line end; empty where the file stops without one.
        fields: its fields as they stand, quotes and all.
    """

    raw: str
    end: str
    fields: tuple[str, ...]

    @property
    def blank(self) -> bool:
        """Whether nothing stands in the row."""
        return not any(cell_of(field).strip() for field in self.fields)


def cell_of(field: str) -> str:
    """Return what a field holds, without the quotes around it."""
    if field.startswith('"'):
        return field[1:].removesuffix('"').replace('""', '"')
    return field


def split(text: str, separator: str) -> list[Line]:
    """Return a text's rows as the csv module parts them, with all that it drops."""
    bar = re.escape(separator)
    field = re.compile(rf'("(?:[^"]|"")*"[^{bar}\r\n]*|[^{bar}\r\n]*)({bar}|\r\n|\n|\r|\Z)')
    lines: list[Line] = []
    start, at, fields = 0, 0, []
    while start < len(text):
        found = field.match(text, at)
        assert found  # quotes that do not pair up were refused
        at = found.end()
        fields.append(found[1])
        if found[2] != separator:
            lines.append(Line(text[start : found.end(1)], found[2], tuple(fields)))
            start, fields = at, []
    return lines


@dataclass(frozen=True)
class Sheet:
    """One file.

    Attributes:
        file: its name without `.csv`.
        encoding: how its text became bytes.
        dialect: its separator and decimal mark.
        headers: our column name -> the header that it has, or would have, in the file.
        lines: its rows, the header row first, blank ones too.
    """

    file: str
    encoding: Encoding
    dialect: CsvSettings
    headers: Mapping[str, str]
    lines: Sequence[Line]

    @cached_property
    def columns(self) -> dict[str, int]:
        """Our column name, or an attribute's header -> number of the field, from 0."""
        ours = {header: name for name, header in self.headers.items()}
        found = [cell_of(field).strip() for field in self.lines[0].fields]
        return {ours.get(header, header): at for at, header in reversed([*enumerate(found)])}

    @cached_property
    def last(self) -> int:
        """Number of the last row that is not blank; 0 is the header row."""
        return max(at for at, line in enumerate(self.lines) if not at or not line.blank)

    @cached_property
    def dates(self) -> list[tuple[dt.date, int]]:
        """The dates of rows, each with the row's number, in the file's order."""
        at = self.columns.get("date")
        if at is None:
            return []
        found = ((_date(self.cell(line, at)), n) for n, line in enumerate(self.lines) if n)
        return [(day, n) for day, n in found if day is not None]

    @cached_property
    def newest_first(self) -> bool:
        """Whether dates go down from row to row."""
        days = [day for day, _ in self.dates]
        falling = all(a >= b for a, b in pairwise(days))
        return falling and bool(days) and days[0] > days[-1]

    @cached_property
    def oldest_first(self) -> bool:
        """Whether dates go up from row to row."""
        days = [day for day, _ in self.dates]
        return all(a <= b for a, b in pairwise(days))

    @cached_property
    def end(self) -> str:
        """The line end of the file, as its last row that has one is ended."""
        return next((line.end for line in reversed(self.lines) if line.end), "\n")

    def cell(self, line: Line, at: int) -> str:
        """Return what stands in a field of a row, without blanks around it."""
        return cell_of(line.fields[at]).strip() if at < len(line.fields) else ""

    def value(self, line: Line, name: str) -> str:
        """Return a cell by our column name, a number with a decimal point; "" for none."""
        at = self.columns.get(name)
        cell = "" if at is None else self.cell(line, at)
        return cell.replace(",", ".") if name in NUMBERS else cell

    def field(self, name: str, text: str, fields: Sequence[str]) -> str:
        """Return a cell as it is written in the file.

        Args:
            name: our column name.
            text: what it holds; a number with a decimal point.
            fields: the fields of that column that show how it is written.
        """
        cell = text.replace(".", self.dialect.decimal) if name in NUMBERS else text
        held = [each for each in fields if each.strip()]
        quoted = bool(held) and all(each.lstrip().startswith('"') for each in held)
        indent = _indent(held)
        needs = re.search(rf'["\r\n{re.escape(self.dialect.separator)}]', cell) is not None
        if (quoted and cell) or needs:
            doubled = cell.replace('"', '""')
            return f'"{doubled}"'
        return f"{indent}{cell}" if cell else ""

    @cached_property
    def showing(self) -> list[list[str]]:
        """By column, its fields in the file's last rows, which show how it is written."""
        rows = self.lines[1 : self.last + 1][-_SHOWING:]
        if not rows and all(field.startswith('"') for field in self.lines[0].fields):
            rows = self.lines[:1]
        width = range(len(self.lines[0].fields))
        return [[line.fields[at] for line in rows if at < len(line.fields)] for at in width]

    @cached_property
    def all_quoted(self) -> bool:
        """Whether every field stands in quotes, empty ones too."""
        fields = [field for column in self.showing for field in column]
        return bool(fields) and all(field.startswith('"') for field in fields)

    def content(self, lines: Sequence[Line]) -> bytes:
        """Return the file's bytes with other rows in it.

        Raises:
            SeasonFilesError: the file's encoding lacks a character of them.
        """
        try:
            return self.encoding.data("".join(line.raw + line.end for line in lines))
        except UnicodeEncodeError as error:
            lacks = show(error.object[error.start : error.end])
            what = f"the file's encoding, {self.encoding.codec}, has no {lacks}"
            mend = (
                "write it otherwise, or save the season's files as UTF-8 (season.toml says which)"
            )
            raise SeasonFilesError([Problem(f"{self.file}.csv", 1, 1, what, mend)]) from None


def read_sheet(file: str, data: bytes, settings: Settings) -> Sheet:
    """Return a file as it stands.

    Args:
        file: its name without `.csv`.
        data: its bytes.
        settings: what the folder's season.toml says.

    Raises:
        SeasonFilesError: its rows cannot be parted, or its columns not be told.
    """
    name = f"{file}.csv"
    grid = read_grid(name, data, settings.csv)
    if torn := [problem for problem in grid.problems if problem.kind == "quotes"]:
        raise SeasonFilesError(torn)
    encoding = encoding_of(data, settings.csv.encoding)
    text = encoding.text(data)
    if encoding.data(text) != data:
        what = f"what is {encoding.codec} here cannot be written again byte for byte"
        raise SeasonFilesError([Problem(name, 1, 1, what, "save the file as UTF-8")])
    lines = split(text, settings.csv.separator)
    return Sheet(file, encoding, settings.csv, settings.headers(file), lines)


def new_sheet(file: str, names: Sequence[str], settings: Settings) -> Sheet:
    """Return a file that is not there yet: its header row alone.

    Args:
        file: its name without `.csv`.
        names: our names of its columns.
        settings: what the folder's season.toml says.
    """
    headers = settings.headers(file)
    encoding = encoding_of(None, settings.csv.encoding)
    bare = Sheet(file, encoding, settings.csv, headers, [Line("", "\n", ())])
    fields = tuple(bare.field("", headers.get(name, name), []) for name in names)
    line = Line(settings.csv.separator.join(fields), "\n", fields)
    return Sheet(file, encoding, settings.csv, headers, [line])


def _indent(fields: Sequence[str]) -> str:
    """Return the blanks that all fields begin with."""
    indents = {field[: len(field) - len(field.lstrip(" "))] for field in fields}
    return indents.pop() if len(indents) == 1 else ""


def _date(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None
