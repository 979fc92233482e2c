"""The command that takes in tables: what it asks, shows, writes, keeps and refuses."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from slackwater.fitting import SeasonFolder
from tests.fitting.conftest import run

EXPORT = "Datum;HRV (ms);Training\r\n13.05.2031;56,4;Rudern\r\n14.05.2031;58,1;\r\n"
AMBIGUOUS = "Date,RMSSD\n03/04/2031,56.4\n04/04/2031,58.1\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "export.csv"
    path.write_bytes(EXPORT.encode())
    return path


def everything(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def test_it_says_what_it_understood_and_shows_rows(file: Path, tmp_path: Path) -> None:
    ran = run("import", file, tmp_path / "season", "--yes")
    assert (ran.status, ran.err) == (0, "")
    said = " ".join(ran.out.split())
    assert "export.csv: utf-8, semicolons between fields, header in row 1" in said
    assert "Datum → the date, written day, month, year" in said
    assert "HRV (ms) → RMSSD in milliseconds (taken for RMSSD: see that it is no other" in said
    assert "with a decimal comma" in said
    assert "readings.csv 2031-05-13 56.4 ms" in said
    assert "2 readings and 1 session, 2031-05-13 to 2031-05-14" in said
    assert "Took 3 rows into" in said
    readings = (tmp_path / "season" / "readings.csv").read_text()
    assert readings == "date,rmssd_ms\n2031-05-13,56.4\n2031-05-14,58.1\n"


def test_nobody_asked_nothing_written(file: Path, tmp_path: Path) -> None:
    ran = run("import", file, tmp_path / "season")
    assert ran.status == 1
    assert "Nothing was written: nobody said yes to it.\n  --yes takes it as it is\n" in ran.err
    assert not (tmp_path / "season").exists()


def test_next_weeks_file_asks_nothing(file: Path, tmp_path: Path) -> None:
    season = tmp_path / "season"
    assert run("import", file, season, "--yes").status == 0
    file.write_bytes(EXPORT.replace("13.05", "01.06").replace("14.05", "02.06").encode())
    ran = run("import", file, season)
    assert (ran.status, ran.err) == (0, "")
    assert "2031-06-01,56.4\n2031-06-02,58.1\n" in (season / "readings.csv").read_text()


def test_an_import_is_one_step_that_can_be_undone(file: Path, demo_copy: Path) -> None:
    before = everything(demo_copy)
    file.write_bytes(EXPORT.replace("05.2031", "08.2031").encode())
    assert run("import", file, demo_copy, "--yes").status == 0
    assert everything(demo_copy)["readings.csv"] != before["readings.csv"]
    SeasonFolder(demo_copy).undo()
    after = everything(demo_copy)
    assert {name: after[name] for name in before} == before


def test_season_toml_keeps_its_comments_and_order(file: Path, tmp_path: Path) -> None:
    season = tmp_path / "season"
    season.mkdir()
    toml = '# mine\r\nname = "Spring"   # a name\r\n\r\n[csv]\r\nseparator = ";"  # as ever\r\n'
    (season / "season.toml").write_bytes(toml.encode())
    assert run("import", file, season, "--yes").status == 0
    written = (season / "season.toml").read_bytes().decode()
    assert written.startswith(toml)
    kept = tomllib.loads(written)
    assert kept["import"] == [
        {
            "headers": ["Datum", "HRV (ms)", "Training"],
            "encoding": "utf-8",
            "separator": ";",
            "columns": {"date": ["Datum"], "rmssd": ["HRV (ms)"], "type": ["Training"]},
            "dates": "day-first",
            "decimal": ",",
            "unit": "ms",
        }
    ]
    assert (season / "readings.csv").read_text().startswith("date;rmssd_ms")


def test_what_differs_is_told_and_kept_unless_told(file: Path, tmp_path: Path) -> None:
    season = tmp_path / "season"
    season.mkdir()
    readings = "rmssd_ms,date,mood\n50,2031-05-13,good\n58.1,2031-05-14,\n"
    (season / "readings.csv").write_text(readings)
    ran = run("import", file, season, "--yes")
    assert ran.status == 0
    said = " ".join(ran.out.split())
    assert "1 row differs from the season:" in said
    assert "readings.csv:2: 2031-05-13: rmssd_ms is 50, the file has 56.4 (row 2)" in said
    assert "--replace takes the file's" in said
    assert (season / "readings.csv").read_text() == readings
    assert run("import", file, season, "--yes", "--replace").status == 0
    assert (season / "readings.csv").read_text() == readings.replace("50", "56.4")


def test_json_has_the_same_facts(file: Path, tmp_path: Path) -> None:
    ran = run("import", file, tmp_path / "season", "--yes", "--json")
    told = json.loads(ran.out)
    assert (told["schema"], told["season"], told["last_night"]) == (1, "season", "2031-05-14")
    assert told["rows"] == told["added"] == {"readings": 2, "sessions": 1}
    assert told["conflicts"] == []
    [sheet] = told["sheets"]
    assert (sheet["dates"], sheet["decimal"], sheet["unit"]) == ("day-first", ",", "ms")
    assert [c["field"] for c in sheet["columns"]] == ["date", "rmssd", "type"]


def test_what_cannot_be_read_is_named_and_nothing_is_written(file: Path, tmp_path: Path) -> None:
    file.write_text("date,RMSSD\n2031-05-13,56\n2031-05-32,57\n2031-05-15,often\n2031-05-16,50\n")
    ran = run("import", file, tmp_path / "season", "--yes")
    assert ran.status == 2
    assert ran.err.splitlines() == [
        "export.csv:3:1: date '2031-05-32' is no date as the others; write it as they are, such as "
        "2031-05-04, or empty the row",
        "export.csv:4:2: RMSSD 'often' is not a number; write the reading as a number, or empty "
        "the cell",
        "Nothing was written; --skip leaves such rows out.",
    ]
    assert not (tmp_path / "season").exists()
    assert run("import", file, tmp_path / "season", "--yes", "--skip").status == 0
    assert (tmp_path / "season" / "readings.csv").read_text().count("\n") == 3


def test_what_a_spreadsheet_would_run_is_written_as_text(file: Path, tmp_path: Path) -> None:
    file.write_text("date,RMSSD,training,note\n2031-05-13,56,=1+1,@SUM(A1)\n2031-05-14,57,-x,\n")
    assert run("import", file, tmp_path / "season", "--yes").status == 0
    assert "2031-05-13,'=1+1" in (tmp_path / "season" / "sessions.csv").read_text()
    assert "2031-05-14,'-x" in (tmp_path / "season" / "sessions.csv").read_text()
    assert "2031-05-13,56,'@SUM(A1)" in (tmp_path / "season" / "readings.csv").read_text()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--column", "rmssd=Nacht"], "There is no column 'Nacht'"),
        (["--column", "pulse=HRV (ms)"], "'pulse=HRV (ms)' is not FIELD=HEADER"),
        (["--sheet", "May"], "There is no sheet 'May'"),
        (["--encoding", "utf-9"], "this is not utf-9 text"),
        (["--separator", "no"], "--separator takes one character"),
        (["--dates", "backwards"], "'backwards' is not one of"),
    ],
)
def test_a_wrong_option_is_told(file: Path, tmp_path: Path, options: list[str], said: str) -> None:
    ran = run("import", file, tmp_path / "season", "--yes", *options)
    assert ran.status == 2
    assert said in ran.err


def test_a_new_season_is_made_unless_another_was_likely_meant(file: Path, tmp_path: Path) -> None:
    assert run("import", file, tmp_path / "spring", "--yes").status == 0
    assert (tmp_path / "spring").stat().st_mode & 0o077 == 0
    ran = run("import", file, tmp_path / "spirng", "--yes")
    assert (ran.status, f"did you mean {tmp_path / 'spring'}?" in ran.err) == (2, True)
    ran = run("import", file, tmp_path / "no" / "season", "--yes")
    assert (ran.status, "there is no such folder" in ran.err) == (2, True)


def test_at_a_terminal_it_asks(tmp_path: Path) -> None:
    file = tmp_path / "export.csv"
    file.write_text(AMBIGUOUS)
    master, slave = pty.openpty()
    code = "import sys; from slackwater.fitting.cli import main; main()"
    command = [sys.executable, "-c", code, "import", str(file), str(tmp_path / "season")]
    with subprocess.Popen(
        command, stdin=slave, stdout=subprocess.PIPE, stderr=slave, text=True
    ) as asked:
        os.close(slave)
        os.write(master, b"3\n1\n\n")
        out, _ = asked.communicate(timeout=60)
    said = os.read(master, 10_000).decode()
    os.close(master)
    assert asked.returncode == 0, said
    assert "The date '03/04/2031' can be read in several ways: in which?" in said
    assert "1  day-first: 2031-04-03" in said
    assert "3 is not in the range" in said
    assert "Take this in? [Y/n]" in said
    assert "Took 2 rows into" in out
    assert "2031-04-03,56.4" in (tmp_path / "season" / "readings.csv").read_text()


def test_a_minute_of_training_is_a_share_of_the_usual(tmp_path: Path) -> None:
    file, season = tmp_path / "export.csv", tmp_path / "season"
    rows = ["2031-05-01,row,60", "2031-05-03,row,90", "2031-05-05,row,30", "2031-05-06,run,20"]
    file.write_text("\n".join(["Date,Workout,Minutes", *rows, ""]))
    assert run("import", file, season, "--yes", "--dose", "Minutes").status == 0
    doses = (
        "date,type,dose\n2031-05-01,row,\n2031-05-03,row,1.5\n2031-05-05,row,0.5\n2031-05-06,run,\n"
    )
    assert (season / "sessions.csv").read_text() == doses
    file.write_text("\n".join(["Date,Workout,Minutes", "2031-05-08,row,120", ""]))
    assert run("import", file, season).status == 0
    assert (season / "sessions.csv").read_text() == doses + "2031-05-08,row,2\n"


def test_unlikely_rows_are_asked_about_before_they_are_written(tmp_path: Path, file: Path) -> None:
    season = tmp_path / "season"
    days = [f"2031-05-{day:02d},{60 + day % 4}" for day in range(1, 29)]
    file.write_text("\n".join(["date,RMSSD", *days, ""]))
    assert run("import", file, season, "--yes").status == 0
    before = everything(season)
    file.write_text("date,RMSSD\n2031-05-29,61\n2031-05-30,640\n")
    ran = run("import", file, season)
    assert ran.status == 1
    assert "readings, row 3: 640 ms on 2031-05-30, where " in ran.err
    assert "Nothing was written: rows are unlikely" in ran.err
    assert everything(season) == before
    ran = run("import", file, season, "--yes")
    assert (ran.status, "readings, row 3: 640 ms" in ran.err) == (0, True)
    assert "2031-05-30,640\n" in (season / "readings.csv").read_text()
    assert "2031-05-30,reading 640 ms\n" in (season / "confirmed.csv").read_text()
    assert "640" not in run("check", season).out  # who said so is not asked again
