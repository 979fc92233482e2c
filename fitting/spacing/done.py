"""What became of planned sessions, from the log alone."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.records.plans import KeptPlan, KeptSession
from slackwater.model.season import DAY

ON_THE_DAY: Final = "on the day"
MOVED: Final = "moved"
MISSED: Final = "missed"
TO_COME: Final = "to come"
MOVED_AT_MOST: Final = 3  # days
MOVED_RULE: Final = (
    f"moved: another session of the type was done at most {MOVED_AT_MOST} days off, and no "
    "planned one stands for it; missed: none was"
)

Log = list[tuple[np.datetime64, str]]


class Done(NamedTuple):
    """What became of a planned session.

    Attributes:
        status: on the day, moved, missed or to come.
        date: when it was done; None where it was not.
    """

    status: str
    date: np.datetime64 | None


def became_of(sessions: list[KeptSession], log: Log, night: np.datetime64) -> list[Done]:
    """Say what became of each planned session: first those on the day, then the nearest moved.

    Args:
        sessions: the planned sessions.
        log: the sessions done, by date and type.
        night: the last reading's morning; what was not done before it was missed.
    """
    open_rows = list(log)
    became: dict[int, Done] = {}
    for i, session in enumerate(sessions):
        date = np.datetime64(session.date)
        if (date, session.type) in open_rows:
            open_rows.remove((date, session.type))
            became[i] = Done(ON_THE_DAY, date)
    pairs = sorted(
        (abs(int((row[0] - np.datetime64(session.date)) / DAY)), i, row)
        for i, session in enumerate(sessions)
        for row in open_rows
        if i not in became and row[1] == session.type
    )
    for off, i, row in pairs:
        if off <= MOVED_AT_MOST and i not in became and row in open_rows:
            open_rows.remove(row)
            became[i] = Done(MOVED, row[0])
    due = [Done(MISSED if np.datetime64(s.date) < night else TO_COME, None) for s in sessions]
    return [became.get(i, due[i]) for i in range(len(sessions))]


def followed(session: KeptSession, plan: KeptPlan, log: Log) -> bool:
    """Say whether all was done as its plan had it until a session's day, and nothing else."""
    first, last = np.datetime64(plan.made_from), np.datetime64(session.date)
    given = [(np.datetime64(s.date), s.type) for s in (*plan.logged, *plan.sessions)]
    foreseen, done = (
        sorted((date, label) for date, label in rows if first <= date < last)
        for rows in (given, log)
    )
    return foreseen == done


def beside(plans: list[KeptPlan], log: Log, became: list[Done], sessions: list[KeptSession]) -> int:
    """Count the sessions done on days of a plan that no plan foresaw."""
    days = {np.datetime64(plan.start) + DAY * day for plan in plans for day in range(plan.days)}
    rows = [row for row in log if row[0] in days]
    for done, session in zip(became, sessions, strict=True):
        if done.date in days:
            rows.remove((done.date, session.type))
    given = {(np.datetime64(s.date), s.type) for plan in plans for s in plan.logged}
    return sum(row not in given for row in rows)
