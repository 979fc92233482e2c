"""What the data can and cannot tell apart."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import Reason
from slackwater.model.season import Season

FEW_SESSIONS: Final = 4
OWN: Final = 0.05  # a range is four times as wide there as where types are told apart


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


def types_in_a_row(now: Standing) -> list[Reason]:
    """Return a reason for the types that always follow one another in the same way, if any do.

    A type counts as such when the other types' dips and rates make up for a change of its own dip
    or rate on nearly all nights that were read: where all of them recover alike, less than
    `OWN` of what either does to the readings is its own (the tolerance of collinear regressors;
    Belsley, Kuh & Welsch 1980, Regression Diagnostics; from memory).
    """
    same_days = confounded_types(now)
    labels = [label for label in now.types if label not in same_days]
    if len(labels) < 2:
        return []
    own = _own_shares(now, labels)
    rows = [label for label, share in zip(labels, own, strict=True) if share < OWN]
    return [Reason("always in a row", types=rows)] if rows else []


def _own_shares(now: Standing, labels: list[str]) -> NDArray[np.float64]:
    """Return how much of what a type's dip or rate does to readings is its own, shape (types,)."""
    season = now.season.through(now.fitted_to)
    count, nights = len(labels), np.arange(len(season.nights))
    rate = float(np.exp(np.median(now.parameter(n.TYPE_LOG_RATE))))
    does = np.zeros((2 * count, len(nights)))
    types = season.data[n.SESSION_TYPE].values
    for night, label in zip(season.session_nights(), types, strict=True):
        if str(label) in labels:
            kind, age = labels.index(str(label)), nights[night:] - night
            does[kind, night:] += np.exp(-rate * age)
            does[count + kind, night:] += rate * age * np.exp(-rate * age)
    read = does[:, season.read]
    read = read - read.mean(axis=1, keepdims=True)
    size = np.sqrt((read**2).sum(axis=1, keepdims=True))
    alike = (read / size) @ (read / size).T + 1e-9 * np.eye(2 * count)  # singular where the same
    own = 1 / np.diag(np.linalg.inv(alike))
    return np.asarray(np.minimum(own[:count], own[count:]))
