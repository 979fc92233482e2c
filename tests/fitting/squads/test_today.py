"""A squad's morning: each athlete's as `today` tells it, and who is left out, and why."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder, SquadFolder, squad_today, today
from slackwater.fitting.report.objects import as_json
from slackwater.model.errors import NoAnswerError, QuestionError
from tests.fitting.squads.made import squad


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return squad(tmp_path / "weir", "ada", "bruno", "carla", settings='[athletes]\nada = "Ada"\n')


def append(path: Path, line: str) -> None:
    with path.open("a") as file:
        file.write(line)


def test_each_athletes_morning_is_that_of_the_athlete_alone(folder: Path) -> None:
    append(folder / "bruno" / "readings.csv", "2031-05-11,99\n")
    found = squad_today(SquadFolder(folder))
    assert found.about.season == "weir"
    assert str(found.about.last_night) == "2031-05-11"
    assert [each.athlete for each in found.athletes] == ["Ada", "bruno", "carla"]
    for each, name in zip(found.athletes, ("ada", "bruno", "carla"), strict=True):
        alone = today(SeasonFolder(folder / name), morning=np.datetime64("2031-05-11"))
        assert each.chance_at_baseline == alone.chance_at_baseline
        assert each.reading_ms == alone.reading_ms
        assert each.at_baseline == alone.at_baseline
        assert each.dip_left_ln == alone.dip_left_ln
        assert each.from_ == alone.types[0].from_
    assert [each.reading_ms is None for each in found.athletes] == [True, False, True]


def test_the_morning_is_the_days_where_it_can_be_foreseen(folder: Path) -> None:
    group = SquadFolder(folder)
    last = squad_today(group).morning
    assert squad_today(group, clock=last + dt.timedelta(3)).morning == last + dt.timedelta(3)
    assert squad_today(group, clock=dt.date(2040, 1, 1)).morning == last
    assert squad_today(group, clock=dt.date(2020, 1, 1)).morning == last


def test_whoever_has_no_answer_is_named_with_the_reason(folder: Path) -> None:
    append(folder / "ada" / "readings.csv", "2031-05-11,sixty\n")
    (folder / "bruno" / "posterior.nc").unlink()
    found = squad_today(SquadFolder(folder))
    assert [each.athlete for each in found.athletes] == ["carla"]
    codes = {each.athlete: [r.code for r in each.why] for each in found.unanswered}
    assert codes == {"Ada": ["season cannot be read"], "bruno": ["no posterior"]}
    (folder / "carla" / "posterior.nc").unlink()
    with pytest.raises(NoAnswerError, match="nobody answered: athletes=3"):
        squad_today(SquadFolder(folder))


def test_one_who_was_not_read_for_months_is_no_other_athletes_matter(folder: Path) -> None:
    append(folder / "bruno" / "readings.csv", "2031-09-11,60\n")
    found = squad_today(SquadFolder(folder))
    codes = {each.athlete: [r.code for r in each.why] for each in found.unanswered}
    assert codes["Ada"] == ["read too long ago"]


def test_nothing_names_an_athlete_who_is_shown_by_a_number(folder: Path) -> None:
    (folder / "bruno" / "posterior.nc").unlink()
    append(folder / "carla" / "readings.csv", "2031-05-11,sixty\n")
    text = as_json(squad_today(SquadFolder(folder, "numbers")))
    found: dict[str, Any] = json.loads(text)
    assert [each["athlete"] for each in found["athletes"]] == ["1"]
    assert [each["athlete"] for each in found["unanswered"]] == ["2", "3"]
    for name in ("ada", "Ada", "bruno", "carla"):
        assert name not in text


def test_a_chance_or_level_that_is_none_is_refused(folder: Path) -> None:
    with pytest.raises(QuestionError):
        squad_today(SquadFolder(folder), chance=2)
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        squad_today(SquadFolder(folder), level=80)
