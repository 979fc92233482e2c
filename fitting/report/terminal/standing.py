"""Where the athlete stands and what is coming, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.answers.baseline import Baseline, Plateau
from slackwater.fitting.answers.forecast import Forecast
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.drawing import Scale
from slackwater.fitting.report.terminal.pieces import (
    Terms,
    heading_of,
    likely,
    new_facts,
    new_table,
    unexplained,
)
from slackwater.fitting.text import plural
from slackwater.model import names as n

_BAR: Final = 25  # columns of a range bar


def baseline(answer: Baseline) -> Iterable[RenderableType]:
    """Yield where the athlete stands for the terminal."""
    yield heading_of(answer, f"Where you stand on the morning of {answer.about.last_night}")
    yield from unexplained(answer.unexplained)
    yield Text(f"  At baseline: the chance is {words.chance(answer.chance_at_baseline)}.")
    if answer.back_by != answer.about.last_night:
        yield Text(f"  {words.back(answer.back_by, answer.about.last_night, 'if you rest')}")
    table = new_facts()
    table.add_row("baseline", words.milliseconds(answer.baseline_rmssd_ms))
    table.add_row("dip left: the state under it", words.percent_dip(answer.dip_left_ln))
    table.add_row("days of rest until back", words.days_range(answer.further_rest_days))
    table.add_row("plateau of rest", plateau(answer.plateau, "so far"))
    table.add_row("ordinary night-to-night SD", words.percent_dip(answer.night_to_night_sd_ln))
    yield table
    yield Terms(f"Plateau: {sentence(answer.plateau.rule)}. {likely(answer.about.level)}")


def plateau(rest: Plateau, counted: str) -> str:
    """Say whether a plateau is reached: "not reached (1 flat night so far)"."""
    reached = "reached" if rest.reached else "not reached"
    return f"{reached} ({plural(rest.flat_nights, 'flat night')} {counted})"


def forecast(answer: Forecast) -> Iterable[RenderableType]:
    """Yield the coming readings for the terminal."""
    plan = "with " + ", ".join(answer.sessions) if answer.sessions else "at rest"
    yield heading_of(answer, f"The coming readings, {plan}")
    yield from unexplained(answer.unexplained)
    how = "with these sessions" if answer.sessions else "if you rest"
    yield Text(f"  {words.back(answer.back_by, answer.about.last_night, how)}")
    rows = [answer.nights.sel({n.NIGHT: night}) for night in answer.nights[n.NIGHT]]
    scale = Scale.over((row["rmssd_ms"] for row in rows), _BAR)
    table = new_table("morning", "reading", "chance of baseline", scale.ends("ms"))
    for row in rows:
        table.add_row(
            str(row[n.NIGHT].values)[:10],
            words.milliseconds(row["rmssd_ms"]),
            words.chance(float(row["chance_at_baseline"])),
            scale.bar(row["rmssd_ms"]),
        )
    yield table
    yield Text(f"Days until back, middle and range: {words.days_range(answer.days_to_baseline)}.")
    yield Terms(
        "Chance of baseline: that the dip left lies under the threshold that morning. "
        f"{likely(answer.about.level)}"
    )
