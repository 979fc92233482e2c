"""Foreign tables taken into a season folder: read, settled by answers, merged, entered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from slackwater.fitting.apart import ApartError, apart
from slackwater.fitting.doubts.coming import doubts_of_coming
from slackwater.fitting.doubts.entries import Doubt
from slackwater.fitting.files import read_whole
from slackwater.fitting.importing.book import Book, kind_of, read_book, read_packed
from slackwater.fitting.importing.choices import Choices, Question
from slackwater.fitting.importing.entries import Entry
from slackwater.fitting.importing.layout import part
from slackwater.fitting.importing.memory import Shape, remembering, shape_of, shapes
from slackwater.fitting.importing.merge import Merged
from slackwater.fitting.importing.merge import replacing as in_place
from slackwater.fitting.importing.proposal import Proposal, propose
from slackwater.fitting.intake.files import likely_season, names_in
from slackwater.fitting.intake.folder import read_rows
from slackwater.fitting.intake.problems import Problem, SeasonFilesError
from slackwater.fitting.intake.settings import SETTINGS_FILE
from slackwater.fitting.intake.tables import Tables, no_tables
from slackwater.fitting.keeping.confirming import confirmations
from slackwater.fitting.keeping.row import Row, as_entry
from slackwater.fitting.text import escaped
from slackwater.model.errors import QuestionError

if TYPE_CHECKING:
    from slackwater.fitting.folder import SeasonFolder


def there_already(season: Path) -> tuple[Tables, list[Shape]]:
    """Return what a season has, and the shapes that it knows; a new one has neither.

    Raises:
        SeasonFilesError: it cannot be read, or another was likely meant.
    """
    if not season.exists() and not season.is_symlink() and not likely_season(season):
        names_in(season.parent)
        return no_tables(), []
    tables, settings = read_rows(season)
    return tables, shapes(settings.imports)


def settled(
    name: str,
    data: bytes,
    choices: Choices,
    there: tuple[Tables, list[Shape]],
    answer: Callable[[Question], str | None],
) -> Proposal:
    """Return what a file is, its questions answered: as chosen, as remembered, or as asked.

    Args:
        name: the file's name.
        data: what it holds.
        choices: what was chosen beforehand.
        there: what the season has and knows.
        answer: answers a question; None leaves it and all behind it open.

    Raises:
        SeasonFilesError: the file cannot be read.
        QuestionError: what was chosen makes no sense.
    """
    tables, kept = there
    known = {
        "type": [*tables.sessions.values("type"), *tables.types.values("type")],
        "intervention": tables.interventions.values("intervention"),
        "stressor": tables.stressors.values("stressor"),
    }
    book = _read(name, data, choices, kept)
    while True:
        found = propose(book, choices, known, kept)
        if not found.questions or (given := answer(found.questions[0])) is None:
            return found
        asked = found.questions[0]
        choices = choices.with_answer(asked, given)
        if asked.about == "encoding":
            book = _read(name, data, choices, kept)


def coming_of(merged: Merged, replacing: bool) -> list[Entry]:
    """Return the entries that come in, those last that take the place of others."""
    return [*merged.added, *(in_place(merged.conflicts) if replacing else [])]


def doubts_of(coming: Sequence[Entry], tables: Tables) -> list[Doubt]:
    """Return what is to be asked about entries; `place` is each one's among them."""
    rows = [as_entry(Row(entry.file, entry.cells)) for entry in coming]
    return doubts_of_coming(rows, tables, dt.date.today())


def take_in(
    folder: SeasonFolder,
    found: Proposal,
    merged: Merged,
    replacing: bool,
    doubts: Sequence[Doubt],
    there: tuple[Tables, list[Shape]],
) -> None:
    """Enter what comes in, as one step, and keep in season.toml how the file was read.

    Args:
        folder: the season folder.
        found: what the file is.
        merged: its rows against the season's.
        replacing: whether they take the place of other ones.
        doubts: those that were said to be right.
        there: what the season had and knew.
    """
    tables, kept = there
    coming = coming_of(merged, replacing)
    if coming:
        added = len(merged.added)
        rows = [Row(e.file, e.cells, place >= added) for place, e in enumerate(coming)]
        rows += confirmations((doubt.row for doubt in doubts), tables.confirmed.rows)
        folder.enter(rows, f"import of {escaped(found.book.file)}")
    read = [shape_of(plan, found.book.encoding, found.book.separator) for plan in found.plans]
    new = [shape for n, shape in enumerate(read) if shape not in (*kept, *read[:n])]
    if new:
        path = folder.path / SETTINGS_FILE
        content = read_whole(path) if path.exists() else b""
        folder.write(SETTINGS_FILE, remembering(content, new))


def _read(name: str, data: bytes, choices: Choices, kept: Sequence[Shape]) -> Book:
    """Return a file's sheets; a text's as a shape that was read before is encoded."""
    if kind_of(data) != "text":
        return _apart(name, data)
    book = read_book(name, data, choices.encoding, choices.separator)
    for headers, before in kept:
        if choices.encoding or before.encoding not in book.encodings[1:]:
            continue
        other = read_book(name, data, before.encoding, choices.separator or before.separator)
        if tuple(header.text for header in part(other.sheets[0]).headers) == headers:
            return replace(other, encodings=())
    return book


def _apart(name: str, data: bytes) -> Book:
    try:
        found: Book | list[Problem] | str = apart(read_packed, name, data)
    except ApartError as error:
        mend = "open it in a spreadsheet and save the sheet that matters as CSV"
        what = f"it cannot be read ({error})"
        raise SeasonFilesError([Problem(name, 1, 1, what, mend)]) from None
    if isinstance(found, list):
        raise SeasonFilesError(found)
    if isinstance(found, str):
        raise QuestionError(found)
    return found
