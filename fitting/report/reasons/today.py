"""Sentences about what the log of a morning lacks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons.kind import Sentence


def _no_reading_since(nights: int, last_night: str) -> str:
    return (
        f"No reading for {nights} mornings: what is said here was foreseen on "
        f"{words.day_name(last_night)}, and holds only if all that was done since is logged."
    )


def _nights_not_read(nights: int, days: int) -> str:
    were = "1 was" if nights == 1 else f"{nights} were"
    return f"Of the last {days} nights {were} not read."


def _planned_and_not_logged(type: str, date: str) -> str:
    return (
        f"{type} was planned for {words.day_name(date)} and is not logged: log it if it was done."
    )


def _measure_not_logged(measure: str, date: str) -> str:
    return f"{measure} was asked for on {words.day_name(date)} and is not logged."


def _a_gap(first: str, last: str, usual: int) -> str:
    days = f"from {words.day_name(first)} to {words.day_name(last)}"
    when = days if first != last else f"on {words.day_name(first)}"
    return (
        f"Nothing is logged {when}, between sessions that are seldom over {usual} days apart: if "
        "something was done, log it; a session left out makes days to recover come out too few."
    )


SENTENCES: Final[Mapping[str, Sentence]] = {
    "no reading this morning": "No reading yet this morning: what is said here was foreseen from "
    "the one before.",
    "no reading since": _no_reading_since,
    "nights not read lately": _nights_not_read,
    "a gap longer than usual": _a_gap,
    "planned and not logged": _planned_and_not_logged,
    "measure not logged": _measure_not_logged,
}
