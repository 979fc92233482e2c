"""Plans made by hand, as they are kept."""

from __future__ import annotations

from collections.abc import Sequence

from slackwater.fitting.records.plans import KeptPlan
from slackwater.model.season import DAY
from tests.fitting.answers.by_hand import FIRST


def date(day: int) -> str:
    return str(FIRST + DAY * day)


def plan(
    *sessions: tuple[int, str, float],
    start: int | None = None,
    days: int = 10,
    logged: Sequence[tuple[int, str]] = (),
) -> KeptPlan:
    """Return a plan by days from the first reading's, with what it promised."""
    first = sessions[0][0] if start is None else start
    rows = [
        {"date": date(day), "type": label, "fixed": False, "chance": chance, "asked": 0.5}
        for day, label, chance in sessions
    ]
    return KeptPlan.model_validate(
        {
            "schema": 1,
            "season": "spring",
            "made_from": date(first),
            "start": date(first),
            "days": days,
            "rest": [],
            "logged": [{"date": date(day), "type": label} for day, label in logged],
            "sessions": rows,
        }
    )
