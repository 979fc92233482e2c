from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder, today
from slackwater.fitting.report.today import headline, reading
from tests.fitting.serving.conftest import NEXT, Visitor, text_of, visit
from tests.fitting.serving.test_app import rows


def test_it_says_what_the_answers_say(visitor: Visitor, demo_copy: Path) -> None:
    said, season = text_of(visitor.look()), SeasonFolder(demo_copy)
    answer = today(season, morning=np.datetime64(NEXT))
    assert all(sentence in said for sentence in headline(answer))
    assert reading(answer) in said
    for row in answer.types:
        assert row.type in said
    assert "no diagnosis" in said


def test_a_reading_is_answered_in_place(visitor: Visitor, demo_copy: Path) -> None:
    said = visitor.enters("reading", ms="66", date=NEXT)
    assert f"Logged the reading of {NEXT} (66 ms): readings.csv." in said
    assert "was expected of you this morning" in said
    assert "66 ms this morning" in said
    assert rows(demo_copy)[-1]["rmssd_ms"] == "66"
    assert "Took back" in visitor.enters("undo", then=visitor.to())
    assert rows(demo_copy)[-1]["date"] == "2031-07-06"


def test_one_that_cant_be_right_is_asked_about_and_then_taken(
    visitor: Visitor, demo_copy: Path
) -> None:
    asked = visitor.send("reading", {"ms": "6.6", "date": NEXT})
    assert "Nothing was written yet" in text_of(asked.text)
    assert "decimal point is misplaced" in text_of(asked.text)
    assert 'name="ms" value="6.6"' in asked.text
    assert rows(demo_copy)[-1]["date"] != NEXT
    said = visitor.enters("reading", ms="6.6", date=NEXT, sure="yes")
    assert "it is not asked about again" in said


def test_a_second_reading_of_a_night_takes_the_first_ones_place(
    visitor: Visitor, demo_copy: Path
) -> None:
    visitor.enters("reading", ms="66", date=NEXT)
    asked = visitor.send("reading", {"ms": "64", "date": NEXT})
    assert "this one would take its place" in text_of(asked.text)
    visitor.enters("reading", ms="64", date=NEXT, sure="yes")
    assert [row["rmssd_ms"] for row in rows(demo_copy) if row["date"] == NEXT] == ["64"]


def test_a_season_begins_with_one_reading(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    folder.mkdir()
    (folder / "readings.csv").write_text("date,rmssd_ms\n")
    one = visit(folder)
    said = one.enters("reading", ms="57.6", date=NEXT)
    assert "the first fit takes 13 more readings" in said


def test_new_mornings_are_taken_in_and_said(demo_copy: Path) -> None:
    visitor = visit(demo_copy, clock=dt.date(2031, 7, 8))
    season = SeasonFolder(demo_copy)
    night = season.season.last_night
    for ms, date in zip((66, 68), night + np.arange(1, 3), strict=True):
        visitor.enters("reading", ms=str(ms), date=str(date))
    assert "2 since then are taken in without learning anew" in text_of(visitor.look())


@pytest.mark.parametrize("edited", ["sessions.csv", "readings.csv"])
def test_a_past_that_was_edited_asks_for_a_new_fit(
    visitor: Visitor, demo_copy: Path, edited: str
) -> None:
    visitor.look()
    file = demo_copy / edited
    lines = file.read_text().splitlines()
    file.write_text("\n".join([*lines[:5], *lines[6:]]) + "\n")
    said = text_of(visitor.look())
    assert "fit" in said
    assert "the chance is" not in said
