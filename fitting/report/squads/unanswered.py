"""Athletes of whom nothing can be said, in words."""

from __future__ import annotations

from collections.abc import Iterable

from slackwater.fitting.report.reasons import sentences
from slackwater.fitting.squads.answer import Unanswered


def left_out(unanswered: Iterable[Unanswered]) -> list[str]:
    """Return a line for each athlete without an answer, and why."""
    return [f"No answer for {each.athlete}: {' '.join(sentences(each.why))}" for each in unanswered]
