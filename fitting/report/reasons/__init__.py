"""The sentences for reasons: why there is no answer, what to mind, and by what rule.

Each module holds the sentences of one room, by code; a test holds them against the codes used.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from slackwater.fitting.report.reasons import (
    answers,
    beats,
    doubts,
    entries,
    importing,
    past,
    residuals,
    spacing,
    squads,
    standing,
    state,
    today,
    trial_items,
    trials,
    types,
)
from slackwater.fitting.report.reasons.kind import Sentence, say
from slackwater.model.errors import NoAnswerError, Reason

SENTENCES: Final[Mapping[str, Sentence]] = {
    **state.SENTENCES,
    **answers.SENTENCES,
    **doubts.SENTENCES,
    **standing.SENTENCES,
    **today.SENTENCES,
    **entries.SENTENCES,
    **importing.SENTENCES,
    **past.SENTENCES,
    **residuals.SENTENCES,
    **types.SENTENCES,
    **beats.SENTENCES,
    **spacing.SENTENCES,
    **squads.SENTENCES,
    **trials.SENTENCES,
    **trial_items.SENTENCES,
}


def sentence(reason: Reason) -> str:
    """Return a reason in words, one sentence or more."""
    return say(SENTENCES[reason.code], reason.facts)


def told(error: NoAnswerError) -> str:
    """Return why there is no answer, in words."""
    return " ".join(dict.fromkeys(sentence(reason) for reason in error.reasons))


def sentences(reasons: Iterable[Reason]) -> list[str]:
    """Return reasons in words, each sentence once."""
    return list(dict.fromkeys(map(sentence, reasons)))
