"""Entering what a form holds: asked about in place where it can't be right, else logged."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from slackwater.fitting.daily.doubted import doubts_of_rows
from slackwater.fitting.daily.logged import log_row
from slackwater.fitting.daily.typed import Typed, replaced, row_of
from slackwater.fitting.doubts.entries import Doubt
from slackwater.fitting.files import new_folder
from slackwater.fitting.keeping.confirming import confirmations
from slackwater.fitting.keeping.row import Row
from slackwater.fitting.logbook import readings_of
from slackwater.fitting.report.daily import text
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.serving.asked import Answered, Ask, Elsewhere, Shown, sent_again


def enter(ask: Ask, typed: Typed, day: dt.date, then: str) -> Answered:
    """Log one row, or ask about it.

    Args:
        ask: the request, whose form says `sure` where it was asked about before.
        typed: the row as it was typed.
        day: its date.
        then: the view that says what it means.

    Raises:
        SlackwaterError, OSError: as `logbook.enter`; nothing is written then.
    """
    season = ask.season
    held = readings_of(season.path) if typed.file == "readings" else None
    row = row_of(season.path, typed, day, held)
    doubts = doubts_of_rows(season.path, [row], ask.seasons.clock(), season)
    said = [sentence(doubt.reason) for doubt in doubts]
    if (there := replaced(season.path, row, held)) is not None:
        said.insert(0, text.in_its_place(day, there))
    if said and not ask.one("sure"):
        return _asking(ask, typed.what(day), said)
    make_folder(ask)
    found = log_row(season.path, row, typed.what(day), _right(doubts), season)
    today = ask.calendar.day
    return Elsewhere(then, [*text.logged(found, typed.what(day), today)], undoes=True)


def enter_many(ask: Ask, rows: Sequence[Row], what: str, then: str) -> Answered:
    """Log rows as one step, or ask about them; as `enter` otherwise."""
    season = ask.season
    doubts = doubts_of_rows(season.path, rows, ask.seasons.clock(), season) if rows else []
    if doubts and not ask.one("sure"):
        return _asking(ask, what, [sentence(doubt.reason) for doubt in doubts])
    if not rows:
        return Elsewhere(then, ["Nothing was filled in, so nothing was written."])
    make_folder(ask)
    entered = season.enter([*rows, *_right(doubts)], what)
    return Elsewhere(then, [*text.entered(entered, what)], undoes=bool(entered.files))


def make_folder(ask: Ask) -> None:
    """Make the folder of a season that is about to begin; never of one that was there before."""
    path = ask.season.path
    if ask.seasons.begins(ask.named) and not path.exists():
        new_folder(path)


def undo(ask: Ask) -> Answered:
    """Take back the last entry."""
    return Elsewhere(ask.one("then") or ask.to(), [*text.taken_back(ask.season.undo())])


def _right(doubts: Sequence[Doubt]) -> list[Row]:
    return confirmations(doubt.row for doubt in doubts)


def _asking(ask: Ask, what: str, said: Sequence[str]) -> Shown:
    facts = {
        "what": what,
        "said": said,
        "kept": sent_again(ask.form),
        "back": ask.one("back") or ask.to(),
    }
    return Shown("sure", "Is that right?", facts)
