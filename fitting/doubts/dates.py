"""Dates that are slips: of the year, of day and month, of tomorrow for today."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Final

from slackwater.fitting.doubts.history import DAY, History
from slackwater.model.errors import Reason

NEAR: Final = 14  # days that an entry comes late, or that lie between two of them
YEAR_TURN: Final = 366
_IN_ORDER: Final = 0.9  # of neighbouring rows, in a file that is kept in order of time


def today_of(clock: dt.date, history: History) -> dt.date | None:
    """Return what day it is for a season; None where the clock cannot say.

    A season that lies ahead of the clock, as an invented one may, has a calendar of its own.

    Args:
        clock: what the clock says.
        history: what is logged.
    """
    return None if history.middle and history.middle > clock else clock


def doubtful(date: dt.date, history: History, today: dt.date | None) -> Iterator[Reason]:
    """Yield the reason where an entry that comes in today should have another date.

    Args:
        date: what it is dated.
        history: what is logged.
        today: the day on which it comes in; None where that is not known: then it comes after
            what is logged.
    """
    span = history.span
    if today is not None and date > today:
        if span is None and date > today + YEAR_TURN * DAY:
            return  # an invented season begins
        said = str(_nearest(date, today, today) or today)
        yield Reason("in the future", column="date", date=str(date), today=str(today), meant=said)
        return
    about = today or (span[1] + DAY if span else None)
    if about is None or abs((about - date).days) <= NEAR:
        return
    meant = _nearest(date, about, today)
    if meant is not None:
        yield slip(date, meant)
    elif span and not span[0] - NEAR * DAY <= date <= max(span[1], today or span[1]) + NEAR * DAY:
        first, last = map(str, span)
        yield Reason("far from the others", column="date", date=str(date), first=first, last=last)


def slip(date: dt.date, meant: dt.date) -> Reason:
    """Return the reason to ask about a date where another was meant."""
    return Reason("a slip of the date", column="date", date=str(date), meant=str(meant))


def out_of_order(dates: Sequence[dt.date]) -> dict[int, dt.date]:
    """Return where a file's dates leave their order by a slip, and the date that was meant.

    Only in a file that is kept in order of time, and only where another year, or day and month
    exchanged, would put the row back in its place: rows added later may stand anywhere.

    Args:
        dates: of its rows, in their order.
    """
    found: dict[int, dt.date] = {}
    steps = [later >= earlier for earlier, later in pairwise(dates)]
    if not steps or sum(steps) < _IN_ORDER * len(steps):
        return found
    before: dt.date | None = None
    for place, date in enumerate(dates):
        after = dates[place + 1] if place + 1 < len(dates) else None
        if (meant := _between(date, before, after)) is None:
            before = date
        else:
            found[place] = before = meant
    return found


def _between(date: dt.date, before: dt.date | None, after: dt.date | None) -> dt.date | None:
    """Return the date that was meant by one that lies away from its neighbours."""
    sides = [side for side in (before, after) if side is not None]
    if before is None and after is not None and abs((after - date).days) <= YEAR_TURN // 2:
        return None  # a first row that starts a log, then a pause
    if any(abs((side - date).days) <= NEAR for side in sides):
        return None
    if before is not None and after is not None and before <= date <= after:
        return None
    fits = [
        other for other in _slips(date) if all(abs((side - other).days) <= NEAR for side in sides)
    ]
    return min(fits, key=lambda other: abs((sides[0] - other).days), default=None)


def _nearest(date: dt.date, about: dt.date, latest: dt.date | None) -> dt.date | None:
    """Return the slip's meaning that lies nearest to a day, None where none lies near it."""
    near = [
        other
        for other in _slips(date)
        if abs((other - about).days) <= NEAR and (latest is None or other <= latest)
    ]
    return max(near, default=None)


def _slips(date: dt.date) -> Iterable[dt.date]:
    """Yield what may have been meant: another year, or day and month exchanged."""
    for years in (-3, -2, -1, 1, 2, 3):
        yield from _day(date.year + years, date.month, date.day)
    yield from _day(date.year, date.day, date.month)


def _day(year: int, month: int, day: int) -> Iterable[dt.date]:
    try:
        yield dt.date(year, month, day)
    except ValueError:
        return
