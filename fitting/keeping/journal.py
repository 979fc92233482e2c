"""The record of what was entered, which makes each entry one step that can be undone.

A text of lines, each one JSON object, only ever added to:

    {"step": 3, "what": …, "undoes": null, "files": [{"name", "before", "after", "at", "old", "new",
     "placed"}, …]}
    {"end": 3, "done": true}

A step is written before its files are changed, and its end after. `before` and `after` are the
SHA-256 of a file's bytes, null where there is no such file; `old` are the bytes from `at` on that
became `new`, each byte as the character of its number. A step without an end was cut short: it is
finished where one of its files was changed already, and else never took place.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, NamedTuple

from slackwater.fitting.intake.settings import COLUMNS_OF
from slackwater.fitting.keeping.writing import Placed
from slackwater.model.errors import SeasonError

_NAMES = [f"{name}.csv" for name in COLUMNS_OF]
_BYTES = "latin-1"  # every byte is one character


class FileChange(NamedTuple):
    """How one file was changed.

    Attributes:
        name: the file's name in the folder.
        before: the SHA-256 of what it held, None where there was no such file.
        after: the same of what it holds since.
        at: from which byte on it changed.
        old: the bytes that stood there.
        new: the bytes that stand there since.
        placed: the rows that were entered into it, or taken out of it.
    """

    name: str
    before: str | None
    after: str | None
    at: int
    old: bytes
    new: bytes
    placed: list[Placed]

    @classmethod
    def of(
        cls, name: str, before: bytes | None, after: bytes | None, placed: Sequence[Placed]
    ) -> FileChange:
        """Return how a file was changed, from what it held and holds."""
        old, new = before or b"", after or b""
        at = _shared(old, new)
        tail = _shared(old[at:][::-1], new[at:][::-1])
        old_end, new_end = len(old) - tail, len(new) - tail
        parts = (at, old[at:old_end], new[at:new_end])
        return cls(name, digest(before), digest(after), *parts, list(placed))

    def done(self, content: bytes | None) -> bytes | None:
        """Return what the file becomes from what it held."""
        if self.after is None:
            return None
        return self._swapped(content or b"", self.old, self.new)

    def undone(self, content: bytes | None) -> bytes | None:
        """Return what the file held from what it became."""
        if self.before is None:
            return None
        return self._swapped(content or b"", self.new, self.old)

    def _swapped(self, content: bytes, out: bytes, into: bytes) -> bytes:
        return content[: self.at] + into + content[self.at + len(out) :]


@dataclass(frozen=True)
class Step:
    """One entry, or the undoing of one.

    Attributes:
        number: from 1.
        what: what was entered, in a few words.
        undoes: the number of the step that this one takes back; None for an entry.
        files: the files that it changes.
    """

    number: int
    what: str
    undoes: int | None
    files: Sequence[FileChange]


@dataclass(frozen=True)
class Journal:
    """All steps.

    Attributes:
        steps: those that took place, in order, and last one that has no end yet.
        pending: that one; None where every step has its end.
        whole: how many bytes of the record are whole; what stands behind was cut short.
        last: the number of the last step that was begun; 0 for none.
    """

    steps: Sequence[Step]
    pending: Step | None
    whole: int
    last: int

    @property
    def undoable(self) -> list[Step]:
        """The entries that were not taken back, in order."""
        back = {step.undoes for step in self.steps}
        return [s for s in self.steps if s.undoes is None and s.number not in back]


def read_journal(content: bytes, where: str) -> Journal:
    """Return the steps of a record.

    Args:
        content: what it holds.
        where: its path, for messages.

    Raises:
        SeasonError: it is none, or damaged.
    """
    whole = content.rfind(b"\n") + 1
    steps: dict[int, Step] = {}
    pending: Step | None = None
    last = 0
    for number, line in enumerate(content[:whole].splitlines(), start=1):
        try:
            told: dict[str, Any] = json.loads(line)
            if "end" in told:
                if not told["done"]:
                    del steps[told["end"]]
                pending = None
            else:
                pending = _step(told)
                steps[pending.number] = pending
                last = pending.number
        except (ValueError, KeyError, TypeError, RecursionError):
            raise SeasonError(
                f"{where}:{number}: this record of what was logged is damaged; put it back from a "
                "copy, or move it away: what was logged before can then no longer be undone."
            ) from None
    return Journal(list(steps.values()), pending, whole, last)


def begun(step: Step) -> bytes:
    """Return a step as the record has it."""
    files = [
        change._asdict()
        | {"old": change.old.decode(_BYTES), "new": change.new.decode(_BYTES)}
        | {"placed": [placed._asdict() for placed in change.placed]}
        for change in step.files
    ]
    told = {"step": step.number, "what": step.what, "undoes": step.undoes, "files": files}
    return f"{json.dumps(told)}\n".encode()


def ended(step: Step, done: bool) -> bytes:
    """Return the end of a step as the record has it; not done where it never took place."""
    return f"{json.dumps({'end': step.number, 'done': done})}\n".encode()


def digest(content: bytes | None) -> str | None:
    """Return the SHA-256 of a file's bytes, None where there is no such file."""
    return None if content is None else sha256(content).hexdigest()


def _step(told: Mapping[str, Any]) -> Step:
    """Return a step as told.

    Raises:
        ValueError, KeyError, TypeError: it is none that is written here, such as one that would
            write into another folder.
    """
    number, undoes, what = told["step"], told["undoes"], told["what"]
    if type(number) is not int or type(undoes) not in (int, type(None)) or type(what) is not str:
        raise ValueError
    return Step(number, what, undoes, [_file(f) for f in told["files"]])


def _file(told: Mapping[str, Any]) -> FileChange:
    if told["name"] not in _NAMES or type(told["at"]) is not int or told["at"] < 0:
        raise ValueError
    if not all(type(told[end]) in (str, type(None)) for end in ("before", "after")):
        raise ValueError
    return FileChange(
        told["name"],
        told["before"],
        told["after"],
        told["at"],
        told["old"].encode(_BYTES),
        told["new"].encode(_BYTES),
        [_placed(**placed) for placed in told["placed"]],
    )


def _placed(cells: dict[str, str], was: dict[str, str] | None) -> Placed:
    texts = [*cells.values(), *(was or {}).values()]
    if not all(type(text) is str for text in texts):
        raise ValueError
    return Placed(cells, was)


def _shared(one: bytes, other: bytes) -> int:
    """Return how many bytes two texts begin with alike."""
    most = min(len(one), len(other))
    if one[:most] == other[:most]:
        return most
    low, high = 0, most  # alike up to low, not up to high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if one[:middle] == other[:middle] else (low, middle)
    return low
