"""What became of a squad's athletes, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentences
from slackwater.fitting.report.squads.recovery import group_table
from slackwater.fitting.report.squads.unanswered import left_out
from slackwater.fitting.report.terminal.pieces import Terms, heading_of, likely
from slackwater.fitting.squads.learn import SquadFitted
from slackwater.fitting.squads.own import OwnPart
from slackwater.fitting.text import listed, plural


def text(answer: SquadFitted) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, "Each athlete fitted alone, then all together")
    yield from map(_indented, said(answer))
    if answer.group:
        yield group_table(answer.group)
    yield Terms(
        "Days to recover from a typical session, of a typical athlete of the group; athletes "
        "differ by about so many days, as a standard deviation; one more is an athlete of whom "
        f"nothing is known yet. {likely(answer.about.level)}"
    )
    yield from map(_indented, to_mind(answer))


def said(answer: SquadFitted) -> list[str]:
    """Return who was fitted, who did not change, and who is left out, a line each."""
    lines = left_out(answer.unanswered)
    if answer.unchanged:
        lines = [f"Nothing changed since the last fit: {listed(answer.unchanged)}.", *lines]
    if answer.fitted:
        fitted, unit = len(answer.fitted), "athlete"
        each = sum(one.seconds for one in answer.fitted) / fitted
        lines = [f"Fitted {plural(fitted, unit)}, {each:.0f} s each.", *lines]
    return lines


def to_mind(answer: SquadFitted) -> list[str]:
    """Return what to mind with each fit, a line each."""
    return [
        f"{one.athlete}: {sentence}" for one in answer.fitted for sentence in sentences(one.mind)
    ]


def own_parts(parts: Iterable[OwnPart]) -> list[str]:
    """Return a line for each type of an athlete who was fitted with what a group tells."""
    return [
        f"{part.type}: {words.days_range(part.typical_days)} days; {_own(part.own_share)}."
        for part in parts
    ]


def _own(share: float | None) -> str:
    if share is None:
        return "the group does not know this type"
    return f"{100 * share:.0f} % of what the group leaves open is settled by the own readings"


def _indented(line: str) -> Padding:
    return Padding(Text(line), (0, 0, 0, 2))
