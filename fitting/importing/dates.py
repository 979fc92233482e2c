"""Dates as people and spreadsheets write them, and the orders of day, month and year they allow."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from functools import lru_cache
from typing import Final, Literal, NamedTuple, cast, get_args

from slackwater.fitting.importing.cells import Cell
from slackwater.fitting.importing.words import MONTHS, folded
from slackwater.fitting.intake.cells import FIRST_YEAR, LAST_YEAR

Order = Literal["day-first", "month-first", "year-first", "days-since-1900", "days-since-1904"]
ORDERS: Final = cast(tuple[Order, ...], get_args(Order))


# Where day number 0 lies (ECMA-376, part 1, 18.17.4.1: 1900 and 1904 date systems; the 1900 one
# counts a 29 February 1900, so that from March 1900 on day 0 is 30 December 1899).
_EPOCHS: Final = {
    "days-since-1900": dt.datetime(1899, 12, 30),
    "days-since-1904": dt.datetime(1904, 1, 1),
}
_FIRST_NUMBER: Final = 30_000  # 1982, of days since 1900
_LAST_NUMBER: Final = 60_000  # 2064
_KEPT: Final = 100_000  # cells whose meaning is kept, as each is asked for again and again
_TIME: Final = re.compile(
    r"[T ,]+(?:um |at )?(\d{1,2})[:.h](\d{2})(?:[:.]\d{2}(?:[.,]\d+)?)?\s*([ap]\.?m\.?)?(?: uhr)?"
    r"\s*(?:z|utc|gmt|[+-]\d{2}:?\d{2})?$",
    re.IGNORECASE,
)
_YEAR_FIRST: Final = re.compile(r"(\d{4})[-./ ](\d{1,2})[-./ ](\d{1,2})\.?")
_COMPACT: Final = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})")
_PARTS: Final = re.compile(r"(\d{1,2})\s*[-./ ]\s*(\d{1,2})\s*[-./ ]\s*(\d{4}|\d{2})\.?")
_NAMED: Final = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th|\.|er|º)?[\s./-]*(?:de |of )?([^\W\d]+)\.?[\s.,/-]*(?:de )?"
    r"(\d{4}|\d{2})"
)
_NAMED_FIRST: Final = re.compile(r"([^\W\d]+)\.?\s*(\d{1,2})(?:st|nd|rd|th)?[\s,]+(\d{4})")
_WEEKDAY: Final = re.compile(r"^[^\W\d]+\.?,?\s+(?=\d)|^[^\W\d]+\.?,\s+")


class Moment(NamedTuple):
    """A date as it stands in a cell.

    Attributes:
        day: the date.
        hour: the hour of the day, None where no time stands with it.
    """

    day: dt.date
    hour: int | None = None


def looks_dated(cell: Cell) -> bool:
    """Say whether a cell holds a date in some order; a bare number is none."""
    if isinstance(cell, dt.date):
        return True
    return isinstance(cell, str) and any(moment(cell, order) for order in ORDERS[:3])


def day_number(cell: Cell) -> bool:
    """Say whether a cell may be a spreadsheet's number of a day."""
    try:
        number = float(cell) if isinstance(cell, str | int | float) else 0.0
    except ValueError:
        return False
    return not isinstance(cell, bool) and _FIRST_NUMBER <= number <= _LAST_NUMBER


def orders(cells: Iterable[Cell]) -> list[Order]:
    """Return the orders in which the most of the cells are dates, those that differ, in `ORDERS`.

    One is enough where all say the same; none where no cell is a date in any.
    """
    given = [cell for cell in cells if cell not in (None, "")]
    read = {order: [moment(cell, order) for cell in given] for order in ORDERS}
    counts = {order: sum(m is not None for m in found) for order, found in read.items()}
    most = max(counts.values(), default=0)
    best: dict[tuple[Moment | None, ...], Order] = {}
    for order in ORDERS:
        if most and counts[order] == most:
            best.setdefault(tuple(read[order]), order)
    return list(best.values())


@lru_cache(_KEPT, typed=True)
def moment(cell: Cell, order: Order) -> Moment | None:
    """Return the date in a cell, by an order where it needs one; None where there is none."""
    if isinstance(cell, dt.datetime):
        at_midnight = cell.time() == dt.time()
        return _in_years(Moment(cell.date(), None if at_midnight else cell.hour))
    if isinstance(cell, dt.date):
        return _in_years(Moment(cell))
    if order in _EPOCHS:
        return _by_number(cell, order)
    if not isinstance(cell, str) or len(cell) > 60:
        return None
    text, hour = cell.strip(), None
    if timed := _TIME.search(text):
        hour = _hour(int(timed[1]), timed[3])
        if hour is None:
            return None
        text = text[: timed.start()]
    day = _day(text, order)
    return _in_years(Moment(day, hour)) if day else None


def _by_number(cell: Cell, order: Order) -> Moment | None:
    if not day_number(cell):
        return None
    when = _EPOCHS[order] + dt.timedelta(days=float(cast(float, cell)))
    return _in_years(Moment(when.date(), when.hour if when.time() != dt.time() else None))


def _day(text: str, order: Order) -> dt.date | None:
    text = _WEEKDAY.sub("", text) if not text[:1].isdigit() and not _month_first(text) else text
    if found := _YEAR_FIRST.fullmatch(text) or _COMPACT.fullmatch(text):
        return _date(int(found[1]), int(found[2]), int(found[3]))
    if found := _PARTS.fullmatch(text):
        one, two, three = found.groups()
        if order == "day-first":
            return _date(_year(three), int(two), int(one))
        if order == "month-first":
            return _date(_year(three), int(one), int(two))
        return _date(_year(one), int(two), int(three)) if len(three) == 2 else None
    if found := _NAMED.fullmatch(text):
        return _date(_year(found[3]), MONTHS.get(folded(found[2]), 0), int(found[1]))
    if found := _NAMED_FIRST.fullmatch(text):
        return _date(int(found[3]), MONTHS.get(folded(found[1]), 0), int(found[2]))
    return None


def _month_first(text: str) -> bool:
    return folded(text).split(" ")[0] in MONTHS


def _year(text: str) -> int:
    """Return a year; of two digits, one from 1990 to 2089."""
    year = int(text)
    return year if len(text) > 2 else year + (1900 if year >= FIRST_YEAR % 100 else 2000)


def _hour(hour: int, half: str | None) -> int | None:
    if half:
        hour = hour % 12 + (12 if half.casefold().startswith("p") else 0)
    return hour if hour < 24 else None


def _date(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _in_years(found: Moment) -> Moment | None:
    return found if FIRST_YEAR <= found.day.year <= LAST_YEAR else None
