"""Entries that were said to be right, as rows of confirmed.csv."""

from __future__ import annotations

from collections.abc import Iterable

from slackwater.fitting.doubts.entries import confirmation_of
from slackwater.fitting.intake.cells import ConfirmedRow, DayRow
from slackwater.fitting.keeping.row import Row


def confirmations(rows: Iterable[DayRow], there: Iterable[ConfirmedRow] = ()) -> list[Row]:
    """Return what is entered beside rows so that they are not asked about again.

    Args:
        rows: the entries that were said to be right.
        there: what confirmed.csv holds already.
    """
    known = {*there}
    new = dict.fromkeys(said for row in rows if (said := confirmation_of(row)) not in known)
    return [Row("confirmed", {"date": said.date, "entry": said.entry}) for said in new]
