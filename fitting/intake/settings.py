"""Read season.toml: the season's name, the CSV dialect, other column names."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from io import BytesIO, TextIOWrapper
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from slackwater.fitting.intake.problems import (
    Problem,
    SeasonFilesError,
    has_control,
    listed,
    show,
)
from slackwater.model.errors import nearest

SETTINGS_FILE: Final = "season.toml"
SEPARATORS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


def _text_encoding(name: str) -> str:
    try:
        TextIOWrapper(BytesIO(), encoding=name)
    except (LookupError, ValueError):
        raise ValueError(name) from None
    return name


def _one_line(text: str) -> str:
    if not text.strip() or has_control(text):
        raise ValueError(text)
    return text.strip()


Text = Annotated[str, AfterValidator(_one_line)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class CsvSettings(_Strict):
    """The dialect of all CSV files of the folder."""

    separator: Literal[",", ";", "\t", "|"] = ","
    decimal: Literal[".", ","] = "."
    encoding: Annotated[str, AfterValidator(_text_encoding)] = "utf-8"


class _ReadingColumns(_Strict):
    date: Text = "date"
    rmssd_ms: Text = "rmssd_ms"
    ln_rmssd: Text = "ln_rmssd"
    sensor: Text = "sensor"
    note: Text = "note"


class _SessionColumns(_Strict):
    date: Text = "date"
    type: Text = "type"
    dose: Text = "dose"
    note: Text = "note"


class _TypeColumns(_Strict):
    type: Text = "type"


class _InterventionColumns(_Strict):
    date: Text = "date"
    intervention: Text = "intervention"


class _StressorColumns(_Strict):
    date: Text = "date"
    stressor: Text = "stressor"


class ColumnSettings(_Strict):
    """For each file, our column name -> the header that stands in the file."""

    readings: _ReadingColumns = _ReadingColumns()
    sessions: _SessionColumns = _SessionColumns()
    types: _TypeColumns = _TypeColumns()
    interventions: _InterventionColumns = _InterventionColumns()
    stressors: _StressorColumns = _StressorColumns()

    def headers(self, table: str) -> dict[str, str]:
        """Return our column name -> header, for one file by its name without `.csv`."""
        columns: BaseModel = getattr(self, table)
        return columns.model_dump()


class Settings(_Strict):
    """All that season.toml may say."""

    name: Text | None = None
    csv: CsvSettings = CsvSettings()
    columns: ColumnSettings = ColumnSettings()


_WANTED: Final = {
    "name": 'give a text in quotes, such as name = "Spring on the river"',
    "csv": "write [csv] on a line of its own and its keys below",
    "separator": r'give one of separator = ",", ";", "\t" (tab) or "|"',
    "decimal": 'give decimal = "." or decimal = ","',
    "encoding": 'give a text encoding by its name, such as encoding = "utf-8-sig" or "cp1252"',
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
        settings = Settings.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as err:
        raise SeasonFilesError([_syntax_problem(str(err), text)]) from None
    except ValidationError as err:
        raise SeasonFilesError(_problem(error, text) for error in err.errors()) from None
    if shared := [*_shared_headers(settings, text)]:
        raise SeasonFilesError(shared)
    return settings


def _shared_headers(settings: Settings, text: str) -> Iterator[Problem]:
    """Yield a problem for each file in which two of our columns share one header."""
    for table in ColumnSettings.model_fields:
        headers = settings.columns.headers(table)
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


def _problem(error: ErrorDetails, text: str) -> Problem:
    path = [str(part) for part in error["loc"]]
    *table, key = path
    line = _line_of(path, text)
    if error["type"] == "extra_forbidden":
        known = _known_keys(table)
        close = nearest(key, known)
        mend = f"did you mean {close!r}?" if close else f"the keys here are {listed(known)}"
        place = f" in [{'.'.join(table)}]" if table else ""
        return _at(line, 1, f"unknown key {show(key)}{place}", mend)
    in_columns, is_header = path[0] == "columns", len(path) == 3
    mend = _HEADER_WANTED if is_header else _WANTED["columns" if in_columns else key]
    shown = f"[{'.'.join(table)}] {key}" if table else key
    return _at(line, 1, f"{shown} does not take {show(str(error['input']))}", mend)


def _known_keys(table: list[str]) -> list[str]:
    model: Any = Settings
    for key in table:
        model = model.model_fields[key].annotation
    return list(model.model_fields)


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
