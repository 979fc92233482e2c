"""The same night read twice, the same session logged twice."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from slackwater.fitting.doubts.history import History, ln_of
from slackwater.fitting.intake.cells import DayRow, ReadingRow, SessionRow
from slackwater.model.errors import Reason

_OFTEN: Final = 0.1  # of a type's days: whoever trains it twice a day so often may do so again


def doubtful(row: DayRow, history: History, inside: bool = False) -> Iterator[Reason]:
    """Yield the reason where a row says again what is logged.

    Args:
        row: a reading or a session; others cannot stand twice in a file.
        history: what else is logged.
        inside: whether the row itself is among it.
    """
    if isinstance(row, ReadingRow) and not inside:
        there = history.reading(row.date)
        if there is not None:
            now, before = math.exp(ln_of(row)), math.exp(there)
            yield Reason("a night's second reading", column="date", date=str(row.date), ms=now,
                         there_ms=before)  # fmt: skip
    elif isinstance(row, SessionRow) and history.same_sessions(row) > inside:
        days = history.trained[row.type]
        doubled = sum(count > 1 for day, count in days.items() if day != row.date)
        if doubled <= _OFTEN * len(days):
            yield Reason("the same session twice", column="type", date=str(row.date),
                         type=row.type, dose=row.dose)  # fmt: skip
