from __future__ import annotations

import datetime as dt
from pathlib import Path

from slackwater.fitting.serving.seasons import Seasons

TODAY = dt.date(2031, 7, 7)


def begin(folder: Path) -> Path:
    folder.mkdir()
    (folder / "readings.csv").write_text("date,rmssd_ms\n2031-07-06,57\n")
    return folder


def test_a_season_is_found_by_its_name_and_no_other_is(tmp_path: Path) -> None:
    begin(tmp_path / "beside")
    seasons = Seasons(begin(tmp_path / "one"))
    assert seasons.names == ["one"]
    assert seasons.find("one") is seasons.find("one")
    assert seasons.find("beside") is seasons.find("../beside") is seasons.find("") is None


def test_a_folder_of_seasons_shows_each_by_name_as_they_come(tmp_path: Path) -> None:
    begin(tmp_path / "ben")
    begin(tmp_path / "ada")
    (tmp_path / "notes").mkdir()
    seasons = Seasons(tmp_path)
    assert seasons.names == ["ada", "ben"]
    begin(tmp_path / "cleo")
    assert seasons.names == ["ada", "ben", "cleo"]


def test_what_others_write_is_seen(tmp_path: Path) -> None:
    seasons = Seasons(begin(tmp_path / "one"))
    season = seasons.find("one")
    assert season
    assert season.season.read.sum() == 1
    file = tmp_path / "one" / "readings.csv"
    file.write_text(file.read_text() + "2031-07-07,60\n")
    again = seasons.find("one")
    assert again
    assert again.season.read.sum() == 2


def test_what_was_doubted_yesterday_is_judged_by_todays_date(tmp_path: Path) -> None:
    now = TODAY
    seasons = Seasons(begin(tmp_path / "one"), lambda: now)
    before = seasons.find("one")
    now += dt.timedelta(1)
    assert seasons.find("one") is not before


def test_a_season_moved_away_is_gone_and_not_made_anew(tmp_path: Path) -> None:
    folder = begin(tmp_path / "one")
    seasons = Seasons(folder)
    seasons.find("one")
    assert not seasons.gone("one")
    folder.rename(tmp_path / "elsewhere")
    assert seasons.gone("one")
    assert not seasons.begins("one")
    (tmp_path / "elsewhere").rename(folder)
    assert not seasons.gone("one")


def test_a_season_that_is_to_begin(tmp_path: Path) -> None:
    seasons = Seasons(tmp_path / "new")
    assert seasons.names == []
    assert seasons.to_begin == "new"
    seasons.add("new")
    assert seasons.names == ["new"]
    assert seasons.begins("new")
