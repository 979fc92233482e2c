from __future__ import annotations

import json
from pathlib import Path

from icalendar import Calendar

from tests.fitting.serving.conftest import Visitor, text_of

WISH = {"count-hill run": "1", "count-steady row": "1", "days": "14", "chance": "80"}


def test_a_wish_becomes_a_plan_a_calendar_file_and_a_record(
    visitor: Visitor, demo_copy: Path
) -> None:
    assert "No plan was kept" in text_of(visitor.look("plan"))
    said = text_of(visitor.send("plan", WISH).text)
    assert "It fits: 2 sessions" in said
    assert not (demo_copy / "plans.json").exists()
    answer = visitor.send("plan", WISH | {"do": "calendar"})
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    events = Calendar.from_ical(answer.content).walk("VEVENT")
    assert sorted(str(event["SUMMARY"]) for event in events) == ["hill run", "steady row"]
    assert "Kept the plan" in visitor.enters("plan", **WISH, do="keep")
    (kept,) = json.loads((demo_copy / "plans.json").read_text())
    assert len(kept["sessions"]) == 2
    assert "steady row" in text_of(visitor.look("plan"))
    assert "Planned" in text_of(visitor.look()) or "Next in the plan" in text_of(visitor.look())


def test_what_would_have_to_give_is_said(visitor: Visitor) -> None:
    said = text_of(visitor.send("plan", {"count-hill run": "5", "days": "6"}).text)
    assert "It does not fit" in said
    assert "What would fit" in said


def test_a_wish_that_makes_no_sense_is_said_and_kept(visitor: Visitor) -> None:
    for wish, why in (
        ({"count-hill run": "many"}, "no whole number"),
        ({"days": "14"}, "No session is wanted"),
        (WISH | {"chance": "100"}, "0.99"),
        (WISH | {"fixed-type-0": "hill run"}, "Give the day"),
    ):
        answer = visitor.send("plan", wish)
        assert answer.status_code == 422
        assert why in text_of(answer.text)
