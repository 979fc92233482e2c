"""Names that nearly equal a known one, or that belong into another column.

What counts as nearly equal: the same but for what the eye passes over (case, blanks, dashes,
marks), the same words in another order, or one slip of typing apart, which more than 80 % of
misspellings are (Damerau 1964, CACM 7:171-176), with the right first letter, as over 90 % of
misspellings have it (Pollock and Zamora 1984, CACM 27:358-368; from memory). Names that differ
in their numbers are no misspellings: "row 4 km" and "row 5 km".
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final

from slackwater.fitting.doubts.history import History
from slackwater.fitting.intake.cells import (
    InterventionRow,
    ReadingRow,
    Row,
    SessionRow,
    StressorRow,
)
from slackwater.model.errors import Reason

COLUMN: Final[Mapping[type[Row], str]] = {
    ReadingRow: "sensor",
    SessionRow: "type",
    InterventionRow: "intervention",
    StressorRow: "stressor",
}
MEANT: Final = 3  # rows after which a name is no slip of the hand
_SHORTEST: Final = 4  # letters of a name of which one may be a slip: "run" is no "row" mistyped
_DECIMALS: Final = 2  # at most, of a reading that a comma cut in two
_NUMBER: Final = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")
_LETTERS_ALONE: Final = re.compile(r"[0-9]+")


def folded(label: str) -> str:
    """Return a label without what the eye passes over: case, blanks, dashes, marks' form."""
    plain = unicodedata.normalize("NFKC", label).casefold()
    visible = "".join(c for c in plain if unicodedata.category(c) not in {"Cf", "Pd"})
    return re.sub(r"[\s_\u2212]+", "", visible)


def distance(a: str, b: str) -> int:
    """Return how many slips of typing lie between two words.

    One is a letter left out, added or exchanged for another, or two neighbours swapped (Damerau
    1964; no letter is touched twice, the "optimal string alignment").
    """
    before: list[int] = []
    row = list(range(len(b) + 1))
    for i, letter in enumerate(a, start=1):
        before, last, row = row, before, [i]
        for j, other in enumerate(b, start=1):
            steps = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (letter != other))
            if i > 1 and j > 1 and (letter, a[i - 2]) == (b[j - 2], other):
                steps = min(steps, last[j - 2] + 1)
            row.append(steps)
    return row[-1]


def alike(a: str, b: str) -> bool:
    """Say whether one of two labels may be a slip for the other."""
    one, two = folded(a), folded(b)
    if one == two or sorted(a.casefold().split()) == sorted(b.casefold().split()):
        return True
    if min(len(one), len(two)) < _SHORTEST or abs(len(one) - len(two)) > 1 or one[0] != two[0]:
        return False
    same_numbers = _LETTERS_ALONE.findall(one) == _LETTERS_ALONE.findall(two)
    return same_numbers and distance(one, two) == 1


def doubtful(row: Row, history: History, inside: bool = False) -> Iterator[Reason]:
    """Yield the reason where a row's name may not be the one that was meant.

    Args:
        row: a row of any file with names by day.
        history: what else is logged.
        inside: whether the row itself is among it.
    """
    column = COLUMN.get(type(row), "")
    label = getattr(row, column, "")
    if not label:
        return
    known = history.labels[column]
    described = history.described if column == "type" else set()
    rows = known[label] if inside else 0
    if label in known and not inside:
        return
    if _NUMBER.fullmatch(label):
        if not any(_NUMBER.fullmatch(other) for other in known if other != label):
            yield _number(row, column, label)
    elif other := _meant(label, rows, known, described):
        yield Reason(
            "nearly a known name", column=column, label=label, known=other, rows=known[other]
        )
    elif rows <= inside and label not in described:
        yield from _elsewhere(label, column, history)


def _number(row: Row, column: str, label: str) -> Reason:
    """Return the reason why a number is no name: cells that slipped by a column."""
    ms = row.rmssd_ms if isinstance(row, ReadingRow) else None
    if ms is not None and ms.is_integer() and label.isdigit() and len(label) <= _DECIMALS:
        return Reason("decimal comma", column=column, label=label, meant=f"{ms:.0f}.{label}")
    return Reason("a number for a name", column=column, label=label)


def _meant(label: str, rows: int, known: Counter[str], described: set[str]) -> str | None:
    """Return the label that was most likely meant: one that is alike and logged more often.

    A name logged several times, or described in types.csv, is no slip of the hand, unless the eye
    cannot tell it from another.
    """
    order = {name: place for place, name in enumerate(known)}
    weight = (rows, -order.get(label, len(order)))
    settled = rows >= MEANT or label in described
    others = [
        (other in described, known[other], other)
        for other in {**dict.fromkeys(described), **known}
        if other != label
        and ((known[other], -order.get(other, len(order))) > weight or other in described - {label})
        and (folded(other) == folded(label) if settled else alike(label, other))
    ]
    return max(others)[2] if others else None


def _elsewhere(label: str, column: str, history: History) -> Iterator[Reason]:
    """Yield the reason where a name that is new here is known in another column."""
    for other, known in history.labels.items():
        names = {*known, *(history.described if other == "type" else ())}
        same = [name for name in names if folded(name) == folded(label)]
        if other != column and same:
            yield Reason("known as another thing", column=column, label=same[0], known_as=other)
            return
