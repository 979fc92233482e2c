"""Which recovery stretches of a trial are with the measure, and which are without.

A measure works on what is left of a dip, so it is assigned to whole recovery stretches: the
day of a session and every day after it, until the next session of the trial's types. The
sessions of each type are taken in pairs, in the order in which they are done. Of each pair
one stretch is with and one without; which comes first is decided by one bit:

    first 8 bytes of SHA-256("SEED TYPE PAIR"), an even number: with first

PAIR counts from 1. Anyone can re-derive a sequence from its seed, on any machine and in any
language, whatever becomes of numpy's generators.
"""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import sha256
from typing import Final, Literal

Arm = Literal["with", "without"]
Pair = tuple[Arm, Arm]

WITH: Final[Arm] = "with"
WITHOUT: Final[Arm] = "without"
LONGEST_STRETCH: Final = 7  # days; beyond that next to nothing of a dip is left to work on
RECOVERED: Final = "recovered day"  # the label under which such days are drawn
ASSIGNMENT: Final = (
    "recovery stretches, from a session's day until the day before the next session of the "
    "trial's types and at most 7 days; per type in pairs, one with and one without, in random "
    "order: with first where the first 8 bytes of SHA-256('SEED TYPE PAIR') are an even number"
)

ASSIGNMENT_RECOVERED: Final = (
    f"{ASSIGNMENT}; a stretch ends where all before it are recovered from, by the days named here "
    f"for each type, and each day from then on is drawn by itself, as type '{RECOVERED}'"
)


def pair(seed: int, label: str, number: int) -> Pair:
    """Return the order of one pair of stretches of a type.

    Args:
        seed: the trial's seed.
        label: the session type.
        number: which pair of that type, from 1.
    """
    digest = sha256(f"{seed} {label} {number}".encode()).digest()
    with_first = int.from_bytes(digest[:8]) % 2 == 0
    return (WITH, WITHOUT) if with_first else (WITHOUT, WITH)


def pairs(seed: int, labels: Iterable[str], count: int) -> dict[str, list[Pair]]:
    """Return the first `count` pairs of each type."""
    return {label: [pair(seed, label, k + 1) for k in range(count)] for label in labels}


def arm_of(seed: int, label: str, session: int) -> Arm:
    """Return the arm of a type's session in the trial, counted from 0."""
    return pair(seed, label, session // 2 + 1)[session % 2]
