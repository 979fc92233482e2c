"""TOML files that people write, read by the keys they may hold; every problem has its place."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from slackwater.fitting.intake.problems import Problem, SeasonFilesError, has_control, show
from slackwater.fitting.text import listed
from slackwater.model.errors import nearest

ANY: Final = ""  # stands for every key that is not named

# What each key takes: a table of keys, or a check of its value.
Keys = Mapping[str, Any]


class Given(NamedTuple):
    """What a file holds: its values, and its text, in which their lines are found."""

    values: dict[str, Any]
    text: str


@dataclass(frozen=True)
class Form:
    """What one kind of file may hold.

    Attributes:
        file: its name.
        keys: its keys and what each takes.
        mend: how to mend the value at a path of keys.
        example: a line as it may stand in it.
    """

    file: str
    keys: Keys
    mend: Callable[[Sequence[str]], str]
    example: str

    def read(self, data: bytes) -> Given:
        """Return what a file holds.

        Args:
            data: the file's bytes; empty where there is no such file.

        Raises:
            SeasonFilesError: not UTF-8, not TOML, an unknown key, a value out of its range.
        """
        text = self._decode(data)
        try:
            values = tomllib.loads(text)
        except tomllib.TOMLDecodeError as err:
            raise SeasonFilesError([self._syntax_problem(str(err), text)]) from None
        except (RecursionError, ValueError):  # thousands of brackets, or of digits
            what = "nested too deeply, or too long"
            raise SeasonFilesError([self._syntax_problem(what, text)]) from None
        if wrong := [*self._wrong(values, self.keys, [], text)]:
            raise SeasonFilesError(wrong)
        return Given(values, text)

    def problem(self, path: list[str], text: str, what: str, mend: str) -> Problem:
        """Return a problem with what stands under a path of keys, at its line."""
        return self._at(line_of(path, text), 1, what, mend)

    def _wrong(
        self, given: Mapping[str, Any], keys: Keys, path: list[str], text: str
    ) -> Iterator[Problem]:
        """Yield a problem for each key that is not known, or whose value it does not take."""
        for key, value in given.items():
            here = [*path, key]
            takes: Keys | Callable[[Any], bool] | None = keys.get(key, keys.get(ANY))
            if takes is None:
                yield self._unknown_key(here, list(keys), text)
            elif callable(takes):
                if not takes(value):
                    yield self._wrong_value(here, value, text)
            elif isinstance(value, dict):
                yield from self._wrong(value, takes, here, text)
            else:
                yield self._wrong_value(here, value, text)

    def _decode(self, data: bytes) -> str:
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError as err:
            line = data[: err.start].count(b"\n") + 1
            what = f"byte 0x{data[err.start]:02x} is not UTF-8 text"
            raise SeasonFilesError([self._at(line, 1, what, "save the file as UTF-8")]) from None
        if text.startswith("\ufeff"):
            what = "the file starts with a byte-order mark"
            raise SeasonFilesError([self._at(1, 1, what, "save it as UTF-8 without one")])
        return text

    def _syntax_problem(self, message: str, text: str) -> Problem:
        place = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)$", message)
        what = message[: place.start()] if place else message
        if place and place[1]:
            line, column = int(place[1]), int(place[2])
        else:
            line, column = text.rstrip().count("\n") + 1, 1
        mend = f"write it as TOML, such as {self.example}"
        return self._at(line, column, f"this is not TOML ({what})", mend)

    def _unknown_key(self, path: list[str], known: list[str], text: str) -> Problem:
        *table, key = path
        close = nearest(key, known)
        mend = f"did you mean {close!r}?" if close else f"the keys here are {listed(known)}"
        place = f" in [{'.'.join(table)}]" if table else ""
        return self.problem(path, text, f"unknown key {show(key)}{place}", mend)

    def _wrong_value(self, path: list[str], value: Any, text: str) -> Problem:
        *table, key = path
        shown = f"[{'.'.join(table)}] {key}" if table else key
        what = f"{shown} does not take {show(str(value))}"
        return self.problem(path, text, what, self.mend(path))

    def _at(self, line: int, column: int, what: str, mend: str) -> Problem:
        return Problem(self.file, line, column, what, mend, "settings")


def a_text(value: Any) -> bool:
    """Say whether a value is a text that can stand in a sentence."""
    return isinstance(value, str) and bool(value.strip()) and not has_control(value)


def line_of(path: list[str], text: str) -> int:
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
