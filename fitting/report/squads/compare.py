"""A measure across a squad, as terminal text."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.pieces import (
    Terms,
    heading_of,
    likely,
    new_facts,
    new_table,
)
from slackwater.fitting.squads.compare import SquadCompared
from slackwater.fitting.text import listed, plural

HEAD: Final = ("athlete", "with", "without", "rate", "alone", "faster")  # of `rows`


def text(answer: SquadCompared) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, f"Recovery with and without {answer.intervention}, across the squad")
    for line in said(answer):
        yield Padding(Text(line), (0, 0, 0, 2))
    table = new_facts()
    for name, value in facts(answer):
        table.add_row(name, value)
    yield table
    table = new_table(*HEAD)
    for row in rows(answer):
        table.add_row(*map(Text, row))
    yield table
    yield Text(words.sentence(sentence(answer.verdict_rule)))
    yield Terms(
        "With, without: sessions, by whether the measure acted on the night after their first. "
        "Rate: the recovery rate with over without it, by the athlete's own readings and what the "
        "group tells; alone: without the group. Faster: the chance that it is above 1. "
        f"{likely(answer.about.level)}"
    )


def said(answer: SquadCompared) -> list[str]:
    """Say what is known for a typical athlete, for whom it is clear, and what settles it."""
    found = words.rate_change(answer.rate_ratio)
    if answer.rate_ratio.low < 1 < answer.rate_ratio.high:
        first = f"Cannot tell yet for a typical athlete: recovery is {found} with it."
    else:
        first = f"No verdict yet: by the logs, a typical athlete's recovery is {found} with it."
    clear = [each.athlete for each in answer.athletes if each.rate_ratio.low > 1]
    against = [each.athlete for each in answer.athletes if each.rate_ratio.high < 1]
    lines = [first]
    if clear:
        lines.append(f"Their whole range is faster with it: {listed(clear)}.")
    if against:
        lines.append(f"Their whole range is slower with it: {listed(against)}.")
    if answer.unanswered:
        never = [each.athlete for each in answer.unanswered]
        lines.append(f"Never used it: {listed(never)}.")
    return [*lines, sentence(answer.settled_by)]


def facts(answer: SquadCompared) -> list[tuple[str, str]]:
    """Return what is known of the group, by name."""
    nights = plural(answer.nights_with, "night")
    return [
        ("a typical athlete's rate, with over without", words.ratio(answer.rate_ratio)),
        ("chance that it is faster", words.chance(answer.chance_faster)),
        ("athletes differ by a factor of", _factor(answer)),
        ("one more athlete's rate", words.ratio(answer.another_ratio)),
        ("chance that one more is faster", words.chance(answer.chance_another_faster)),
        ("used by", f"{plural(answer.users, 'athlete')}, on {nights}"),
    ]


def _factor(answer: SquadCompared) -> str:
    low, median, high = (math.exp(bound) for bound in answer.spread_ln)
    return f"{median:.2f} ({low:.2f} to {high:.2f})"


def rows(answer: SquadCompared) -> list[tuple[str, ...]]:
    """Return each athlete: sessions with and without, rate, alone, the chance of faster."""
    return [
        (
            each.athlete,
            str(each.sessions_with),
            str(each.sessions_without),
            _tight(each.rate_ratio),
            _tight(each.alone_ratio),
            words.chance(each.chance_faster),
        )
        for each in answer.athletes
    ]


def _tight(ratio: words.Bounds) -> str:
    low, median, high = words.triple(ratio)
    return f"{median:.2f} ({low:.2f}–{high:.2f})"
