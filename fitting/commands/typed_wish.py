"""What is wanted of a plan, as it is typed: TYPE:COUNT, TYPE:SHARE, DATE:TYPE."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

from slackwater.fitting.intake.dates import parse_date
from slackwater.fitting.spacing.wish import Date
from slackwater.model.errors import QuestionError

Number = TypeVar("Number", int, float)


def read_counts(texts: Iterable[str]) -> dict[str, int]:
    """Return the counts that "TYPE:COUNT" names, by type.

    Raises:
        QuestionError: not of that form, or a type twice.
    """
    return _by_type(texts, int, "TYPE:COUNT, such as 'hill run:2'")


def read_chances(texts: Iterable[str]) -> dict[str, float]:
    """Return the chances that "TYPE:SHARE" names, by type.

    Raises:
        QuestionError: not of that form, or a type twice.
    """
    return _by_type(texts, float, "TYPE:SHARE, such as 'hill run:0.9'")


def read_fixed(texts: Iterable[str]) -> dict[Date, str]:
    """Return the types that "DATE:TYPE" fixes, by date.

    Raises:
        QuestionError: not of that form, or a date twice.
    """
    fixed: dict[Date, str] = {}
    for text in texts:
        date, _, label = text.partition(":")
        if not label.strip():
            raise QuestionError(f"{text!r} is not of the form DATE:TYPE, such as 2031-05-02:row.")
        day = parse_date(date)
        if day in fixed:
            raise QuestionError(f"Two sessions are fixed on {day}; a plan has at most one a day.")
        fixed[day] = label.strip()
    return fixed


def _by_type(texts: Iterable[str], number: Callable[[str], Number], form: str) -> dict[str, Number]:
    read: dict[str, Number] = {}
    for text in texts:
        label, _, value = (part.strip() for part in text.rpartition(":"))
        if label in read:
            raise QuestionError(f"{label!r} is given twice; give each type once.")
        try:
            read[label] = number(value)
        except ValueError:
            label = ""
        if not label:
            raise QuestionError(f"{text!r} is not of the form {form}.")
    return read
