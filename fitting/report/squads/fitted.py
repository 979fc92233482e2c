"""What became of a squad's athletes, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from slackwater.fitting.report.reasons import sentences
from slackwater.fitting.report.squads.unanswered import left_out
from slackwater.fitting.report.terminal.pieces import heading_of
from slackwater.fitting.squads.learn import SquadFitted
from slackwater.fitting.text import listed, plural


def text(answer: SquadFitted) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, "Each athlete fitted alone")
    if answer.fitted:
        fitted, unit = len(answer.fitted), "athlete"
        each = sum(one.seconds for one in answer.fitted) / fitted
        yield _indented(f"Fitted {plural(fitted, unit)}, {each:.0f} s each.")
    if answer.unchanged:
        yield _indented(f"Nothing changed since the last fit: {listed(answer.unchanged)}.")
    for line in left_out(answer.unanswered):
        yield _indented(line)
    for one in answer.fitted:
        for sentence in sentences(one.mind):
            yield _indented(f"{one.athlete}: {sentence}")


def _indented(line: str) -> Padding:
    return Padding(Text(line), (0, 0, 0, 2))
