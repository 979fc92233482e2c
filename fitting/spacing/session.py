"""Sessions by their dates, as they are logged."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np

from slackwater.model import names as n
from slackwater.model.season import Season


class Dated(NamedTuple):
    """A session by its date and type alone."""

    date: dt.date
    type: str


def log_of(season: Season) -> list[Dated]:
    """Return all sessions of a season's log, in order of time."""
    dates = season.data[n.SESSION_DATE].values
    labels = season.data[n.SESSION_TYPE].values
    return [Dated(day_of(d), str(t)) for d, t in zip(dates, labels, strict=True)]


def day_of(date: np.datetime64) -> dt.date:
    """Return a date as Python's own."""
    day: dt.date = date.astype("datetime64[D]").item()
    return day
