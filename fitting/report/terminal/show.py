"""An answer on a terminal: its text, what to mind with it, the caution."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from slackwater.fitting.answers.answer import Answer
from slackwater.fitting.report.caution import caution as caution_of
from slackwater.fitting.report.reasons import sentence


def show(
    console: Console,
    told: Iterable[RenderableType],
    answer: Answer,
    caution: bool = True,
    aside: Console | None = None,
    without: Collection[type] = (),
) -> None:
    """Print an answer's text, its warnings, and the caution unless it follows elsewhere.

    Args:
        console: where the answer goes.
        told: its text.
        answer: the answer.
        caution: whether to print the caution.
        aside: where the warnings go; with the answer if left out.
        without: pieces to leave out: `Terms`, `Details`.
    """
    console.print(Group(*(piece for piece in told if not isinstance(piece, tuple(without)))))
    said = "unexplained" if hasattr(answer, "unexplained") else ""  # its text begins with it
    for warning in (w for w in answer.about.warnings if w.code != said):
        (aside or console).print(Text(f"Mind: {sentence(warning)}"))
    if caution:
        console.print(Padding(Text(caution_of(answer), style="dim"), (1, 0, 0, 0)))
