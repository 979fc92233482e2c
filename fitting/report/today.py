"""The one answer of a morning in words, for terminal, report and page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Final

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text

from slackwater.fitting.answers.baseline import LIKELY, LIKELY_NOT, POSSIBLY
from slackwater.fitting.journey.today import Today, TypeToday
from slackwater.fitting.records.lots import WITH
from slackwater.fitting.report import words
from slackwater.fitting.report.reasons import sentences
from slackwater.fitting.report.terminal.pieces import heading_of, new_table
from slackwater.fitting.report.terminal.spacing import no_longer_holds
from slackwater.fitting.text import listed

_WIDEST: Final = 44  # columns of the table: a phone's
_WHERE: Final = {
    LIKELY: "You are likely recovered",
    POSSIBLY: "You may be recovered, or nearly",
    LIKELY_NOT: "You are likely not recovered yet",
}


def text(answer: Today) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, f"The morning of {words.day_name(str(answer.morning))}")
    for sentence in said(answer):
        yield Padding(Text(sentence), (0, 0, 0, 2))
    if answer.types:
        yield _types(answer)


def said(answer: Today) -> list[str]:
    """Return what the answer says, the most important first, a paragraph each."""
    paragraphs = (
        words.unexplained(answer.unexplained),
        headline(answer),
        [reading(answer)],
        plan(answer),
        trial(answer),
        sentences(answer.missing),
    )
    return [" ".join(paragraph) for paragraph in paragraphs if paragraph]


def rows(answer: Today) -> list[tuple[str, str, str, str]]:
    """Return each type with the day it was last done, its dip left, and from when it may come."""
    return [
        (
            row.type,
            "never" if row.last_done is None else words.short_date(str(row.last_done)),
            f"{words.percent_off(row.dip_left_ln.median):.0f} %",
            _when(row, answer.morning),
        )
        for row in answer.types
    ]


def headline(answer: Today) -> tuple[str, str]:
    """Say whether the athlete is recovered, and from when training may come again."""
    chance, asked = words.chance(answer.chance_at_baseline), words.chance(answer.chance_asked)
    where = f"{_WHERE[answer.at_baseline]}: the chance is {chance}."
    if answer.unexplained is not None:
        return where, "No session is offered while that is so."
    if answer.logged:
        again = _from(answer.back_by, answer)
        return where, f"{listed(answer.logged)} is logged for today; recovered again {again}."
    if not answer.types:
        return where, "No session is logged that a reading shows, so there is none to wait for."
    first = answer.types[0].from_
    if first == answer.morning:
        known = "can be foreseen" if answer.reading_ms is None else "readings tell"
        return where, f"As far as {known}, any of your sessions may come today."
    return where, f"Wait with the next session: it is {asked} or more {_from(first, answer)}."


def _from(date: dt.date | None, answer: Today) -> str:
    if date is None:
        return "only after more than 60 days"
    return f"from {words.day_name(str(date))} on, if you rest until then"


def reading(answer: Today) -> str:
    """Say how the reading lies against baseline, and how the state does."""
    usual = f"your baseline of {answer.baseline_rmssd_ms.median:.0f} ms"
    under = f"{words.percent_off(answer.dip_left_ln.median):.0f} % under"
    if answer.reading_ms is None or answer.reading_percent is None:
        return f"Your state is foreseen {under} {usual}."
    off = round(answer.reading_percent)
    at = f"{abs(off)} % {'under' if off < 0 else 'over'}" if off else "at"
    noise = words.percent_off(answer.night_to_night_sd_ln.median)
    return (
        f"The reading, {answer.reading_ms:.0f} ms, is {at} {usual}; one night's noise alone is "
        f"about {noise:.0f} % up or down. Without such noise your state is {under} baseline."
    )


def plan(answer: Today) -> list[str]:
    """Return what the plan says of the day; nothing where none is to come."""
    if answer.overtaken:
        return no_longer_holds(answer.overtaken)
    if answer.planned is not None and answer.planned not in answer.logged:
        return [f"Planned for today: {answer.planned}."]
    if answer.next_planned is None:
        return []
    coming = answer.next_planned
    return [f"Next in the plan: {coming.type} on {words.day_name(str(coming.date))}."]


def trial(answer: Today) -> list[str]:
    """Return what the trial asks for that day; nothing where none is on."""
    if answer.measure is None:
        return []
    if answer.trial_complete:
        return [f"The trial of {answer.measure} has its planned number and can be judged."]
    if answer.measure_today is None:
        return [f"Trial of {answer.measure}: nothing is asked for until a session is logged."]
    do = "use it" if answer.measure_today == WITH else "leave it out"
    return [f"Trial of {answer.measure}: {do} today."]


def _types(answer: Today) -> RenderableType:
    table = new_table("session type", "last", "dip", "from")
    table.columns[0].max_width = _WIDEST - 28
    for label, *cells in rows(answer):
        table.add_row(Text(label), *cells)
    return table


def _when(row: TypeToday, morning: dt.date) -> str:
    if row.from_ is None:
        return "not yet"
    return "today" if row.from_ == morning else words.short_day(str(row.from_))
