"""Sentences about squads."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import plural


def _season_cannot_be_read(problem: str, others: int) -> str:
    more = f", and {plural(others, 'more problem')}" if others else ""
    return f"The season cannot be read ({problem}{more}); check it alone."


SENTENCES: Final[Mapping[str, Sentence]] = {
    "season cannot be read": _season_cannot_be_read,
    "fit failed": "The fit broke off ({error}); fit the season alone to see more.",
    "workers lost": "The workers that fitted it were lost {times} times over; try again, or fit "
    "the season alone.",
    "worker of another version": "The worker is of version {here} and was asked by version "
    "{asked}; install the same on both.",
    "came back of another season": "What the worker sent back is of another season; fit again.",
    "nobody answered": "Nothing can be said of any of the {athletes} athletes.",
    "read later too": "Readings go on to {last_night}, after the morning asked about.",
    "read too long ago": "The last reading is of {last_night}, over {days} days before the morning "
    "asked about.",
}
