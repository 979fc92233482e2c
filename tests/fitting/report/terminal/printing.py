"""An answer as it is printed."""

from __future__ import annotations

import io
import re
from typing import Final

from rich.console import Console

from slackwater.fitting.answers.answer import Answer
from slackwater.fitting.questions import question
from slackwater.fitting.report.terminal.show import show

# Words of the statistician, for docs and for what is asked for; the file's name is a name.
TECHNICAL: Final = re.compile(
    r"credible|pareto|r-hat|divergent|divergence|posterior(?!\.nc)|binomial|jeffreys|"
    r"logarithmic mean",
    re.IGNORECASE,
)


def printed(name: str, answer: Answer) -> str:
    """Return an answer to the question of a name as a terminal 80 columns wide shows it."""
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), question(name).tell(answer), answer)
    return screen.getvalue()
