"""A plan as an iCalendar file (RFC 5545): one all-day event a session, and nothing else."""

from __future__ import annotations

import datetime as dt
import os
import unicodedata
from pathlib import Path
from typing import Any, Final
from uuid import NAMESPACE_URL, uuid5

import xarray as xr
from icalendar import Calendar, Event

from slackwater.fitting.report import words
from slackwater.model.errors import QuestionError

PRODUCT: Final = "-//slackwater//spacing//EN"
_NAMESPACE: Final = uuid5(NAMESPACE_URL, "urn:slackwater:planned-session")


def as_calendar(answer: xr.Dataset, made: dt.datetime) -> bytes:
    """Return a plan's sessions as the content of an iCalendar file.

    Events are whole days, with the day after as their (exclusive) end. A session keeps its
    UID when the plan is made anew from the same first day: the n-th session of a type.

    Args:
        answer: a plan that fits, from `spacing`.
        made: when the file is made, in UTC.
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    done: list[str] = []
    for session in answer.attrs["sessions"]:
        label = session["type"]
        calendar.add_component(_event(answer, session, done.count(label), made))
        done.append(label)
    return bytes(calendar.to_ical())


def _event(answer: xr.Dataset, session: dict[str, Any], which: int, made: dt.datetime) -> Event:
    facts = answer.attrs
    date = dt.date.fromisoformat(session["date"])
    identity = (facts["season"], facts["first_night"], facts["start"], session["type"], str(which))
    event = Event()
    event.add("uid", str(uuid5(_NAMESPACE, "\n".join(identity))))
    event.add("dtstamp", made.astimezone(dt.UTC).replace(microsecond=0))
    event.add("dtstart", date)
    event.add("dtend", date + dt.timedelta(days=1))
    event.add("summary", _plain(session["type"]))
    event.add(
        "description",
        f"Chance to be recovered this morning: {words.chance(session['chance'])} "
        f"(asked for: {words.chance(session['asked'])}), as foreseen on {facts['last_night']}. "
        "How you feel comes first.",
    )
    return event


def _plain(text: str) -> str:
    """Return text without control characters, which RFC 5545 does not allow in one."""
    return "".join(" " if unicodedata.category(c) == "Cc" and c != "\n" else c for c in text)


def write_whole(path: Path, content: bytes, replace: bool) -> None:
    """Write a file whole or not at all.

    Args:
        path: where to.
        content: what it will hold.
        replace: whether a file that is there already may go.

    Raises:
        QuestionError: there is such a file, and it may not go.
        OSError: it cannot be written; what was there is left as it was.
    """
    if path.exists() and not replace:
        raise QuestionError(
            f"{path} is there already and was left as it is; give another name, or --force to "
            "replace it."
        )
    unfinished = path.with_name(f".{path.name}.unfinished")
    try:
        with unfinished.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
