"""What a page is put together from, and the few words that all parts share."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import Final

_FIRST_STRONG_ISOLATE: Final = "\u2068"
_POP_ISOLATE: Final = "\u2069"
_RIGHT_TO_LEFT: Final = ("R", "AL", "AN", "RLE", "RLO", "RLI", "LRO", "LRE")


@dataclass(frozen=True)
class Table:
    """A table of a part; the first column heads its rows.

    Attributes:
        caption: what it shows.
        head: the columns' names.
        rows: cells as they are shown, as many as `head`.
        slim: whether its columns stand beside each other on a phone, too.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    slim: bool = False


@dataclass(frozen=True)
class Picture:
    """One picture, drawn for two widths, as inline SVG.

    Attributes:
        narrow: for a phone.
        wide: for a desk and for paper.
    """

    narrow: str
    wide: str


@dataclass(frozen=True)
class Day:
    """One day of a calendar.

    Attributes:
        date: ISO.
        name: as a person says it.
        told: what is on it, and a word on each; empty where nothing is.
    """

    date: str
    name: str
    told: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Part:
    """One question of the page with its answer; it can be shown by itself.

    Attributes:
        id: its anchor on the page.
        title: the question or what it is about.
        sentences: the answer in words, the most important first.
        table: the numbers, or None.
        picture: the picture, or None.
        picture_text: what the picture shows, with the numbers; empty without one.
        notes: how to take it: rules, and what words mean.
        minds: what to mind with the answer.
        weeks: whole weeks of a calendar, Monday first.
    """

    id: str
    title: str
    sentences: tuple[str, ...]
    table: Table | None = None
    picture: Picture | None = None
    picture_text: str = ""
    notes: tuple[str, ...] = ()
    minds: tuple[str, ...] = ()
    weeks: tuple[tuple[Day, ...], ...] = ()


def refusal(id: str, title: str, why: str) -> Part:
    """Return the part that says why a question has no answer."""
    return Part(id, title, (why,))


def named(label: str) -> str:
    """Return a name as it stands in a sentence, on one line.

    A name in a script that runs from right to left is set apart, so that it does not turn the
    words around it.
    """
    shown = " ".join("".join(" " if _control(c) else c for c in label).split())
    if any(unicodedata.bidirectional(c) in _RIGHT_TO_LEFT for c in shown):
        return f"{_FIRST_STRONG_ISOLATE}{shown}{_POP_ISOLATE}"
    return shown


def _control(character: str) -> bool:
    return unicodedata.category(character) == "Cc"
