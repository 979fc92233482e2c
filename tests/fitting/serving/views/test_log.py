from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.records.plans import KeptPlan
from tests.fitting.serving.conftest import NEXT, Visitor, text_of, visit
from tests.fitting.serving.test_app import rows


def test_a_session_is_one_press_of_a_button(visitor: Visitor, demo_copy: Path) -> None:
    page = visitor.look("log")
    offered = re.findall(r'<button name="type" value="([^"]+)"', page)
    assert set(offered) == {row["type"] for row in rows(demo_copy, "types")}
    assert re.search(r'<button name="type"[^>]*autofocus', page)
    said = visitor.enters("event", type=offered[0], dose="1", other_dose="", day=NEXT, today=NEXT)
    assert f"Logged the session of {NEXT} ({offered[0]}): sessions.csv." in said
    assert "Back at baseline from" in said
    assert rows(demo_copy, "sessions")[-1]["type"] == offered[0]


def test_doses_are_less_usual_more_or_a_number(visitor: Visitor, demo_copy: Path) -> None:
    for day, dose, other in ((7, "0.7", ""), (8, "1.4", ""), (9, "1", "0.9")):
        form = {"type": "steady row", "dose": dose, "other_dose": other}
        visitor.enters("event", **form, day=f"2031-07-{day:02}", sure="yes")
    assert [row["dose"] for row in rows(demo_copy, "sessions")[-3:]] == ["0.7", "1.4", "0.9"]


def test_measures_and_stressors_of_any_day(visitor: Visitor, demo_copy: Path) -> None:
    visitor.enters("event", intervention="river dip", day=NEXT)
    said = visitor.enters("event", stressor="late travel", day="2031-07-05", sure="yes")
    assert "late travel" in said
    assert rows(demo_copy, "interventions")[-1] == {"date": NEXT, "intervention": "river dip"}
    assert rows(demo_copy, "stressors")[-1] == {"date": "2031-07-05", "stressor": "late travel"}


def test_a_new_name_like_another_is_asked_about(visitor: Visitor) -> None:
    asked = visitor.send("event", {"type": "hil run", "day": NEXT})
    assert "hill run" in text_of(asked.text)
    assert "Nothing was written yet" in text_of(asked.text)


def test_a_name_is_a_name_and_no_markup(visitor: Visitor) -> None:
    name = '<b onclick="x">"sauna" & co</b>'
    visitor.enters("event", intervention=name, day=NEXT, sure="yes")
    page = visitor.look(f"log?day={NEXT}")
    assert "<b onclick" not in page
    assert "&lt;b onclick" in page


def test_a_weeks_gaps_are_filled_in_one_step(demo_copy: Path) -> None:
    visitor = visit(demo_copy, clock=dt.date(2031, 7, 13))
    page = visitor.look(f"week?of={NEXT}")
    assert f'name="ms-{NEXT}"' in page
    before = {p.name: p.read_bytes() for p in demo_copy.glob("*.csv")}
    form = {"monday": NEXT, "ms-2031-07-07": "66", "ms-2031-07-08": "64", "ms-2031-07-09": ""}
    form |= {"type-2031-07-07": "hill run", "dose-2031-07-07": "0.8"}
    said = visitor.enters("week", **form, **{"stressor-2031-07-08": "head cold"})
    assert "Logged the week of 2031-07-07: readings.csv" in said
    assert [row["rmssd_ms"] for row in rows(demo_copy)[-2:]] == ["66", "64"]
    assert rows(demo_copy, "sessions")[-1]["dose"] == "0.8"
    assert "Took back the week of 2031-07-07" in visitor.enters("undo")
    assert {p.name: p.read_bytes() for p in demo_copy.glob("*.csv")} == before


def test_a_weeks_wrong_line_is_asked_about_and_none_is_written(
    visitor: Visitor, demo_copy: Path
) -> None:
    form = {"monday": NEXT, "ms-2031-07-07": "66", "ms-2031-07-08": "6.4"}
    asked = visitor.send("week", form)
    assert "Nothing was written yet" in text_of(asked.text)
    assert rows(demo_copy)[-1]["date"] == "2031-07-06"
    visitor.enters("week", **form, sure="yes")
    assert rows(demo_copy)[-1]["rmssd_ms"] == "6.4"


def test_what_is_planned_for_a_day_comes_first_by_whatever_plan_holds(
    visitor: Visitor, demo_copy: Path
) -> None:
    for day, label in ((8, "hill run"), (20, "steady row")):
        session = {"type": label, "date": f"2031-07-{day:02}", "fixed": True}
        plan = {
            "season": "demo", "made_from": "2031-07-06", "start": session["date"], "days": 5,
            "rest": [], "logged": [], "sessions": [session | {"chance": 0.9, "asked": 0.8}],
        }  # fmt: skip
        SeasonFolder(demo_copy).keep(KeptPlan.model_validate(plan))
    for day, label in ((8, "hill run"), (20, "steady row")):
        page = visitor.look(f"log?day=2031-07-{day:02}")
        assert re.findall(r'name="type" value="([^"]+)"', page)[0] == label
