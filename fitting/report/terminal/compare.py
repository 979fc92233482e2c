"""Recovery with and without a measure, and of two types or values, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.answers.compare import Difference, MeasureCompared
from slackwater.fitting.report import words
from slackwater.fitting.report.terminal.pieces import days_saved, heading_of, likely, new_facts
from slackwater.fitting.text import plural


def measure(answer: MeasureCompared) -> Iterable[RenderableType]:
    """Yield a measure's comparison for the terminal."""
    yield heading_of(answer, f"Recovery with and without {answer.intervention}")
    share = words.chance(answer.chance_faster)
    yield Text(f"  {words.verdict(answer.verdict)} (the chance that it is faster is {share}).")
    table = new_facts()
    table.add_row("recovery rate, with over without", words.ratio(answer.rate_ratio))
    for side, nights, sessions in (
        ("with", answer.nights_with, answer.sessions_with),
        ("without", answer.nights_without, answer.sessions_without),
    ):
        table.add_row(side, f"{plural(nights, 'night')}, {plural(sessions, 'session')}")
    yield table
    yield days_saved(answer.days_saved)
    yield Text(f"Verdict: {answer.verdict_rule}. {likely(answer.about.level)}")


def difference(answer: Difference) -> Iterable[RenderableType]:
    """Yield a difference in days for the terminal."""
    a, b = answer.a, answer.b
    what = f"{answer.attribute}: {a} against {b}" if answer.attribute else f"{a} against {b}"
    yield heading_of(answer, what)
    low, median, high = answer.difference_days
    yield Text(
        f"  {answer.longer} takes {abs(median):.1f} days longer; the difference {a} minus {b} "
        f"likely lies between {words.in_days(low)} and {words.in_days(high)} days."
    )
    yield Text(f"  The chance that {a} takes longer is {words.chance(answer.chance_a_slower)}.")
    yield Text(likely(answer.about.level))
