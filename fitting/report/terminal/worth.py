"""What a fit is worth, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.answers.worth import Worth
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal.pieces import heading_of


def text(answer: Worth) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, f"What the fit up to {answer.about.last_night} is worth")
    for said in sentences(answer.sentences):
        yield Text(f"  {said}")
    rule, recent = sentence(answer.rule), sentence(answer.recent_rule)
    yield Text(f"How readings are foretold: {rule}. Last nights: {recent}.")
