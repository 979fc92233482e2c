"""Plans as iCalendar files, read back by hand and by the icalendar library.

Rules by section of RFC 5545 (2009).
"""

from __future__ import annotations

import datetime as dt
import re
import uuid
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from slackwater.fitting import plan_spacing
from slackwater.fitting.records.plans import Session
from slackwater.fitting.report.calendar_file import as_calendar
from slackwater.fitting.spacing.plan import SpacingPlan
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

MADE = dt.datetime(2031, 7, 6, 6, 30, 5, 123, tzinfo=dt.UTC)
Property = tuple[str, str, str]  # name, parameters, value


MADE_BEFORE = plan_spacing(
    by_hand.athlete_of(by_hand.SEASON, Known({"row": (0.01, 1.0)}), 10), {"row": 1}
)


def plan(*sessions: tuple[str, str]) -> SpacingPlan:
    """Return a plan by date and type."""
    rows = [
        Session(date=dt.date.fromisoformat(date), type=label, fixed=False, chance=0.84, asked=0.8)
        for date, label in sessions
    ]
    return replace(
        MADE_BEFORE,
        about=replace(MADE_BEFORE.about, last_night=np.datetime64("2031-07-06")),
        first_night=dt.date(2031, 1, 1),
        start=dt.date(2031, 7, 6),
        sessions=tuple(rows),
    )


PLAIN = plan(("2031-07-09", "row"), ("2031-12-31", "hill run"), ("2032-02-28", "row"))


def read_by_hand(content: bytes) -> list[Property]:
    """Unfold (3.1) and split a calendar into its properties, checking what 3.1 asks for."""
    assert content.endswith(b"\r\n")
    lines = content[:-2].split(b"\r\n")
    for line in lines:
        assert len(line) <= 75  # octets, without the line break
        assert not re.search(rb"[\x00-\x08\x0a-\x1f\x7f]", line)  # CONTROL is not allowed
        line.decode("utf-8")  # a fold splits no character
    logical: list[bytes] = []
    for line in lines:
        if line[:1] in (b" ", b"\t"):
            logical[-1] += line[1:]
        else:
            logical.append(line)
    properties = []
    for text in (line.decode("utf-8") for line in logical):
        found = re.fullmatch(r"([A-Z-]+)((?:;[A-Z-]+=[^;:]+)*):(.*)", text)
        assert found, text
        properties.append((found[1], found[2], found[3]))
    return properties


def unescaped(value: str) -> str:
    """Undo the escapes of TEXT (3.3.11), and refuse what it does not allow."""
    out, rest = "", value
    while rest:
        if rest[0] == "\\":
            out += {"\\": "\\", ";": ";", ",": ",", "n": "\n", "N": "\n"}[rest[1]]
            rest = rest[2:]
        else:
            assert rest[0] not in ";,"
            out, rest = out + rest[0], rest[1:]
    return out


def events(properties: list[Property]) -> list[dict[str, tuple[str, str]]]:
    """Return each event's properties, and see that it has none twice."""
    found: list[dict[str, tuple[str, str]]] = []
    inside = False
    for name, parameters, value in properties:
        if (name, value) == ("BEGIN", "VEVENT"):
            inside = True
            found.append({})
        elif (name, value) == ("END", "VEVENT"):
            inside = False
        elif inside:
            assert name not in found[-1]
            found[-1][name] = (parameters, value)
    return found


def test_the_calendar_holds_its_sessions_and_nothing_else() -> None:
    properties = read_by_hand(as_calendar(PLAIN, MADE))
    assert properties[0] == ("BEGIN", "", "VCALENDAR")
    assert properties[-1] == ("END", "", "VCALENDAR")
    # 3.6 and 3.7: PRODID and VERSION once each, before the components.
    assert sorted(properties[1:3]) == [
        ("PRODID", "", "-//slackwater//spacing//EN"),
        ("VERSION", "", "2.0"),
    ]
    components = [value for name, _, value in properties if name == "BEGIN"]
    assert components == ["VCALENDAR", "VEVENT", "VEVENT", "VEVENT"]
    for event in events(properties):
        assert set(event) == {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION"}


def test_days_are_whole_and_their_end_is_exclusive() -> None:
    found = events(read_by_hand(as_calendar(PLAIN, MADE)))
    assert [(e["DTSTART"], e["DTEND"]) for e in found] == [
        ((";VALUE=DATE", first), (";VALUE=DATE", after))
        for first, after in (
            ("20310709", "20310710"),
            ("20311231", "20320101"),
            ("20320228", "20320229"),  # a leap year
        )
    ]


def test_the_stamp_is_in_utc() -> None:
    """3.8.7.2: DTSTAMP must be a UTC time."""
    east = MADE.astimezone(dt.timezone(dt.timedelta(hours=5)))
    for made in (MADE, east):
        stamps = {e["DTSTAMP"] for e in events(read_by_hand(as_calendar(PLAIN, made)))}
        assert stamps == {("", "20310706T063005Z")}


def test_uids_are_stable_and_tell_sessions_apart() -> None:
    def uids(answer: SpacingPlan) -> list[str]:
        return [e["UID"][1] for e in events(read_by_hand(as_calendar(answer, MADE)))]

    first = uids(PLAIN)
    assert len(set(first)) == 3
    assert [str(uuid.UUID(uid)) for uid in first] == first
    # Made anew from the same first day, the second row is the same event on another day.
    moved = plan(("2031-07-09", "row"), ("2031-07-20", "row"), ("2031-07-30", "hill run"))
    assert sorted(uids(moved)) == sorted(first)
    for other in (
        replace(PLAIN, about=replace(PLAIN.about, season="autumn")),
        replace(PLAIN, start=dt.date(2031, 7, 7)),
        replace(PLAIN, first_night=dt.date(2030, 1, 1)),
    ):
        assert not set(uids(other)) & set(first)
    # What is in calendars already stays the same event whatever becomes of the program.
    assert first[0] == "c311397e-4131-5d34-b4fc-9f1c55749203"


def test_another_reader_finds_the_same() -> None:
    calendar = Calendar.from_ical(as_calendar(PLAIN, MADE))
    found = calendar.walk("VEVENT")
    assert [e.decoded("dtstart") for e in found] == [
        dt.date(2031, 7, 9),
        dt.date(2031, 12, 31),
        dt.date(2032, 2, 28),
    ]
    assert [str(e["summary"]) for e in found] == ["row", "hill run", "row"]
    assert "84 % (asked for: 80 %)" in str(found[0]["description"])
    assert not any(e.errors for e in found)


# A lone surrogate cannot be written as UTF-8, so no season file can hold one. A backslash with an
# N is a line break to icalendar even in a text that is yet to be escaped.
LABELS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=120).filter(
    lambda label: r"\N" not in label
)


@settings(max_examples=200, deadline=None)
@given(LABELS)
def test_any_name_survives_folding_and_escaping(label: str) -> None:
    content = as_calendar(plan(("2031-07-09", label)), MADE)
    (event,) = events(read_by_hand(content))
    shown = unescaped(event["SUMMARY"][1])
    allowed = "".join(" " if re.match(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", c) else c for c in label)
    assert shown == allowed
    (read,) = Calendar.from_ical(content).walk("VEVENT")
    assert str(read["summary"]) == allowed


def test_names_that_need_escaping() -> None:
    label = 'hill; run, "steep" \\ 4:30\nGrünau'
    (event,) = events(read_by_hand(as_calendar(plan(("2031-07-09", label)), MADE)))
    assert event["SUMMARY"][1] == 'hill\\; run\\, "steep" \\\\ 4:30\\nGrünau'


def test_long_names_are_folded_between_characters() -> None:
    for letter in ("x", "ü", "山", "🚣"):
        content = as_calendar(plan(("2031-07-09", letter * 200)), MADE)
        (event,) = events(read_by_hand(content))
        assert event["SUMMARY"][1] == letter * 200
        assert b"\r\n " in content
