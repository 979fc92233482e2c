"""The morning that a night belongs to, and the hours of it that are asked for."""

from __future__ import annotations

import datetime as dt
import re
from typing import Final, NamedTuple

from slackwater.fitting.beats.recording import DAY_S, Recording
from slackwater.model.errors import QuestionError

EVENING: Final = 18  # o'clock: a night that ends from then on belongs to the next morning
FIRST_YEAR: Final = 1990
LAST_YEAR: Final = 2100

Edge = dt.time | float | None  # a clock time, hours from the start, or the recording's own end

_DATE: Final = r"(?<![0-9])((?:19|20)[0-9]{2})(-?)([01][0-9])\2([0-3][0-9])"
_CLOCK: Final = r"(?:[T_ -]([0-2][0-9])[-:.h]?([0-5][0-9])(?:[-:.]?([0-5][0-9]))?(?![0-9]))?"
_STAMP: Final = re.compile(_DATE + _CLOCK + r"(?![0-9])")


class Stamp(NamedTuple):
    """A date in a name or a header, with the clock where one stands beside it."""

    day: dt.date
    starts: dt.datetime | None


class Window(NamedTuple):
    """A stretch of a recording, seconds from its start."""

    since_s: float
    until_s: float


def stamp_in(text: str) -> Stamp | None:
    """Return the date that a text names, None where it names none or more than one.

    A date is written 2031-05-02 or 20310502; a clock may follow it, as in 2031-05-01_2248.
    """
    found = []
    for year, _, month, day, hour, minute, second in _STAMP.findall(text):
        try:
            date = dt.date(int(year), int(month), int(day))
            starts = None
            if hour:
                clock = dt.time(int(hour), int(minute), int(second or 0))
                starts = dt.datetime.combine(date, clock)
        except ValueError:
            continue
        if FIRST_YEAR <= date.year <= LAST_YEAR:
            found.append(Stamp(date, starts))
    return found[0] if len(found) == 1 else None


def morning_of(end: dt.datetime) -> dt.date:
    """Return the date of the morning on which a night ended, from the clock at its end."""
    return end.date() + dt.timedelta(days=end.hour >= EVENING)


def window_of(recording: Recording, begin: Edge, end: Edge) -> Window:
    """Return the stretch of a recording between two clock times or hours.

    Of two nights in a long recording, a clock time means that in which more is recorded.

    Raises:
        QuestionError: a clock time, where the recording's own is not known; an end that does not
            lie after the begin; nothing recorded between them.
    """
    if recording.starts is None and (isinstance(begin, dt.time) or isinstance(end, dt.time)):
        raise QuestionError(
            "The file does not say at what time it starts, so clock times name nothing in it; give "
            "hours from its start, such as 1.5."
        )
    length = recording.length_s
    since = [0.0]
    if isinstance(begin, dt.time):
        after = _after_start(recording, begin)
        since = [after, after - DAY_S]
    elif begin is not None:
        since = [begin * 3600]
    windows = [Window(max(s, 0.0), min(_until(recording, s, end), length)) for s in since]
    widest = max(windows, key=lambda window: window.until_s - window.since_s)
    if end is None and isinstance(begin, dt.time) and since[0] < length:
        widest = windows[0]
    if widest.until_s <= widest.since_s:
        raise QuestionError(
            f"No beats lie between these hours: the recording lasts {length / 3600:.1f} hours."
        )
    return widest


def _until(recording: Recording, since_s: float, end: Edge) -> float:
    if end is None:
        return recording.length_s
    if not isinstance(end, dt.time):
        return end * 3600
    after = _after_start(recording, end) - DAY_S
    while after <= since_s:
        after += DAY_S
    return after


def _after_start(recording: Recording, clock: dt.time) -> float:
    """Return how many seconds after the start the clock first shows a time."""
    assert recording.starts is not None
    day = dt.datetime.combine(recording.starts.date(), clock)
    return (day - recording.starts.replace(tzinfo=None)).total_seconds() % DAY_S


def morning(recording: Recording, window: Window, name: str) -> dt.date | None:
    """Return the date of a night, None where nothing tells it.

    The clock of its last beat comes first; then a clock in the file's name, as that of the start;
    then a date without a clock in the file's header or its name, which is taken for the morning.

    Args:
        recording: the whole recording.
        window: the stretch that makes the reading.
        name: the file's name.
    """
    named = stamp_in(name)
    starts = recording.starts or (named and named.starts)
    if starts:
        return morning_of(starts + dt.timedelta(seconds=window.until_s))
    return recording.day or (named and named.day)
