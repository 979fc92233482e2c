"""Dates as they are asked with."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from slackwater.model.errors import QuestionError

if TYPE_CHECKING:
    import numpy as np


def parse_date(text: str) -> np.datetime64:
    """Return the date that "YYYY-MM-DD" names.

    Raises:
        QuestionError: not of that form, or no day of the calendar.
    """
    import numpy as np  # which a line a day does without

    return np.datetime64(parse_day(text))


def parse_day(text: str) -> dt.date:
    """Return the same as a plain date."""
    try:
        day = dt.date.fromisoformat(text.strip())
    except ValueError:
        day = None
    # fromisoformat also reads 20310502 and week dates, which the season's files do not.
    if day is None or str(day) != text.strip():
        raise QuestionError(f"{text!r} is no date; write it as YYYY-MM-DD, such as 2031-05-02.")
    return day
