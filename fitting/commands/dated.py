"""Sessions to come as they are typed: DATE:TYPE."""

from __future__ import annotations

from collections.abc import Sequence

from slackwater.fitting.answers.forecast import PlannedSession
from slackwater.fitting.intake.dates import parse_date
from slackwater.model.errors import QuestionError


def parse_session(text: str, types: Sequence[str]) -> PlannedSession:
    """Return the planned session that "DATE:TYPE" names.

    Args:
        text: what was typed.
        types: the season's session types, for an example.

    Raises:
        QuestionError: not of that form.
    """
    date, _, label = text.partition(":")
    try:
        day = parse_date(date)
    except QuestionError:
        day = None
    if day is None or not label.strip():
        example = f"2031-05-02:{[*types, 'row'][0]}"
        raise QuestionError(f"{text!r} names no session; write it as DATE:TYPE, such as {example}")
    return PlannedSession(day, label.strip())
