"""Sentences about what is logged line by line, and taken back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from slackwater.fitting.report.reasons.kind import Sentence

SENTENCES: Final[Mapping[str, Sentence]] = {
    "nothing to undo": "Nothing that was logged here is left to undo.",
    "entry changed since": "{file}:{line}: this row was changed by hand after it was logged, so "
    "nothing was taken back; delete the row yourself, then undo what was logged with it.",
}
