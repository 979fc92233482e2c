"""Read season.toml: the season's name, its threshold, the CSV dialect, other column names."""

from __future__ import annotations

import codecs
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from io import BytesIO, TextIOWrapper
from typing import Any, Final

from slackwater.fitting.intake.cells import COLUMNS
from slackwater.fitting.intake.problems import Problem, SeasonFilesError, show
from slackwater.fitting.intake.toml_file import Form, Keys, a_text, line_of
from slackwater.fitting.text import listed

SETTINGS_FILE: Final = "season.toml"
LEAST_PERCENT: Final = 1
MOST_PERCENT: Final = 30
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
        threshold_percent: the smallest dip worth acting on, in percent of the reading; None for
            what the nights themselves say.
        csv: the dialect.
        columns: for each file by its name without `.csv`, our column name -> the header that
            stands in the file, where that is another.
        imports: how files of other forms were read, as `slackwater.fitting.importing.memory` keeps
            it.
    """

    name: str | None = None
    threshold_percent: float | None = None
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


def _encoding(value: Any) -> bool:
    try:
        TextIOWrapper(BytesIO(), encoding=value)
    except (LookupError, ValueError, TypeError):
        return False
    # What is left out is made for single words, and takes hours over a long file.
    return isinstance(value, str) and codecs.lookup(value).name not in ("idna", "punycode")


def _percent(value: Any) -> bool:
    return type(value) in (int, float) and LEAST_PERCENT <= value <= MOST_PERCENT


_KEYS: Final[Keys] = {
    "name": a_text,
    "threshold_percent": _percent,
    "csv": {
        "separator": lambda value: isinstance(value, str) and value in SEPARATORS,
        "decimal": lambda value: value in (".", ","),
        "encoding": _encoding,
    },
    "columns": {table: dict.fromkeys(names, a_text) for table, names in COLUMNS_OF.items()},
    "import": lambda value: isinstance(value, list) and all(isinstance(v, dict) for v in value),
}
_WANTED: Final = {
    "name": 'give a text in quotes, such as name = "Spring on the river"',
    "threshold_percent": "give the smallest dip worth acting on, from 1 to 30 (percent), such as "
    "threshold_percent = 5",
    "csv": "write [csv] on a line of its own and its keys below",
    "separator": r'give one of separator = ",", ";", "\t" (tab) or "|"',
    "decimal": 'give decimal = "." or decimal = ","',
    "encoding": 'give a text encoding by its name, such as encoding = "utf-8-sig" or "cp1252"',
    "import": "leave it to slackwater, or delete it",
    "columns": 'write a table such as [columns.readings] and below it date = "Day"',
}
_HEADER_WANTED: Final = "give the header that stands in the file, in quotes"


def _mend(path: Sequence[str]) -> str:
    if path[0] == "columns":
        return _HEADER_WANTED if len(path) == 3 else _WANTED["columns"]
    return _WANTED[path[-1]]


_FORM: Final = Form(SETTINGS_FILE, _KEYS, _mend, 'separator = ";"')


def read_settings(data: bytes) -> Settings:
    """Return what season.toml says.

    Args:
        data: the file's bytes; empty where there is no such file.

    Raises:
        SeasonFilesError: not UTF-8, not TOML, an unknown key, a value out of its range,
            two columns under one header.
    """
    given, text = _FORM.read(data)
    settings = Settings(
        name=given["name"].strip() if "name" in given else None,
        threshold_percent=given.get("threshold_percent"),
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


def _shared_headers(settings: Settings, text: str) -> Iterator[Problem]:
    """Yield a problem for each file in which two of our columns share one header."""
    for table in COLUMNS_OF:
        headers = settings.headers(table)
        for header in dict.fromkeys(headers.values()):
            names = [name for name, value in headers.items() if value == header]
            if len(names) > 1:
                paths = [["columns", table, name] for name in names]
                last = max(paths, key=lambda path: line_of(path, text))
                what = f"[columns.{table}] {listed(names)} share the header {show(header)}"
                yield _FORM.problem(last, text, what, "give each a header of its own")
