"""One request as a view sees it, and what a view answers with."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Container, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from starlette.datastructures import UploadFile

from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.intake.dates import parse_day
from slackwater.fitting.serving.days import Calendar, calendar_of
from slackwater.fitting.serving.seasons import Seasons
from slackwater.fitting.serving.told import Told
from slackwater.fitting.serving.uploads import Uploads
from slackwater.fitting.serving.work import Works
from slackwater.model.errors import QuestionError


@dataclass(frozen=True)
class Shown:
    """A view's page.

    Attributes:
        template: its template's name, without the ending.
        title: what it answers, for the window's title.
        facts: what the template shows.
        status: of the response.
    """

    template: str
    title: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200


@dataclass(frozen=True)
class Elsewhere:
    """Another view that says what a change did.

    Attributes:
        path: of that view.
        lines: what the change did, a sentence each.
        undoes: whether it can be taken back by undoing the last entry.
    """

    path: str
    lines: Sequence[str] = ()
    undoes: bool = False


@dataclass(frozen=True)
class File:
    """A file to be kept by the browser.

    Attributes:
        name: what it is called.
        kind: its media type.
        content: what it holds.
    """

    name: str
    kind: str
    content: bytes


Answered = Shown | Elsewhere | File
SQUAD: Final = "/squad"  # the path of the view of all seasons together


@dataclass(frozen=True)
class Ask:
    """What is asked of a view.

    Attributes:
        seasons: all seasons.
        works: what runs in processes of its own.
        told: what earlier changes did.
        uploads: files that came before.
        query: what stands behind the path, each name once.
        form: what a form was filled with, each name as often as it came.
        files: the files that came with it, by name: the file's own name and content.
        named: the season's name; empty for views of none.
        found: the season; None where there is none of that name.
    """

    seasons: Seasons
    works: Works
    told: Told
    uploads: Uploads
    query: Mapping[str, str]
    form: Mapping[str, list[str]]
    files: Mapping[str, list[tuple[str, bytes]]]
    named: str = ""
    found: SeasonFolder | None = None

    @property
    def season(self) -> SeasonFolder:
        """The season that the view is about."""
        assert self.found is not None
        return self.found

    @property
    def calendar(self) -> Calendar:
        """The season's rows, and what day it is for it.

        Raises:
            SeasonFilesError: season.toml cannot be read.
        """
        clock = self.seasons.clock()
        found: Calendar = self.once(("calendar", clock), lambda: calendar_of(self.season, clock))
        return found

    def once(self, name: Any, told: Callable[[], Any]) -> Any:
        """Return what is told of the season, worked out once for its files as they are.

        Args:
            name: what it is known by, and with what it was asked.
            told: works it out.
        """
        kept = self.season.told
        if name not in kept:
            kept[name] = told()
        return kept[name]

    def one(self, name: str) -> str:
        """Return what a field was filled with, or the address has; empty where nothing was."""
        return (self.form.get(name) or [self.query.get(name, "")])[0].strip()

    def day(self, name: str) -> dt.date | None:
        """Return a field's date; None where it is empty.

        Raises:
            QuestionError: it holds something else.
        """
        given = self.one(name)
        return parse_day(given) if given else None

    def date(self, name: str, otherwise: dt.date) -> dt.date:
        """Return a field's date, or another where it is empty; errors as `day`."""
        return self.day(name) or otherwise

    def whole(self, name: str, otherwise: int, least: int = 0, most: int = 10_000) -> int:
        """Return a field's whole number.

        Raises:
            QuestionError: it holds something else, or a number out of range.
        """
        given = self.one(name)
        if not given:
            return otherwise
        if not given.isdecimal() or not least <= int(given) <= most:
            raise QuestionError(f"{given!r} is no whole number from {least} to {most}.")
        return int(given)

    def to(self, view: str = "") -> str:
        """Return the path of a view of this season."""
        return path_of(self.named, view)


def path_of(season: str, view: str = "") -> str:
    """Return the path of a season's view; the morning's where none is named."""
    from urllib.parse import quote

    return f"/s/{quote(season, safe='')}/{view}"


def sent_again(
    form: Mapping[str, Sequence[str]], but: Container[str] = ()
) -> list[tuple[str, str]]:
    """Return what a form was filled with, for another that sends it once more.

    Args:
        form: the fields.
        but: those that are left out, beside the token.
    """
    return [
        (name, value)
        for name, values in form.items()
        for value in values
        if name != "token" and name not in but
    ]


async def filled(form: Any) -> tuple[dict[str, list[str]], dict[str, list[tuple[str, bytes]]]]:
    """Return the fields and the files of a form."""
    fields: dict[str, list[str]] = {}
    files: dict[str, list[tuple[str, bytes]]] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            if value.filename:
                files.setdefault(name, []).append((value.filename, await value.read()))
        else:
            fields.setdefault(name, []).append(value)
    return fields, files
