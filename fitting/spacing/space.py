"""What may be planned, and a plan as it grows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from slackwater.fitting.spacing.mornings import Mornings
from slackwater.model.dynamics import Floats


class Placed(NamedTuple):
    """A session on a day.

    Attributes:
        day: counted from 0.
        kind: its type.
        back: in how many draws the athlete is recovered on that day's morning.
    """

    day: int
    kind: int
    back: int


@dataclass(frozen=True)
class Space:
    """What may be planned.

    Attributes:
        mornings: the mornings, H days of K types.
        free: how many sessions of each type are to be given a day, length K.
        fixed: type of the session on each fixed day.
        closed: days that can hold no session.
        logged: days with a session in the log; training days, and closed.
        asked: chance asked for before a session of each type, length K.
    """

    mornings: Mornings
    free: tuple[int, ...]
    fixed: dict[int, int]
    closed: frozenset[int]
    logged: frozenset[int]
    asked: tuple[float, ...]

    @property
    def days(self) -> int:
        """How many days there are."""
        return len(self.mornings.speed)

    @cached_property
    def gaps(self) -> list[list[int]]:
        """Days from a session of one type to the next of another, at least; K by K."""
        return [
            [
                next((d for d, share in enumerate(back, 1) if share >= a), self.days)
                for a in self.asked
            ]
            for back in self.mornings.likeliest_back
        ]

    def margin(self, placed: Placed) -> float:
        """Return by how much the chance before a session exceeds the one asked for."""
        return placed.back / self.mornings.draws - self.asked[placed.kind]


class Branch(NamedTuple):
    """A plan so far, with what its next sessions are decided by.

    `totals` and `back` are about the mornings after its last session, as if nothing else
    was planned; `left` is what is still to place, fixed sessions apart.
    """

    placed: tuple[Placed, ...]
    left: tuple[int, ...]
    totals: Floats
    back: list[int]

    @property
    def day(self) -> int:
        """Day of its last session; -1 before the first."""
        return self.placed[-1].day if self.placed else -1


def less(left: tuple[int, ...], kind: int) -> tuple[int, ...]:
    """Return what is left with one session of a type fewer."""
    return (*left[:kind], left[kind] - 1, *left[kind + 1 :])
