"""How far repeats agree and how many more are needed, as terminal text."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from slackwater.fitting.repeating.agreement import OwnSession
from slackwater.fitting.repeating.repeats import Repeats, TypeRepeats
from slackwater.fitting.report import residual_words, words
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.terminal.pieces import Details, Terms, heading_of, likely, new_table
from slackwater.fitting.text import plural

_LEGEND: Final = (
    "Undisturbed: over before anything else was logged. One in three beyond: the factor by which "
    "one of three of these sessions differs from the type's usual dip. Own days: the shortest and "
    "the longest of the sessions' middle estimates, each at its own dose; a session's own dip is "
    "read from a few nights and leans on its type's usual one, and decays as the model has it. "
    "Whether it does, the mornings after tell: {after}. More needed: until the range of "
    "typical days is expected to be narrower than one day, on average; it can come out a third "
    "narrower or wider. Narrows by: {narrowing}; {gain}. {likely}"
)


def text(answer: Repeats) -> Iterable[RenderableType]:
    """Yield the answer for the terminal."""
    yield heading_of(answer, f"How far repeats agree, up to {answer.about.last_night}")
    yield Text(
        "  One session in three differs from its type's usual dip by more than "
        f"{words.ratio(answer.session_factor)}."
    )
    yield Text(f"  {_next(answer)}")
    yield _agreement(answer)
    yield Details(_after(answer))
    yield _more(answer)
    yield Terms(
        _LEGEND.format(
            after=sentence(answer.after_rule),
            narrowing=sentence(answer.narrowing_rule),
            gain=sentence(answer.gain_rule),
            likely=likely(answer.about.level),
        )
    )
    for row in answer.types:
        yield Details(Text(f"{row.type}, each session:", style="bold"))
        yield Details(_sessions(row))


def _next(answer: Repeats) -> str:
    label, pays = answer.repeat_next, answer.repeat_next_pays
    if pays is None:
        return "No type needs repeating: each range of typical days is narrower than one day."
    if all(row.type != label for row in answer.types):
        return f"Of all types, {label} is the one that it would pay most to repeat next."
    return (
        f"It would pay most to repeat {label} next: each of the next {pays.sessions} undisturbed "
        f"sessions is expected to take {pays.narrowing_days:.2f} days off its range of "
        f"typical days, now {pays.width_days:.1f} days wide, and "
        f"{words.chance(pays.share_of_sessions)} of your sessions are of this type. "
        "Train it only when you feel ready for it."
    )


def _agreement(answer: Repeats) -> Table:
    table = new_table("session type", "done", "undisturbed", "one in three beyond", "own days")
    for row in answer.types:
        once = math.isnan(row.scatter_factor.median)
        own = row.own_days_of_sessions
        table.add_row(
            Text(row.type),
            str(row.sessions),
            str(row.undisturbed),
            "done once" if once else words.ratio(row.scatter_factor),
            f"{own.shortest:.1f}–{own.longest:.1f}",
        )
    return table


def _after(answer: Repeats) -> Table:
    table = new_table("mornings after", "readings", "off what was foretold, %", "by chance")
    for row in answer.types:
        for at in row.after:
            found, by_chance = residual_words.percent(at)
            table.add_row(Text(residual_words.after(at)), str(at.readings), found, by_chance)
    return table


def _more(answer: Repeats) -> Table:
    table = new_table("session type", "typical days", "more needed", "narrows by", "share done")
    for row in answer.types:
        table.add_row(
            Text(row.type),
            words.tight(row.typical_days),
            f"more than {row.more_looked_at}" if row.more_needed is None else str(row.more_needed),
            f"{row.narrowing_days:.2f} days",
            words.chance(row.share_of_sessions),
        )
    return table


def _sessions(row: TypeRepeats) -> Table:
    table = new_table("date", "dose", "dip", "own days")
    table.add_column("before it was over", overflow="fold")
    for session in row.each:
        table.add_row(
            str(session.date),
            f"{session.dose:g}",
            words.tight_dip(session.dip_ln),
            words.tight(session.days),
            Text(_note(session)),
        )
    return table


def _note(session: OwnSession) -> str:
    notes = []
    if session.disturbed_by is not None:
        after = session.disturbed_after_days
        when = f"{plural(after, 'day')} on" if after else "the same day"
        notes.append(f"{session.disturbed_by}, {when}")
    if not session.over:
        notes.append("not over yet")
    return "; ".join(notes)
