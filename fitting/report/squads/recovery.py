"""Days to recover in a squad, as terminal text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from slackwater.fitting.report import words
from slackwater.fitting.report.squads.unanswered import left_out, to_mind
from slackwater.fitting.report.terminal.pieces import (
    Details,
    Terms,
    heading_of,
    likely,
    new_table,
)
from slackwater.fitting.squads.recovery import (
    CANNOT_TELL,
    LONGER,
    AthleteRecovery,
    SquadRecovery,
    TypeOfAthlete,
    TypeOfGroup,
)
from slackwater.fitting.text import plural


def text(answer: SquadRecovery) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, "Days to recover, of the group and of each athlete")
    for line in said(answer):
        yield Padding(Text(line), (0, 0, 0, 2))
    yield group_table(answer.group)
    for label in [each.type for each in answer.group]:
        yield Text(label, style="bold")
        table = new_table("athlete", "done", "days", "alone", "own part", "takes longer")
        for row in rows(answer.athletes, label):
            table.add_row(*map(Text, row))
        yield table
    for line in of_one_athlete(answer):
        yield Padding(Text(line), (0, 0, 0, 2))
    yield from map(Details, map(Text, to_mind(answer.athletes)))
    yield Terms(
        "Group: a typical athlete of it; athletes differ by about so many days; one more is an "
        "athlete of whom nothing is known yet. Days: from a typical session, by the athlete's own "
        "readings and what the group tells; alone: without the group. Own part: how much of what "
        "the group leaves open the athlete's own readings settle. Takes longer: the chance that "
        f"it takes this athlete longer than a typical one of the group. "
        f"{likely(answer.about.level)}"
    )


def said(answer: SquadRecovery) -> list[str]:
    """Return who differs from the group, and who is left out."""
    lines = [
        f"{each.athlete} takes {row.differs} than the group to recover from {row.type}: "
        f"{words.days_range(row.typical_days)} days; the chance is {words.chance(_surely(row))}."
        for each in answer.athletes
        for row in each.types
        if row.differs != CANNOT_TELL
    ]
    nobody = "Nobody clearly differs from the group."
    return [*(lines or [nobody]), *left_out(answer.unanswered)]


def _surely(row: TypeOfAthlete) -> float:
    longer = row.chance_longer or 0.0
    return longer if row.differs == LONGER else 1 - longer


def group_table(group: Sequence[TypeOfGroup]) -> Table:
    """Return the group's days by type."""
    table = new_table("the group", "athletes", "days", "differ by", "one more")
    for each in group:
        table.add_row(
            Text(each.type),
            str(each.athletes),
            words.tight(each.typical_days),
            words.tight(each.spread_days),
            words.tight(each.another_days),
        )
    return table


def rows(athletes: Sequence[AthleteRecovery], label: str) -> list[tuple[str, ...]]:
    """Return each athlete who has a type: sessions, days, alone, own part, who takes longer."""
    return [
        (each.athlete, *cells(row)) for each in athletes for row in each.types if row.type == label
    ]


def cells(row: TypeOfAthlete) -> tuple[str, ...]:
    """Return one athlete's sessions of a type, days, alone, own part, who takes longer."""
    return (
        str(row.sessions),
        words.tight(row.typical_days),
        "no answer" if row.alone_days is None else words.tight(row.alone_days),
        f"{100 * row.own_share:.0f} %",
        "" if row.chance_longer is None else words.chance(row.chance_longer),
    )


def of_one_athlete(answer: SquadRecovery) -> list[str]:
    """Return a line for each type that one athlete alone has."""
    common = {each.type for each in answer.group}
    return [
        f"Only {each.athlete} does {row.type} ({plural(row.sessions, 'session')}): "
        f"{words.days_range(row.typical_days)} days."
        for each in answer.athletes
        for row in each.types
        if row.type not in common
    ]
