"""What a question's terminal text says, as pieces of a page: the same words, once.

The text's tables become tables, its lines paragraphs; bars of characters, which stand beside
their numbers, are left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table as RichTable
from rich.text import Text

from slackwater.fitting.report.page.part import Table
from slackwater.fitting.report.terminal.drawing import Strip
from slackwater.fitting.report.terminal.pieces import Details


@dataclass(frozen=True)
class Line:
    """A paragraph.

    Attributes:
        text: what it says.
        leads: whether it heads what follows.
    """

    text: str
    leads: bool = False


@dataclass(frozen=True)
class Facts:
    """Facts by their names.

    Attributes:
        rows: a name and what is so called.
    """

    rows: tuple[tuple[str, str], ...]


Piece = Line | Facts | Table


def pieces(told: Iterable[RenderableType]) -> list[Piece]:
    """Return a text's pieces in order, without its heading, which names season and question.

    Args:
        told: the text, as a question of the table tells it.
    """
    first, *others = told
    assert isinstance(first, Text)
    caption = first.plain.partition(": ")[2]
    found: list[Piece] = []
    for piece in _unpacked(others):
        if isinstance(piece, RichTable):
            found.append(_table(piece, caption))
            continue
        text = _plain(piece)
        if not text:
            continue
        leads = isinstance(piece, Text) and piece.style == "bold"
        caption = text.rstrip(".:") if leads else caption
        found.append(Line(text, leads))
    return found


def as_plain(found: Iterable[Piece]) -> list[dict[str, Any]]:
    """Return pieces as what JSON can hold."""
    return [{"is": type(piece).__name__, **asdict(piece)} for piece in found]


def from_plain(found: Iterable[Mapping[str, Any]]) -> list[Piece]:
    """Return pieces that were made plain."""
    made: list[Piece] = []
    for piece in found:
        match piece:
            case {"is": "Line", "text": text, "leads": leads}:
                made.append(Line(text, leads))
            case {"is": "Facts", "rows": rows}:
                made.append(Facts(tuple((name, value) for name, value in rows)))
            case {"caption": caption, "head": head, "rows": rows}:
                made.append(Table(caption, tuple(head), tuple(map(tuple, rows))))
    return made


def _unpacked(told: Iterable[RenderableType]) -> Iterator[RenderableType]:
    for piece in told:
        if isinstance(piece, Padding):
            yield piece.renderable
        else:
            yield piece.piece if isinstance(piece, Details) else piece


def _table(table: RichTable, caption: str) -> Facts | Table:
    columns = [[*column.cells] for column in table.columns]
    if not table.show_header:
        names, values = columns
        return Facts(tuple((_plain(n), _plain(v)) for n, v in zip(names, values, strict=True)))
    shown = [
        (_plain(column.header), [_plain(cell) for cell in cells])
        for column, cells in zip(table.columns, columns, strict=True)
        if not _drawn(cells)
    ]
    head = tuple(name for name, _ in shown)
    rows = tuple(zip(*(cells for _, cells in shown), strict=True))
    return Table(caption, head, rows)


def _drawn(cells: list[RenderableType]) -> bool:
    """Return whether a column holds bars or strips."""
    return any(isinstance(c, Strip) or (isinstance(c, Text) and c.no_wrap) for c in cells)


def _plain(piece: RenderableType) -> str:
    return (piece.plain if isinstance(piece, Text) else str(piece)).strip()
