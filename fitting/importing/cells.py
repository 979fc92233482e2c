"""A sheet of cells, as any kind of file becomes one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Final, NamedTuple

Cell = str | float | bool | dt.date | dt.datetime | dt.time | None

MOST_ROWS: Final = 50_000  # over a century of days
MOST_COLUMNS: Final = 1000
MOST_CELLS: Final = 2_000_000


class Row(NamedTuple):
    """One row.

    Attributes:
        number: its line or row in the file, from 1.
        cells: what stands in it; texts without blanks around them, None for nothing.
    """

    number: int
    cells: Sequence[Cell]

    @property
    def blank(self) -> bool:
        """Whether nothing stands in it."""
        return all(cell is None for cell in self.cells)

    def at(self, column: int) -> Cell:
        """Return the cell of a column, counted from 0; None where the row is shorter."""
        return self.cells[column] if column < len(self.cells) else None


class Sheet(NamedTuple):
    """One sheet; the only one of a text file has no name.

    Attributes:
        name: its name.
        rows: its rows, blank ones too.
    """

    name: str
    rows: Sequence[Row]


def plain(cell: object) -> Cell:
    """Return a cell as a plain Python value, None for what holds nothing."""
    if isinstance(cell, str):
        return cell.strip().strip("\ufeff") or None
    if isinstance(cell, dt.datetime):
        # A pandas time stamp is one, too; NaT is neither equal to itself nor of use.
        if cell != cell:
            return None
        return dt.datetime(cell.year, cell.month, cell.day, cell.hour, cell.minute, cell.second)
    if isinstance(cell, bool | dt.date | dt.time) or cell is None:
        return cell
    if isinstance(cell, dt.timedelta):
        return cell.total_seconds() / 60
    if hasattr(cell, "item"):  # numpy's numbers
        return plain(cell.item())
    if isinstance(cell, int | float):
        return None if cell != cell else cell
    return str(cell).strip() or None


def words_of(cell: Cell) -> str:
    """Return a cell as text, a whole number without its decimals; empty for nothing."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell)
