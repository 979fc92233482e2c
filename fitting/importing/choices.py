"""What was chosen of a file where it can be read in several ways, and what is to be chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, NamedTuple

from slackwater.fitting.importing.dates import ORDERS, Order

Unit = Literal["ms", "s", "ln"]
About = Literal[
    "encoding", "sheet", "column", "dates", "decimal", "unit", "dose", "evening", "undated", "twice"
]

FIELDS: Final = (
    "date", "rmssd", "sensor", "note", "type", "dose", "intervention", "stressor", "leave",
)  # fmt: skip
LEAVE: Final = "leave"
# The answers that a question without names of its own can have.
ANSWERS: Final[Mapping[str, Sequence[str]]] = {
    "dates": ORDERS,
    "decimal": (".", ","),
    "unit": ("ms", "s", "ln"),
    "evening": ("evening", "morning"),
    "undated": ("above", LEAVE),
    "twice": ("first", "last"),
}


@dataclass(frozen=True)
class Choices:
    """What was chosen; None or empty where nothing was.

    Attributes:
        encoding: of a text.
        separator: of a text.
        sheets: the sheets to read; all that are understood where empty.
        columns: field -> headers of the columns that hold it; `FIELDS` has the fields.
        dates: the order of day and month.
        decimal: the decimal mark.
        unit: the unit of the readings.
        dose: the header of what doses are made from, divided by each type's usual; or "leave".
        usual: type -> what is dose 1 of that, kept from the first time.
        evening: whether readings timed in the evening bear that evening's date, or the morning's.
        undated: whether rows without a date belong to the one above, or are left out.
        twice: which of two different readings of one night counts.
    """

    encoding: str | None = None
    separator: str | None = None
    sheets: tuple[str, ...] = ()
    columns: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    dates: Order | None = None
    decimal: Literal[".", ","] | None = None
    unit: Unit | None = None
    dose: str | None = None
    usual: Mapping[str, float] = field(default_factory=dict)
    evening: Literal["evening", "morning"] | None = None
    undated: Literal["above", "leave"] | None = None
    twice: Literal["first", "last"] | None = None

    def over(self, other: Choices) -> Choices:
        """Return another's choices with these in their place, where these are any."""
        own: dict[str, Any] = {name: value for name, value in vars(self).items() if value}
        own["columns"] = {**other.columns, **self.columns}
        return replace(other, **own)

    def with_answer(self, question: Question, answer: str) -> Choices:
        """Return the choices with a question answered."""
        if question.about == "column":
            fields = (answer,) if answer != LEAVE else ()
            return replace(self, columns={**self.columns, question.of: fields})
        if question.about == "sheet":
            return replace(self, sheets=(answer,))
        given: dict[str, Any] = {question.about: answer}
        return replace(self, **given)


class Answer(NamedTuple):
    """One way in which a question may be answered.

    Attributes:
        value: what is answered.
        shows: what the file then says, such as "2031-05-04".
    """

    value: str
    shows: str = ""


@dataclass(frozen=True)
class Question:
    """Something that a file can mean in several ways.

    Attributes:
        about: what is to be chosen.
        of: what it is about: a field, a header.
        cell: a cell that can be read in several ways.
        answers: the ways, two or more.
        sheet: the sheet's name; empty where there is only one.
    """

    about: About
    of: str
    cell: str
    answers: Sequence[Answer]
    sheet: str = ""
