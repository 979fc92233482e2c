"""One entry, or many at once, against what is logged: whatever is to be asked about."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple

from slackwater.fitting.doubts import dates, doses, labels, readings, twice
from slackwater.fitting.doubts.foreseen import Foreseen
from slackwater.fitting.doubts.history import History, ln_of
from slackwater.fitting.intake.cells import (
    ConfirmedRow,
    DayRow,
    ReadingRow,
    SessionRow,
)
from slackwater.model.errors import Reason

Forecast = Callable[[dt.date], Foreseen | None]


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


def entry_of(row: DayRow) -> str:
    """Return what an entry says, but for its date and its note, on one line.

    This is what a confirmed entry is known by, whatever line of its file it stands in.
    """
    match row:
        case ReadingRow():  # to 5 digits, as ms that became ln and ms again keep them
            said = f"reading {math.exp(ln_of(row)):.5g} ms"
            return f"{said}, {row.sensor}" if row.sensor else said
        case SessionRow():
            return f"session {row.type}, dose {row.dose:.5g}"
    return " ".join(_name(row))


def confirmation_of(row: DayRow) -> ConfirmedRow:
    """Return the row of confirmed.csv that says that an entry is right."""
    return ConfirmedRow(row.date, entry_of(row))


def doubts_of(
    row: DayRow,
    history: History,
    *,
    foreseen: Foreseen | None = None,
    today: dt.date | None = None,
    confirmed: Iterable[ConfirmedRow] = (),
) -> list[Reason]:
    """Return what is to be asked about an entry that comes in.

    Args:
        row: the entry.
        history: what is logged, without it.
        foreseen: the model's forecast of that morning's reading, where there is one.
        today: the day on which it comes in; None where the clock cannot say (`dates.today_of`).
        confirmed: entries that were said to be right, and are not asked about again.
    """
    if confirmation_of(row) in {*confirmed}:
        return [*twice.doubtful(row, history)]
    return [
        *dates.doubtful(row.date, history, today),
        *twice.doubtful(row, history),
        *labels.doubtful(row, history),
        *_numbers(row, history, lambda _: foreseen, inside=False),
    ]


def doubts_among(
    rows: Sequence[DayRow],
    history: History,
    *,
    forecast: Forecast = lambda _: None,
    today: dt.date | None = None,
    confirmed: Iterable[ConfirmedRow] = (),
) -> list[Doubt]:
    """Return what is to be asked about many entries of a file, each judged by all others.

    Args:
        rows: the entries, in the order in which they stand.
        history: all that is logged, these entries among it.
        forecast: from a morning to the model's forecast of it, None where there is none.
        today: as for `doubts_of`.
        confirmed: likewise.
    """
    right, seen = {*confirmed}, set[ConfirmedRow]()
    named = {_name(row) for row in rows if confirmation_of(row) in right}  # names are right then
    slips = dates.out_of_order([row.date for row in rows])
    found = []
    for place, row in enumerate(rows):
        said = confirmation_of(row)
        if said in right:
            continue
        reasons: list[Reason] = []
        if place in slips:
            reasons.append(dates.slip(row.date, slips[place]))
        elif today is not None and row.date > today:
            reasons += dates.doubtful(row.date, history, today)
        if said in seen:
            reasons += twice.doubtful(row, history, inside=True)
        if _name(row) not in named:
            reasons += labels.doubtful(row, history, inside=True)
        reasons += _numbers(row, history, forecast, inside=True)
        found += [Doubt(place, row, reason) for reason in reasons]
        named.add(_name(row))
        seen.add(said)
    return found


def _numbers(row: DayRow, history: History, forecast: Forecast, inside: bool) -> Iterator[Reason]:
    if isinstance(row, ReadingRow):
        yield from readings.unlikely(row, history, forecast(row.date))
    elif isinstance(row, SessionRow):
        yield from doses.unlikely(row, history, inside)


def _name(row: DayRow) -> tuple[str, str]:
    """Return a row's name and its kind; a name is asked about once."""
    column = labels.COLUMN[type(row)]
    return column, str(getattr(row, column))
