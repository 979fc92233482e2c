"""The course of a season, as terminal text."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.answers.course import Course
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import heading_of, likely, new_table
from slackwater.fitting.text import plural
from slackwater.model import names as n

_LATEST: Final = 14  # nights shown in a terminal


def text(answer: Course) -> Iterable[RenderableType]:
    """Yield the latest nights for the terminal."""
    yield heading_of(answer, f"The course up to {answer.about.last_night}")
    table = new_table("morning", "reading", "state", "baseline")
    for night in answer.nights[n.NIGHT].values[-_LATEST:]:
        row = answer.nights.sel({n.NIGHT: night})
        reading = float(row["rmssd_ms"])
        table.add_row(
            str(night)[:10],
            "" if math.isnan(reading) else f"{reading:.0f} ms",
            words.milliseconds(row["state_ms"]),
            words.milliseconds(row["baseline_ms"]),
        )
    yield table
    yield Text(
        "State: baseline minus what is left of all dips, as a reading shows them, without the "
        "night's noise; on the scale of the latest sensor. The latest "
        f"{plural(_LATEST, 'night')} at most. {likely(answer.about.level)}"
    )
