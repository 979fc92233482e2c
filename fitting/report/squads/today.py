"""A squad's morning in words, for terminal and page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from slackwater.fitting.answers.baseline import LIKELY, LIKELY_NOT, POSSIBLY
from slackwater.fitting.report import words
from slackwater.fitting.report.squads.unanswered import left_out, to_mind
from slackwater.fitting.report.terminal.pieces import Details, Terms, heading_of, new_table
from slackwater.fitting.squads.today import AthleteToday, SquadToday
from slackwater.fitting.text import listed, plural

HEAD: Final = ("athlete", "reading", "off baseline", "state", "chance", "from")  # of `rows`
_WHERE: Final = {
    LIKELY: "Likely recovered",
    POSSIBLY: "Perhaps recovered, or nearly",
    LIKELY_NOT: "Likely not recovered yet",
}


def text(answer: SquadToday) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, f"The morning of {words.day_name(str(answer.morning))}")
    for line in said(answer):
        yield Padding(Text(line), (0, 0, 0, 2))
    table = new_table(*HEAD)
    for row in rows(answer):
        table.add_row(*map(Text, row))
    yield table
    yield from map(Details, map(Text, to_mind(answer.athletes)))
    yield Terms(
        "Reading: this morning's, and how far it lies over or under baseline. State: how far the "
        "athlete lies under baseline without one night's noise. Chance: that all dips together lie "
        f"under the threshold. From: the first morning on which that is "
        f"{words.chance(answer.chance_asked)} or more, at rest until then, with no session logged."
    )


def said(answer: SquadToday) -> list[str]:
    """Return what the answer says, the most important first, a line each."""
    lines = []
    for each in answer.athletes:
        if each.unexplained is not None:
            first, *_ = words.unexplained(each.unexplained)
            lines.append(f"{each.athlete}: {first} No session is offered while that is so.")
    for where, told in _WHERE.items():
        names = [each.athlete for each in answer.athletes if each.at_baseline == where]
        if names:
            lines.append(f"{told}: {listed(names)}.")
    unread = [each for each in answer.athletes if each.reading_ms is None]
    if unread:
        lines.append(f"Not read this morning, so foreseen: {listed(map(_last_read, unread))}.")
    return [*lines, *left_out(answer.unanswered)]


def of_athlete(each: AthleteToday, answer: SquadToday) -> list[str]:
    """Return what one athlete's morning says, a line each."""
    under = f"{words.percent_off(each.dip_left_ln.median):.0f} % under baseline"
    lines = [*words.unexplained(each.unexplained)]
    lines.append(
        f"{_WHERE[each.at_baseline]}: the chance is {words.chance(each.chance_at_baseline)}."
    )
    if each.reading_ms is None or each.reading_percent is None:
        day = words.day_name(str(each.last_read))
        lines.append(f"Not read this morning (last on {day}); the state is foreseen {under}.")
    else:
        off = words.signed(each.reading_percent, 0)
        lines.append(
            f"The reading, {each.reading_ms:.0f} ms, is {off} % off baseline; without one night's "
            f"noise the state is {under}."
        )
    if each.logged:
        lines.append(f"Logged for today: {listed(each.logged)}.")
    if each.from_ is not None and each.unexplained is None:
        asked = words.chance(answer.chance_asked)
        when = "today" if each.from_ == answer.morning else f"on {words.day_name(str(each.from_))}"
        lines.append(f"The next session may come {when}: the chance is {asked} or more by then.")
    return lines


def rows(answer: SquadToday) -> list[tuple[str, ...]]:
    """Return each athlete with reading, where it lies, the state, its chance, and from when."""
    return [
        (
            each.athlete,
            "not read" if each.reading_ms is None else f"{each.reading_ms:.0f} ms",
            "" if each.reading_percent is None else f"{words.signed(each.reading_percent, 0)} %",
            f"{words.percent_off(each.dip_left_ln.median):.0f} % under",
            words.chance(each.chance_at_baseline),
            from_when(each, answer),
        )
        for each in answer.athletes
    ]


def from_when(each: AthleteToday, answer: SquadToday) -> str:
    """Return from when an athlete may train, for a narrow column."""
    if each.from_ is None:
        return "not yet"
    return "today" if each.from_ == answer.morning else words.short_day(str(each.from_))


def _last_read(each: AthleteToday) -> str:
    return f"{each.athlete} (last read on {words.day_name(str(each.last_read))})"


def headline(answer: SquadToday) -> str:
    """Return how many athletes are likely recovered, for the head of a page."""
    there = sum(each.at_baseline == LIKELY for each in answer.athletes)
    of = plural(len(answer.athletes), "athlete")
    return f"{_WHERE[LIKELY]} this morning: {there} of {of}"
