"""A plan as an iCalendar file (RFC 5545): one all-day event a session, and nothing else."""

from __future__ import annotations

import datetime as dt
import unicodedata
from typing import Final
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Event

from slackwater.fitting.records.plans import Session
from slackwater.fitting.report import words
from slackwater.fitting.spacing.plan import SpacingPlan

PRODUCT: Final = "-//slackwater//spacing//EN"
_NAMESPACE: Final = uuid5(NAMESPACE_URL, "urn:slackwater:planned-session")


def as_calendar(plan: SpacingPlan, made: dt.datetime) -> bytes:
    """Return a plan's sessions as the content of an iCalendar file.

    Events are whole days, with the day after as their (exclusive) end. A session keeps its
    UID when the plan is made anew from the same first day: the n-th session of a type.

    Args:
        plan: a plan that fits.
        made: when the file is made, in UTC.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    done: list[str] = []
    for session in plan.sessions:
        calendar.add_component(_event(plan, session, done.count(session.type), made))
        done.append(session.type)
    return bytes(calendar.to_ical())


def _event(plan: SpacingPlan, session: Session, which: int, made: dt.datetime) -> Event:
    identity = (plan.about.season, plan.first_night, plan.start, session.type, which)
    event = Event()
    event.add("uid", str(uuid5(_NAMESPACE, "\n".join(map(str, identity)))))
    event.add("dtstamp", made.astimezone(dt.UTC).replace(microsecond=0))
    event.add("dtstart", session.date)
    event.add("dtend", session.date + dt.timedelta(days=1))
    event.add("summary", _plain(session.type))
    event.add(
        "description",
        f"Chance to be recovered this morning: {words.chance(session.chance)} "
        f"(asked for: {words.chance(session.asked)}), as foreseen on {plan.about.last_night}. "
        "How you feel comes first.",
    )
    return event


def _plain(text: str) -> str:
    """Return text without control characters, which RFC 5545 does not allow in one."""
    return "".join(" " if unicodedata.category(c) == "Cc" and c != "\n" else c for c in text)
