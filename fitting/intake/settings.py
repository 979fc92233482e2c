"""Read season.toml: the season's name, the CSV dialect, other column names."""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from io import BytesIO, TextIOWrapper
from typing import Any, Final

from slackwater.fitting.intake.cells import COLUMNS
from slackwater.fitting.intake.problems import Problem, SeasonFilesError, has_control, show
from slackwater.fitting.text import listed
from slackwater.model.errors import nearest

SETTINGS_FILE: Final = "season.toml"
SEPARATORS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


@dataclass(frozen=True)
class CsvSettings:
    """The dialect of all CSV files of the folder."""

    separator: str = ","
    decimal: str = "."
    encoding: str = "utf-8"


@dataclass(frozen=True)
class Settings:
    """All that season.toml may say.

    Attributes:
        name: the season's name; None for that of its folder.
        csv: the dialect.
        columns: for each file by its name without `.csv`, our column name -> the header that
            stands in the file, where that is another.
        imports: how files of other forms were read, as `slackwater.fitting.importing.memory` keeps
            it.
    """

    name: str | None = None
    csv: CsvSettings = CsvSettings()
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    imports: Sequence[Mapping[str, Any]] = ()

    def headers(self, table: str) -> dict[str, str]:
        """Return our column name -> header, for one file by its name without `.csv`."""
        given = self.columns.get(table, {})
        return {name: given.get(name, name) for name in COLUMNS_OF[table]}


COLUMNS_OF: Final[Mapping[str, tuple[str, ...]]] = {
    row.file: tuple(columns) for row, columns in COLUMNS.items()
}


def _text(value: Any) -> bool:
    return isinstance(value, str) and bool(value.strip()) and not has_control(value)


def _encoding(value: Any) -> bool:
    try:
        TextIOWrapper(BytesIO(), encoding=value)
    except (LookupError, ValueError, TypeError):
        return False
    # What is left out is made for single words, and takes hours over a long file.
    return isinstance(value, str) and codecs.lookup(value).name not in ("idna", "punycode")


# What each key takes: a table of keys, or a check of its value.
_Keys = Mapping[str, Any]
_KEYS: Final[_Keys] = {
    "name": _text,
    "csv": {
        "separator": lambda value: isinstance(value, str) and value in SEPARATORS,
        "decimal": lambda value: value in (".", ","),
        "encoding": _encoding,
    },
    "columns": {table: dict.fromkeys(names, _text) for table, names in COLUMNS_OF.items()},
    "import": lambda value: isinstance(value, list) and all(isinstance(v, dict) for v in value),
}
_WANTED: Final = {
    "name": 'give a text in quotes, such as name = "Spring on the river"',
    "csv": "write [csv] on a line of its own and its keys below",
    "separator": r'give one of separator = ",", ";", "\t" (tab) or "|"',
    "decimal": 'give decimal = "." or decimal = ","',
    "encoding": 'give a text encoding by its name, such as encoding = "utf-8-sig" or "cp1252"',
    "import": "leave it to slackwater, or delete it",
    "columns": 'write a table such as [columns.readings] and below it date = "Day"',
}
_HEADER_WANTED: Final = "give the header that stands in the file, in quotes"


def read_settings(data: bytes) -> Settings:
    """Return what season.toml says.

    Args:
        data: the file's bytes; empty where there is no such file.

    Raises:
        SeasonFilesError: not UTF-8, not TOML, an unknown key, a value out of its range,
            two columns under one header.
    """
    text = _decode(data)
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise SeasonFilesError([_syntax_problem(str(err), text)]) from None
    except (RecursionError, ValueError):  # thousands of brackets, or of digits
        raise SeasonFilesError([_syntax_problem("nested too deeply, or too long", text)]) from None
    if wrong := [*_wrong(given, _KEYS, [], text)]:
        raise SeasonFilesError(wrong)
    settings = Settings(
        name=given["name"].strip() if "name" in given else None,
        csv=CsvSettings(**given.get("csv", {})),
        columns={
            table: {name: header.strip() for name, header in headers.items()}
            for table, headers in given.get("columns", {}).items()
        },
        imports=given.get("import", ()),
    )
    if shared := [*_shared_headers(settings, text)]:
        raise SeasonFilesError(shared)
    return settings


def _wrong(given: Mapping[str, Any], keys: _Keys, path: list[str], text: str) -> Iterator[Problem]:
    """Yield a problem for each key that is not known, or whose value it does not take."""
    for key, value in given.items():
        here = [*path, key]
        takes: _Keys | Callable[[Any], bool] | None = keys.get(key)
        if takes is None:
            yield _unknown_key(here, list(keys), text)
        elif callable(takes):
            if not takes(value):
                yield _wrong_value(here, value, text)
        elif isinstance(value, dict):
            yield from _wrong(value, takes, here, text)
        else:
            yield _wrong_value(here, value, text)


def _shared_headers(settings: Settings, text: str) -> Iterator[Problem]:
    """Yield a problem for each file in which two of our columns share one header."""
    for table in COLUMNS_OF:
        headers = settings.headers(table)
        for header in dict.fromkeys(headers.values()):
            names = [name for name, value in headers.items() if value == header]
            if len(names) > 1:
                line = max(_line_of(["columns", table, name], text) for name in names)
                what = f"[columns.{table}] {listed(names)} share the header {show(header)}"
                yield _at(line, 1, what, "give each a header of its own")


def _decode(data: bytes) -> str:
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as err:
        line = data[: err.start].count(b"\n") + 1
        what = f"byte 0x{data[err.start]:02x} is not UTF-8 text"
        raise SeasonFilesError([_at(line, 1, what, "save the file as UTF-8")]) from None
    if text.startswith("\ufeff"):
        what = "the file starts with a byte-order mark"
        raise SeasonFilesError([_at(1, 1, what, "save it as UTF-8 without one")])
    return text


def _syntax_problem(message: str, text: str) -> Problem:
    place = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
    what = message[: place.start()] if place else message
    if place and place[1]:
        line, column = int(place[1]), int(place[2])
    else:
        line, column = text.rstrip().count("\n") + 1, 1
    mend = 'write it as TOML, such as separator = ";"'
    return _at(line, column, f"this is not TOML ({what})", mend)


def _unknown_key(path: list[str], known: list[str], text: str) -> Problem:
    *table, key = path
    close = nearest(key, known)
    mend = f"did you mean {close!r}?" if close else f"the keys here are {listed(known)}"
    place = f" in [{'.'.join(table)}]" if table else ""
    return _at(_line_of(path, text), 1, f"unknown key {show(key)}{place}", mend)


def _wrong_value(path: list[str], value: Any, text: str) -> Problem:
    *table, key = path
    in_columns, is_header = path[0] == "columns", len(path) == 3
    mend = _HEADER_WANTED if is_header else _WANTED["columns" if in_columns else key]
    shown = f"[{'.'.join(table)}] {key}" if table else key
    return _at(_line_of(path, text), 1, f"{shown} does not take {show(str(value))}", mend)


def _line_of(path: list[str], text: str) -> int:
    """Return the line on which a key stands, 1 where it is written in an unusual way."""
    table: list[str] = []
    for number, line in enumerate(text.split("\n"), start=1):
        header = re.match(r"\s*\[([^\[\]]+)\]", line)
        pair = re.match(r"""\s*["']?([^"'=]+?)["']?\s*=""", line)
        if header:
            table = [part.strip(" \"'") for part in header[1].split(".")]
        if (header and table == path) or (pair and [*table, pair[1]] == path):
            return number
    return 1


def _at(line: int, column: int, what: str, mend: str) -> Problem:
    return Problem(SETTINGS_FILE, line, column, what, mend, "settings")
