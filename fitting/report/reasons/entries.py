"""Sentences about what is logged line by line, and taken back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence
from slackwater.fitting.text import plural


def _to_be_mended(count: int) -> str:
    return f"The season's files have {plural(count, 'problem')} to be mended first; see `check`."


SENTENCES: Final[Mapping[str, Sentence]] = {
    "before the last reading": "{day} is not after the last reading ({last_night}), so nothing was "
    "foreseen of it.",
    "farther than a forecast": "No forecast reaches so far beyond the last reading ({last_night}).",
    "season to be mended": _to_be_mended,
    "nothing to undo": "Nothing that was logged here is left to undo.",
    "entry changed since": "{file}:{line}: this row was changed by hand after it was logged, so "
    "nothing was taken back; delete the row yourself, then undo what was logged with it.",
}
