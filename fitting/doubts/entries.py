"""One entry, or many at once, against what is logged: whatever is to be asked about."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final, NamedTuple

from slackwater.fitting.doubts import dates, doses, labels, readings, twice
from slackwater.fitting.doubts.foreseen import Foreseen
from slackwater.fitting.doubts.history import History
from slackwater.fitting.intake.cells import (
    DayRow,
    InterventionRow,
    ReadingRow,
    Row,
    SessionRow,
    StressorRow,
)
from slackwater.model.errors import Reason

Forecast = Callable[[dt.date], Foreseen | None]
Entry = tuple[str, ...]
_KEYS: Final[dict[type[Row], tuple[str, ...]]] = {
    ReadingRow: ("date", "rmssd_ms", "ln_rmssd", "sensor"),
    SessionRow: ("date", "type", "dose"),
    InterventionRow: ("date", "intervention"),
    StressorRow: ("date", "stressor"),
}


class Doubt(NamedTuple):
    """One entry among many that is to be asked about.

    Attributes:
        place: its place among them, from 0.
        row: the entry.
        reason: what is doubted, with its numbers; `column` among its facts says where.
    """

    place: int
    row: DayRow
    reason: Reason


def entry_of(row: DayRow) -> Entry:
    """Return what an entry says, as texts: its file, then its cells but for notes."""
    cells = (getattr(row, name) for name in _KEYS[type(row)])
    return (row.file, *(_plain(cell) for cell in cells if cell is not None))


def doubts_of(
    row: DayRow,
    history: History,
    *,
    foreseen: Foreseen | None = None,
    today: dt.date | None = None,
) -> list[Reason]:
    """Return what is to be asked about an entry that comes in.

    Args:
        row: the entry.
        history: what is logged, without it.
        foreseen: the model's forecast of that morning's reading, where there is one.
        today: the day on which it comes in; None where the clock cannot say (`dates.today_of`).
    """
    wrong_day = [*dates.doubtful(row.date, history, today), *twice.doubtful(row, history)]
    return [*wrong_day, *_values(row, history, foreseen, inside=False)]


def doubts_among(
    rows: Sequence[DayRow],
    history: History,
    *,
    forecast: Forecast = lambda _: None,
    today: dt.date | None = None,
    confirmed: Iterable[Entry] = (),
) -> list[Doubt]:
    """Return what is to be asked about many entries of a file, each judged by all others.

    Args:
        rows: the entries, in the order in which they stand.
        history: all that is logged, these entries among it.
        forecast: from a morning to the model's forecast of it, None where there is none.
        today: as for `doubts_of`.
        confirmed: entries that were said to be right, and are not asked about again.
    """
    right = {*confirmed}
    named = {_name(row) for row in rows if entry_of(row) in right}  # so said to be right as well
    slips = dates.out_of_order([row.date for row in rows])
    found = []
    for place, row in enumerate(rows):
        if entry_of(row) in right:
            continue
        foreseen = forecast(row.date) if isinstance(row, ReadingRow) else None
        reasons = _values(row, history, foreseen, inside=True, named=_name(row) in named)
        named.add(_name(row))
        if place in slips:
            slip = Reason("a slip of the date", column="date", date=str(row.date),
                          meant=str(slips[place]))  # fmt: skip
            reasons.insert(0, slip)
        elif today is not None and row.date > today:
            reasons[:0] = dates.doubtful(row.date, history, today)
        found += [Doubt(place, row, reason) for reason in reasons]
    return found


def _values(
    row: DayRow, history: History, foreseen: Foreseen | None, inside: bool, named: bool = False
) -> list[Reason]:
    """Return what is doubted of a row's cells but for its date; its name unless it was before."""
    reasons = [] if named else [*labels.doubtful(row, history, inside)]
    if inside:
        reasons += twice.doubtful(row, history, inside)
    if isinstance(row, ReadingRow):
        reasons += readings.unlikely(row, history, foreseen)
    elif isinstance(row, SessionRow):
        reasons += doses.unlikely(row, history, inside)
    return reasons


def _name(row: DayRow) -> tuple[str, Any]:
    """Return a row's name and its kind; a name is asked about once."""
    column = labels.COLUMN[type(row)]
    return column, getattr(row, column)


def _plain(cell: Any) -> str:
    return f"{cell:.6g}" if isinstance(cell, float) else str(cell)
