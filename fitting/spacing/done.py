"""What became of planned sessions, from the log alone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Final, NamedTuple

from slackwater.fitting.records.plans import KeptPlan, Session
from slackwater.fitting.spacing.session import Dated

ON_THE_DAY: Final = "on the day"
MOVED: Final = "moved"
MISSED: Final = "missed"
TO_COME: Final = "to come"
MOVED_AT_MOST: Final = 3  # days


class Done(NamedTuple):
    """What became of a planned session.

    Attributes:
        status: on the day, moved, missed or to come.
        date: when it was done; None where it was not.
    """

    status: str
    date: dt.date | None


def became_of(sessions: Sequence[Session], log: Sequence[Dated], night: dt.date) -> list[Done]:
    """Say what became of each planned session: first those on the day, then the nearest moved.

    Args:
        sessions: the planned sessions.
        log: the sessions done, by date and type.
        night: the last reading's morning; what was not done before it was missed.
    """
    open_rows = list(log)
    became: dict[int, Done] = {}
    for i, session in enumerate(sessions):
        row = Dated(session.date, session.type)
        if row in open_rows:
            open_rows.remove(row)
            became[i] = Done(ON_THE_DAY, row.date)
    pairs = sorted(
        (abs((row.date - session.date).days), i, row)
        for i, session in enumerate(sessions)
        for row in open_rows
        if i not in became and row.type == session.type
    )
    for off, i, row in pairs:
        if off <= MOVED_AT_MOST and i not in became and row in open_rows:
            open_rows.remove(row)
            became[i] = Done(MOVED, row.date)
    due = [Done(MISSED if s.date < night else TO_COME, None) for s in sessions]
    return [became.get(i, due[i]) for i in range(len(sessions))]


def followed(session: Session, plan: KeptPlan, log: Sequence[Dated]) -> bool:
    """Say whether all was done as its plan had it until a session's day, and nothing else."""
    given = [Dated(s.date, s.type) for s in (*plan.logged, *plan.sessions)]
    foreseen, done = (
        sorted(row for row in rows if plan.made_from <= row.date < session.date)
        for rows in (given, log)
    )
    return foreseen == done


def beside(
    plans: Sequence[KeptPlan],
    log: Sequence[Dated],
    became: Sequence[Done],
    sessions: Sequence[Session],
) -> int:
    """Count the sessions done on days of a plan that no plan foresaw."""
    days = {plan.start + dt.timedelta(days=day) for plan in plans for day in range(plan.days)}
    rows = [row for row in log if row.date in days]
    for done, session in zip(became, sessions, strict=True):
        if done.date in days:
            rows.remove(Dated(done.date, session.type))
    given = {(s.date, s.type) for plan in plans for s in plan.logged}
    return sum(row not in given for row in rows)
