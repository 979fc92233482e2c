"""A squad's report: one file, its morning first, then a page for each athlete."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import jinja2

from slackwater.fitting.report import words
from slackwater.fitting.report.caution import caution
from slackwater.fitting.report.page.page import Section, environment
from slackwater.fitting.report.page.part import Part, named
from slackwater.fitting.report.reasons import told as why
from slackwater.fitting.report.squads import parts
from slackwater.fitting.report.squads.today import headline
from slackwater.fitting.squads.compare import SquadCompared
from slackwater.fitting.squads.recovery import SquadRecovery
from slackwater.fitting.squads.today import SquadToday
from slackwater.model.errors import NoAnswerError


class AthletePage(NamedTuple):
    """One athlete's page.

    Attributes:
        id: its anchor.
        name: as shown.
        parts: what it holds.
    """

    id: str
    name: str
    parts: tuple[Part, ...]


def page(
    today: SquadToday,
    recovery: SquadRecovery,
    measures: Sequence[SquadCompared | NoAnswerError],
) -> str:
    """Return the whole report as HTML.

    Args:
        today: the squad's morning.
        recovery: days to recover, of the group and of each athlete.
        measures: every recovery measure of the squad, or why there is no answer.
    """
    morning = str(today.morning)
    days = tuple(parts.of_group(recovery, each) for each in recovery.group)
    sections = [
        Section("Days to recover", (parts.group(recovery), *days)),
        *([Section("Recovery measures", tuple(map(_measure, measures)))] if measures else []),
    ]
    return _TEMPLATES.get_template("squad.html.j2").render(
        squad=named(today.about.season),
        date=words.day_name(morning),
        year=morning[:4],
        iso_date=morning,
        headline=headline(today),
        caution=caution(today),
        today=parts.morning(today),
        sections=sections,
        athletes=_athletes(today, recovery),
    )


def _athletes(today: SquadToday, recovery: SquadRecovery) -> list[AthletePage]:
    mornings = {each.athlete: each for each in today.athletes}
    days = {each.athlete: each for each in recovery.athletes}
    missing = {each.athlete: each for each in (*recovery.unanswered, *today.unanswered)}
    typical = {each.type: each for each in recovery.group}
    pages = []
    for number, name in enumerate(dict.fromkeys([*mornings, *days, *missing]), start=1):
        made = []
        if name in mornings:
            made.append(parts.athletes_morning(mornings[name], today))
        if name in days:
            made.append(parts.athletes_days(days[name], typical, f"days-{number}"))
        if name in missing:
            made.append(parts.left_out(missing[name]))
        pages.append(AthletePage(f"athlete-{number}", named(name), tuple(made)))
    return pages


def _measure(found: SquadCompared | NoAnswerError) -> Part:
    if isinstance(found, NoAnswerError):
        return Part("measure-without-answer", "", (why(found),))
    return parts.measure(found)


_TEMPLATES: Final = environment(
    jinja2.PackageLoader("slackwater.fitting.report.squads", "templates")
)
