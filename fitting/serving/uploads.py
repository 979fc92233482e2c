"""Files that were brought, until what they ask is answered: the last few, in memory alone."""

from __future__ import annotations

import secrets
from collections import OrderedDict
from collections.abc import Sequence
from typing import Final, NamedTuple

from slackwater.fitting.serving.guard import MOST_OF_A_FILE

_MOST: Final = 2 * MOST_OF_A_FILE  # bytes of all together


class Brought(NamedTuple):
    """A file that was brought.

    Attributes:
        name: what it is called.
        content: what it holds.
    """

    name: str
    content: bytes


class Uploads:
    """The last files, each lot of them under a key of its own."""

    def __init__(self) -> None:
        """Begin with none."""
        self._lots: OrderedDict[str, Sequence[Brought]] = OrderedDict()

    def keep(self, files: Sequence[Brought]) -> str:
        """Return the key under which files are kept; older ones make room."""
        key = secrets.token_urlsafe(12)
        self._lots[key] = files
        while len(self._lots) > 1 and self._size() > _MOST:
            self._lots.popitem(last=False)
        return key

    def of(self, key: str) -> Sequence[Brought]:
        """Return the files of a key; none where they are not kept any more."""
        return self._lots.get(key, ())

    def drop(self, key: str) -> None:
        """Let go of files."""
        self._lots.pop(key, None)

    def _size(self) -> int:
        return sum(len(file.content) for lot in self._lots.values() for file in lot)
