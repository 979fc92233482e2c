"""What the last changes did, until a view has said so: the change leads to the view by its number.

Kept here and not in the address, so that nothing of a season stands in a browser's history.
"""

from __future__ import annotations

import itertools
from collections import OrderedDict
from collections.abc import Sequence
from typing import Final, NamedTuple

_KEPT: Final = 200


class Done(NamedTuple):
    """What one change did.

    Attributes:
        lines: a sentence each.
        undoes: whether undoing the last entry takes it back.
    """

    lines: Sequence[str]
    undoes: bool


class Told:
    """The last changes, by number."""

    def __init__(self) -> None:
        """Begin with none."""
        self._numbers = itertools.count(1)
        self._done: OrderedDict[str, Done] = OrderedDict()

    def keep(self, done: Done) -> str:
        """Return the number under which a change is kept."""
        number = str(next(self._numbers))
        self._done[number] = done
        while len(self._done) > _KEPT:
            self._done.popitem(last=False)
        return number

    def of(self, number: str) -> Done | None:
        """Return what the change of a number did; None where that is not known any more."""
        return self._done.get(number)
