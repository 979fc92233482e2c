"""`beats` as it is typed, from files to rows of readings.csv and back."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder
from tests.fitting.beats.nights import night, with_artefacts, write_intervals, write_stamped
from tests.fitting.conftest import run

FIRST = dt.datetime(2031, 5, 1, 22, 48)
RNG = np.random.default_rng(0)
RR_MS = night(RNG, hours=0.3)


@pytest.fixture
def season(tmp_path: Path) -> Path:
    folder = tmp_path / "season"
    folder.mkdir()
    return folder


@pytest.fixture
def nights(tmp_path: Path) -> Path:
    folder = tmp_path / "nights"
    folder.mkdir()
    for day in (2, 3, 4):
        write_intervals(folder / f"2031-05-0{day}.txt", night(RNG, hours=0.2))
    return folder


def rows(season: Path) -> list[str]:
    return (season / "readings.csv").read_text().splitlines()


def test_one_file_becomes_one_reading(season: Path, tmp_path: Path) -> None:
    path = write_stamped(tmp_path / "night.csv", with_artefacts(RR_MS, RNG), FIRST)
    ran = run("beats", path, season, "--sensor", "strap", "--json")
    assert ran.status == 0, ran.err
    found = json.loads(ran.out)
    assert {"schema", "season", "last_night", "level", "warnings"} <= set(found)
    [entry] = found["nights"]
    assert {"date", "rmssd_ms", "beats", "kept_share", "rule"} <= set(entry)
    assert found["written"] is True
    assert rows(season) == [
        "date,rmssd_ms,ln_sd,sensor",
        f"2031-05-02,{round(entry['rmssd_ms'], 2):g},{round(entry['ln_sd'], 4):g},strap",
    ]
    read = SeasonFolder(season).season.data
    assert read["reading_ln_sd"].values.tolist() == [round(entry["ln_sd"], 4)]


def test_a_folder_is_one_step_that_is_undone_whole(season: Path, nights: Path) -> None:
    assert run("beats", nights, season, "--yes").status == 0
    assert len(rows(season)) == 4
    assert run("beats", nights, season, "--json").out.count('"same"') == 3
    SeasonFolder(season).undo()
    assert not (season / "readings.csv").exists()


def test_other_readings_are_kept_unless_told(season: Path, nights: Path) -> None:
    (season / "readings.csv").write_text("date,rmssd_ms,note\n2031-05-03,58,slept well\n")
    ran = run("beats", nights, season)
    assert ran.status == 0, ran.err
    left_alone = "Left alone, as another reading stands there: 2031-05-03 (58.0 ms)."
    assert left_alone in " ".join(ran.out.split())
    assert "2031-05-03,58,slept well," in rows(season)
    ran = run("beats", nights, season, "--replace")
    assert ran.status == 0, ran.err
    assert "Replaced: 1." in ran.out
    [line] = [line for line in rows(season) if line.startswith("2031-05-03")]
    assert "slept well" in line
    assert ",58," not in line


def test_a_draft_and_a_picture_enter_nothing(season: Path, nights: Path, tmp_path: Path) -> None:
    drawn = tmp_path / "night.png"
    ran = run("beats", nights / "2031-05-02.txt", season, "--draft", "--picture", drawn)
    assert ran.status == 0, ran.err
    assert drawn.read_bytes().startswith(b"\x89PNG")
    assert not (season / "readings.csv").exists()
    assert "Entered nothing; 1 reading would be." in ran.out


def test_an_unlikely_night_is_not_entered_unasked(season: Path, tmp_path: Path) -> None:
    readings = [f"2031-04-{day:02d},{60 + day % 5}" for day in range(1, 31)]
    (season / "readings.csv").write_text("\n".join(["date,rmssd_ms", *readings, ""]))
    low = write_intervals(tmp_path / "2031-05-02.txt", night(RNG, hours=0.2, rmssd_ms=9))
    ran = run("beats", low, season)
    assert ran.status == 1
    assert "Nothing was entered" in ran.err
    assert "--yes enters them as they are" in ran.err
    assert len(rows(season)) == 31
    ran = run("beats", low, season, "--yes", "--json")
    assert ran.status == 0, ran.err
    assert len(json.loads(ran.out)["doubts"]) == 1
    assert len(rows(season)) == 32
    assert SeasonFolder(season).doubts == []  # said to be right


def test_a_bad_file_among_good_ones_is_named_and_the_others_are_entered(
    season: Path, nights: Path
) -> None:
    (nights / "2031-05-05.txt").write_text("800\nx\n810\n790\n")
    ran = run("beats", nights, season, "--json", "--yes")
    assert ran.status == 1
    [refused] = json.loads(ran.out)["refused"]
    assert refused["why"].startswith("2031-05-05.txt:2:1: 'x' is no number; mend the cell")
    assert len(rows(season)) == 4


@pytest.mark.parametrize(
    ("options", "status", "said"),
    [
        (["--from", "23:00"], 2, "does not say at what time it starts"),
        (["--from", "late"], 2, "'late' is no time; write a clock time such as 23:30"),
        (["--from", "0.05", "--to", "0.06"], 1, "seconds of beats are kept"),
        (["--picture", "night.gif"], 2, "a picture is written as .svg or .png"),
        (["--date", "2 May"], 2, "'2 May' is no date"),
        (["--unit", "s"], 2, "these are no intervals between beats"),
        (["--column", "rr"], 2, "there is no column 'rr'"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_written(
    season: Path, nights: Path, options: list[str], status: int, said: str
) -> None:
    ran = run("beats", nights / "2031-05-02.txt", season, *options)
    assert (ran.status, ran.out) == (status, "")
    assert said in ran.err
    assert list(season.iterdir()) == []


def test_what_is_about_one_night_takes_one_file(season: Path, nights: Path) -> None:
    for options in (["--date", "2031-05-02"], ["--picture", "a.png"]):
        ran = run("beats", nights, season, *options)
        assert ran.status == 2
        assert "about one night" in ran.err


def test_nothing_is_written_into_a_broken_season(season: Path, nights: Path) -> None:
    (season / "readings.csv").write_text("date,rmssd_ms\n2031-05-03,x\n")
    ran = run("beats", nights, season)
    assert ran.status == 2
    assert "readings.csv:2:2" in ran.err
    assert len(rows(season)) == 2
    assert run("beats", nights, season / "none").status == 2
