"""Recovery with and without a measure, and of two types or values, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import RenderableType
from rich.text import Text

from slackwater.fitting.answers.compare import Difference
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.measures.compare import MeasureCompared
from slackwater.fitting.measures.verdicts import UNDECIDED
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.pieces import (
    Terms,
    days_saved,
    heading_of,
    likely,
    new_facts,
)
from slackwater.fitting.text import plural


def measure(answer: MeasureCompared) -> Iterable[RenderableType]:
    """Yield a measure's comparison for the terminal."""
    yield heading_of(answer, f"Recovery with and without {answer.intervention}")
    for said in finding(answer):
        yield Text(f"  {said}")
    table = new_facts()
    table.add_row("recovery rate, with over without", words.ratio(answer.rate_ratio))
    lift = words.signed_range(answer.lift_percent, 0, " %")
    table.add_row("a reading by itself, on its nights", lift)
    for side, nights, sessions in (
        ("with", answer.nights_with, answer.sessions_with),
        ("without", answer.nights_without, answer.sessions_without),
    ):
        table.add_row(side, f"{plural(nights, 'night')}, {plural(sessions, 'session')}")
    yield table
    if answer.verdict != UNDECIDED:
        yield days_saved(answer.days_saved)
    yield Text(words.sentence(sentence(answer.verdict_rule)))
    yield Terms(likely(answer.about.level))


def finding(answer: MeasureCompared) -> list[str]:
    """Say what is known of a measure, its verdict first, and what would settle it."""
    found = words.rate_change(answer.rate_ratio)
    if answer.verdict != UNDECIDED:
        told = f"{words.verdict(answer.verdict).capitalize()}. By the whole log, {found}."
    elif answer.rate_ratio.low < 1 < answer.rate_ratio.high:
        told = f"Cannot tell yet: recovery is {found} with it."
    else:
        told = f"No verdict yet: by the log, recovery is {found} with it."
    return [told, *([sentence(answer.settled_by)] if answer.settled_by else [])]


def difference(answer: Difference) -> Iterable[RenderableType]:
    """Yield a difference in days for the terminal."""
    a, b = answer.a, answer.b
    what = f"{answer.attribute}: {a} against {b}" if answer.attribute else f"{a} against {b}"
    yield heading_of(answer, what)
    slower, shorter, days, chance = _longer_first(answer)
    below = " (below 0: it takes less)" if days.low < 0 else ""
    yield Text(
        f"  {slower} takes {words.in_days(days.median)} days longer than {shorter}; likely "
        f"{words.in_days(days.low)} to {words.in_days(days.high)}{below}."
    )
    yield Text(f"  The chance that {slower} takes longer is {words.chance(chance)}.")
    yield Terms(likely(answer.about.level))


def _longer_first(answer: Difference) -> tuple[str, str, Interval, float]:
    """Return the side that takes longer, the other, by how much, and the chance of it."""
    low, median, high = answer.difference_days
    if answer.longer == answer.a:
        return answer.a, answer.b, answer.difference_days, answer.chance_a_slower
    return answer.b, answer.a, Interval(-high, -median, -low), 1 - answer.chance_a_slower
