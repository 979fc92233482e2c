"""Problems (they stop the reading) and notes (they do not), with their place in a file."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from slackwater.fitting.text import escaped, listed
from slackwater.model.errors import SeasonError

SHOWN_OF_A_KIND: Final = 20
SHOWN_LINES: Final = 5
SHOWN_CHARACTERS: Final = 40


@dataclass(frozen=True)
class Problem:
    """One thing that stops the season from being read.

    Attributes:
        file: the file's name in the folder, or the folder's path.
        line: line of the file, 1 = the header row.
        column: number of the field in the row, from 1; 1 where none applies.
        what: what is wrong.
        mend: how to mend it.
        kind: problems of one kind share it; it is not shown.
    """

    file: str
    line: int
    column: int
    what: str
    mend: str
    kind: str = ""

    def __str__(self) -> str:
        """Return `file:line:column: what is wrong; how to mend it`."""
        return f"{escaped(self.file)}:{self.line}:{self.column}: {self.what}; {self.mend}"


@dataclass(frozen=True)
class Note:
    """One thing that is allowed, yet worth saying.

    Attributes:
        file: the file's name in the folder.
        line: line of the file, None where the note is about the file as a whole.
        text: one sentence without its full stop.
    """

    file: str
    line: int | None
    text: str

    def __str__(self) -> str:
        """Return `file:line: text`, or `file: text`."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return f"{place}: {self.text}"


class SeasonFilesError(SeasonError):
    """The season folder cannot be read as it is.

    Attributes:
        problems: every problem found, by file, line and column.
    """

    def __init__(self, problems: Iterable[Problem]) -> None:
        """Take the problems; the error's text is all of them, one per line."""
        self.problems = list(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


def abridge(problems: Iterable[Problem], files: Sequence[str]) -> list[Problem]:
    """Return the problems in reading order, at most 20 of one kind in one file.

    Args:
        problems: problems in any order.
        files: file names in the order in which they are to be shown.
    """
    order = {name: rank for rank, name in enumerate(files)}

    def place(problem: Problem) -> tuple[int, int, int]:
        return order.get(problem.file, -1), problem.line, problem.column

    groups: defaultdict[tuple[str, str], list[Problem]] = defaultdict(list)
    for problem in sorted(problems, key=place):
        groups[problem.file, problem.kind].append(problem)
    shown = [problem for group in groups.values() for problem in _first_of(group)]
    return sorted(shown, key=place)


def _first_of(group: list[Problem]) -> list[Problem]:
    hidden = group[SHOWN_OF_A_KIND:]
    if not hidden:
        return group
    first, last = hidden[0], hidden[-1]
    more = "1 more problem" if len(hidden) == 1 else f"{len(hidden)} more problems"
    what = f"{more} like the {SHOWN_OF_A_KIND} above, down to line {last.line}"
    rest = Problem(first.file, first.line, 1, what, "mend them in the same way", first.kind)
    return [*group[:SHOWN_OF_A_KIND], rest]


def show(cell: str) -> str:
    """Return a cell in quotes, on one line, cut where it is long."""
    cut = cell if len(cell) <= SHOWN_CHARACTERS else cell[: SHOWN_CHARACTERS - 1] + "…"
    return repr(cut)


def has_control(text: str) -> bool:
    """Say whether a text could break a line, move a terminal's cursor or turn text around."""
    return escaped(text) != text


def at_lines(lines: Sequence[int]) -> str:
    """Return line numbers as words: `line 4`, `lines 4 and 9`, the first few of many."""
    if len(lines) == 1:
        return f"line {lines[0]}"
    if len(lines) <= SHOWN_LINES:
        return f"lines {listed(map(str, lines))}"
    return f"lines {', '.join(map(str, lines[:SHOWN_LINES]))}, … ({len(lines)} in all)"
