"""Sentences about a foreign file that was not taken in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import plural

_QUESTIONS: Final = {
    "encoding": "the file's letters can be read in several ways, such as {cell!r}: in which?",
    "column": "which column holds {of}?",
    "dates": "the date {cell!r} can be read in several ways: in which?",
    "decimal": "the number {cell!r} can be read in two ways: in which?",
    "unit": "the readings in {of!r} are {cell} in the middle: in which unit?",
    "dose": "a dose is relative (1 = a type's usual session), and {of!r} is not: make doses of it, "
    "divided by each type's usual?",
    "evening": "readings are timed in the evening, such as {cell!r}: does their date name the "
    "evening on which the night began, or the morning after?",
    "undated": "rows have no date, such as row {cell}: do they belong to the day above?",
    "twice": "the night of {of} stands there with two readings: which counts?",
}
_HOLDS: Final = {
    "date": "the dates",
    "rmssd": "the nights' RMSSD",
    "type": "the session types",
    "sensor": "the sensor",
    "dose": "the doses",
}


def question(about: str, of: str, cell: str, sheet: str) -> str:
    """Return a question about a file in words."""
    of = _HOLDS.get(of, of) if about == "column" else of
    asked = _QUESTIONS[about].format(of=of, cell=cell)
    return f"{sheet}: {asked}" if sheet else asked[0].upper() + asked[1:]


def _open(file: str, questions: list[str]) -> str:
    many = plural(len(questions), "question")
    return f"{file} can be read in several ways, so nothing was written. {many} to settle:"


SENTENCES: Final[Mapping[str, Sentence]] = {
    "several readings of a file": _open,
    "unlikely rows": "Nothing was written: rows are unlikely, and nobody said that they are right.",
    "proposal not taken": "Nothing was written: nobody said yes to it.",
    "nothing in the file": "{file} holds no row for a season; nothing was written.",
}
