"""What the Tab key offers: season folders, and the names in a season's files.

The files are read by themselves here, roughly and fast: reading a season with all its checks takes
a second, and a file with a problem in it should still be completed from.
"""

from __future__ import annotations

import csv
import os
import re
import tomllib
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from click import Context, Parameter
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    add_completion_class,
    split_arg_string,
)

from slackwater.fitting.files import read_whole

Offer = Callable[[Context, Parameter, str], list[CompletionItem]]

_FILES: Final = ("sessions", "types", "interventions", "stressors", "readings")


def complete_folder(_ctx: Context, _param: Parameter, incomplete: str) -> list[CompletionItem]:
    """Let the shell offer its folders."""
    return [CompletionItem(incomplete, type="dir")]


def complete_type(_ctx: Context, _param: Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the session types."""
    return _begun(_types(), incomplete)


def complete_intervention(
    _ctx: Context, _param: Parameter, incomplete: str
) -> list[CompletionItem]:
    """Offer the recovery measures that were logged."""
    return _begun(_column("interventions", "intervention"), incomplete)


def complete_stressor(_ctx: Context, _param: Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the stressors that were logged."""
    return _begun(_column("stressors", "stressor"), incomplete)


def complete_sensor(_ctx: Context, _param: Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the sensors that readings name."""
    return _begun(_column("readings", "sensor"), incomplete)


def complete_attribute(_ctx: Context, param: Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the columns of types.csv and, once one is typed, its values."""
    typed = _words()
    option = max(i for i, word in enumerate(typed) if word in param.opts)
    if option + 1 < len(typed):
        return _begun(_column("types", typed[option + 1]), incomplete)
    return _begun((name for name in _header("types") if name != "type"), incomplete)


def complete_dated_type(_ctx: Context, _param: Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the session types behind a date."""
    date, colon, _ = incomplete.partition(":")
    return _begun((f"{date}:{name}" for name in _types()), incomplete) if colon else []


def complete_counted_type(
    _ctx: Context, _param: Parameter, incomplete: str
) -> list[CompletionItem]:
    """Offer the session types, with the colon before the number."""
    return _begun((f"{name}:" for name in _types()), incomplete)


def _begun(names: Iterable[str], incomplete: str) -> list[CompletionItem]:
    return [CompletionItem(name) for name in dict.fromkeys(names) if name.startswith(incomplete)]


def _types() -> list[str]:
    return [*_column("sessions", "type"), *_column("types", "type")]


def _column(file: str, name: str) -> list[str]:
    """Return a column's labels in one of the season's files, none where it cannot be read."""
    rows, names = _rows(file)
    if name not in names:
        return []
    at = names.index(name)
    return [row[at].strip() for row in rows if len(row) > at and row[at].strip()]


def _header(file: str) -> list[str]:
    return _rows(file)[1]


def _rows(file: str) -> tuple[list[list[str]], list[str]]:
    """Return a file's rows and, under our names, its columns; both empty where none are read."""
    folder = _folder()
    with suppress(Exception):  # whatever is wrong with it, completing offers less and says nothing
        settings = _settings(folder)
        form, renamed = settings.get("csv", {}), settings.get("columns", {}).get(file, {})
        text = read_whole(folder / f"{file}.csv").decode(form.get("encoding", "utf-8"))
        header, *rows = csv.reader(text.splitlines(), delimiter=form.get("separator", ","))
        ours = {theirs: name for name, theirs in renamed.items()}
        return rows, [ours.get(name.strip(), name.strip()) for name in header]
    return [], []


def _settings(folder: Path) -> dict[str, Any]:
    path = folder / "season.toml"
    return tomllib.loads(read_whole(path).decode()) if path.exists() else {}


def _folder() -> Path:
    """Return the season folder among the words typed so far."""
    for word in _words()[1:]:
        folder = Path(word).expanduser()
        if any((folder / f"{file}.csv").exists() for file in _FILES):
            return folder
    return Path()


def _words() -> list[str]:
    """Return the words before the one that is being completed, as every shell hands them over."""
    words = split_arg_string(os.environ.get("COMP_WORDS", ""))
    at = os.environ.get("COMP_CWORD", "")
    if at.isdigit():
        return words[: int(at)]
    return words[:-1] if at and words[-1:] == [at] else words  # fish gives the word itself


class _Bash(BashComplete):
    """Completion in bash, which puts no quotes around names with blanks by itself."""

    def format_completion(self, item: CompletionItem[Any]) -> str:
        if item.type != "plain" or _in_quotes(os.environ.get("COMP_WORDS", "")):
            return super().format_completion(item)
        # Twice, since click's script takes one layer of backslashes off.
        escaped = re.sub(r"([^\w@%+=:,./-])", r"\\\\\1", str(item.value))
        return f"{item.type},{escaped}"


def _in_quotes(typed: str) -> bool:
    return any(typed.count(mark) % 2 for mark in "\"'")


add_completion_class(_Bash)
