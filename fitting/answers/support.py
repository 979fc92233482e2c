"""What the data can and cannot tell apart."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import Reason
from slackwater.model.season import Season

FEW_SESSIONS: Final = 4


def training_days(season: Season) -> dict[str, list[str]]:
    """Return the dates on which each type was trained that readings can show, in order."""
    data = season.observed().data
    dates = data[n.SESSION_DATE].values.astype("datetime64[D]")
    days: dict[str, list[str]] = {}
    for date, label in zip(dates, data[n.SESSION_TYPE].values, strict=True):
        days.setdefault(str(label), []).append(str(date))
    return days


def session_counts(now: Standing) -> dict[str, int]:
    """Return how many sessions of each type of the fit the readings can show."""
    days = training_days(now.season)
    return {label: len(days.get(label, ())) for label in now.types}


def confounded_types(now: Standing) -> dict[str, Reason]:
    """Return the types always trained on the same days as another, and why that is no answer."""
    together: dict[frozenset[str], list[str]] = {}
    for label, dates in training_days(now.season).items():
        together.setdefault(frozenset(dates), []).append(label)
    return {
        label: Reason("always the same days", types=sorted(labels))
        for labels in together.values()
        if len(labels) > 1
        for label in labels
    }


def thin_types(now: Standing, types: Iterable[str]) -> list[Reason]:
    """Return a reason for each of these types that was trained only a few times."""
    counts = session_counts(now)
    return [
        Reason("trained a few times", type=t, sessions=counts[t])
        for t in types
        if counts[t] < FEW_SESSIONS
    ]
