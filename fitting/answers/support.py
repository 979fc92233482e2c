"""What the data can and cannot tell apart, in words."""

from __future__ import annotations

from typing import Final

from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n

FEW_SESSIONS: Final = 4


def session_counts(now: Standing) -> dict[str, int]:
    """Return how many sessions of each type the readings can show."""
    done = [str(t) for t in now.season.observed().data[n.SESSION_TYPE].values]
    return {str(t): done.count(str(t)) for t in now.draws[n.TYPE].values}


def confounded_types(now: Standing) -> dict[str, str]:
    """Return the types always trained on the same days as another, and what to do."""
    data = now.season.observed().data
    days: dict[str, set[str]] = {}
    for date, label in zip(data[n.SESSION_DATE].values, data[n.SESSION_TYPE].values, strict=True):
        days.setdefault(str(label), set()).add(str(date)[:10])
    together: dict[frozenset[str], list[str]] = {}
    for label, dates in days.items():
        together.setdefault(frozenset(dates), []).append(label)
    refused = {}
    for labels in together.values():
        if len(labels) > 1:
            listed = " and ".join(repr(label) for label in sorted(labels))
            why = (
                f"{listed} were always trained on the same days, so their recovery cannot be "
                "told apart; train each alone a few times, or log them as one type."
            )
            refused.update(dict.fromkeys(labels, why))
    return refused


def thin_types(now: Standing, types: list[str]) -> list[str]:
    """Return a sentence for each of these types that was trained only a few times."""
    counts = session_counts(now)
    return [
        f"{t!r} was trained {_times(counts[t])} only: its answer leans on the other types and "
        "on general experience."
        for t in types
        if counts[t] < FEW_SESSIONS
    ]


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
