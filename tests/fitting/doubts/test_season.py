"""A folder's doubtful rows: told with their place, kept from spoiling answers, or confirmed."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder, check_season, read_season
from slackwater.fitting.demo import copy_demo
from slackwater.fitting.doubts.season import AS_IT_STANDS, LEFT_OUT, USUAL_DOSE
from slackwater.fitting.report.reasons import doubts as words
from slackwater.fitting.report.reasons import sentence
from slackwater.model import names as n
from slackwater.model.errors import Reason
from tests.fitting.conftest import run
from tests.fitting.doubts.entries import WRONG, Wrong

Explained = Callable[[str, list[str]], None]

# By the files' own rules a problem, or, without a clock, nothing to be seen in a file.
PROBLEMS = {"ms as ln", "a night's second reading", "dose of zero", "dose below zero"}
UNSEEN = {"56 for 65", "heart rate", "reading of tomorrow", "session of tomorrow"}
TELLS = {  # what is assumed of those that can't be right
    "decimal point lost": LEFT_OUT,
    "decimal point moved": LEFT_OUT,
    "ln as ms": LEFT_OUT,
    "seconds for ms": LEFT_OUT,
    "decimal comma as a column": LEFT_OUT,
    "reading of next year": LEFT_OUT,
    "reading two years back": LEFT_OUT,
    "last year in January": LEFT_OUT,
    "day and month swapped": LEFT_OUT,
    "minutes as dose": USUAL_DOSE,
    "percent as dose": USUAL_DOSE,
    "point lost in a dose": USUAL_DOSE,
}


def with_line(folder: Path, file: str, line: str, ln: bool = False) -> SeasonFolder:
    copy_demo(folder)
    path = folder / f"{file}.csv"
    text = path.read_text(encoding="utf-8")
    if ln:
        header, *rows = (row.split(",") for row in text.splitlines())
        rows = [[header[0], "ln_rmssd", header[2]]] + [
            [date, f"{math.log(float(ms)):.4f}", sensor] for date, ms, sensor in rows
        ]
        text = "".join(",".join(row) + "\n" for row in rows)
    path.write_text(f"{text}{line}\n", encoding="utf-8")
    return SeasonFolder(folder)


@pytest.mark.parametrize("wrong", WRONG, ids=lambda wrong: wrong.name)
def test_a_wrong_line_is_told_with_its_place(tmp_path: Path, wrong: Wrong) -> None:
    folder = with_line(tmp_path / "demo", wrong.file, wrong.line, wrong.ln)
    if wrong.name in PROBLEMS:
        (problem,) = folder.checked.problems
        assert wrong.mend in problem.mend
        return
    if wrong.name in UNSEEN:
        assert folder.doubts == []
        return
    line = (tmp_path / "demo" / f"{wrong.file}.csv").read_text().count("\n")
    (found,) = folder.doubts
    said = sentence(found.reason)
    assert said.startswith(f"{wrong.file}.csv:{line}:")
    assert found.assumed == TELLS.get(wrong.name, AS_IT_STANDS)
    cells = wrong.line.split(",")
    column = {"date": 0, "rmssd_ms": 1, "type": 1, "intervention": 1, "sensor": 2, "dose": 2}
    assert found.reason.facts["column_number"] == column[found.reason.facts["column"]] + 1
    assert cells[found.reason.facts["column_number"] - 1]


def test_the_demo_season_has_none(tmp_path: Path) -> None:
    copy_demo(tmp_path / "demo")
    folder = SeasonFolder(tmp_path / "demo")
    assert folder.doubts == []
    assert folder.season is folder.checked.season


def test_what_cannot_be_right_is_left_out_of_the_season(tmp_path: Path) -> None:
    folder = with_line(tmp_path / "demo", "readings", "2031-07-07,660,chest strap")
    assert str(folder.season.last_night) == "2031-07-06"
    assert str(read_season(folder.path).last_night) == "2031-07-07"  # as the files have it
    dosed = with_line(tmp_path / "dosed", "sessions", "2031-07-06,hill run,60")
    assert dosed.season.data[n.DOSE].values.max() == 1.3
    assert dosed.season.data.sizes[n.SESSION] == folder.season.data.sizes[n.SESSION] + 1


def test_a_confirmed_row_is_taken_as_it_stands(tmp_path: Path) -> None:
    folder = with_line(tmp_path / "demo", "readings", "2031-07-07,660,chest strap")
    (folder.path / "confirmed.csv").write_text(
        'date,entry\n2031-07-07,"reading 660 ms, chest strap"\n', encoding="utf-8"
    )
    again = SeasonFolder(folder.path)
    assert again.doubts == []
    assert np.exp(again.season.data[n.LOG_RMSSD].values[-1]) == pytest.approx(660)


def test_check_confirms_once_and_for_all_and_undo_takes_it_back(tmp_path: Path) -> None:
    folder = with_line(tmp_path / "demo", "sessions", "2031-07-06,Hill Run,60").path
    before = {path.name: path.read_bytes() for path in folder.glob("*.csv")}
    assert len(SeasonFolder(folder).doubts) == 2
    told = run("check", folder, "--yes")
    assert told.status == 0
    assert "as right" in told.err
    assert "nearly" not in told.out
    assert (folder / "confirmed.csv").read_text() == (
        'date,entry\n2031-07-06,"session Hill Run, dose 60"\n'
    )
    assert run("check", folder, "--yes").err == ""
    assert SeasonFolder(folder).doubts == []
    SeasonFolder(folder).undo()
    assert {path.name: path.read_bytes() for path in folder.glob("*.csv")} == before


def test_where_many_rows_would_go_they_are_no_slips(tmp_path: Path) -> None:
    rows = [f"2031-01-{day:02d},{9 if day % 4 else 90}" for day in range(1, 29)]
    (tmp_path / "readings.csv").write_text("\n".join(["date,rmssd_ms", *rows]) + "\n")
    folder = SeasonFolder(tmp_path)
    assert {found.assumed for found in folder.doubts} <= {AS_IT_STANDS}
    assert folder.season.read.all()


def test_check_tells_them_as_notes_and_as_facts(tmp_path: Path) -> None:
    folder = with_line(tmp_path / "demo", "sessions", "2031-07-06,hill run,60")
    (found,) = folder.doubts
    told = run("check", folder.path)
    assert told.status == 0
    assert f"Note: {sentence(found.reason)}" in " ".join(told.out.split())
    facts = json.loads(run("check", folder.path, "--json").out)
    (doubt,) = facts["doubts"]
    assert doubt["code"] == "unlikely dose"
    assert (doubt["file"], doubt["line"], doubt["column_number"]) == ("sessions.csv", 80, 3)
    assert (doubt["dose"], doubt["assumed"]) == (60.0, USUAL_DOSE)
    assert "minutes" in doubt["mend"]
    assert facts["warnings"][-1] == sentence(found.reason)


def test_the_page_explains_doubts(tmp_path: Path, explained: Explained) -> None:
    lines = [
        *(wrong for wrong in WRONG if wrong.name not in PROBLEMS | UNSEEN),
        Wrong("too small a dose", "sessions", "2031-07-06,hill run,0.037", ""),
        Wrong("no slip of ours", "readings", "2031-07-07,19,chest strap", ""),
    ]
    told = []
    for number, wrong in enumerate(lines):
        for found in with_line(tmp_path / str(number), wrong.file, wrong.line).doubts:
            told.append("; ".join(words.told_of(found.reason)))
    ahead = Reason("in the future", column="date", date="2031-07-08", today="2031-07-07",
                   meant="2031-07-07")  # fmt: skip
    explained("Every doubt", [*told, "; ".join(words.told_of(ahead))])


def test_check_season_gives_the_rows(tmp_path: Path) -> None:
    copy_demo(tmp_path / "demo")
    tables = check_season(tmp_path / "demo").tables
    assert tables is not None
    assert len(tables.readings.entries) == 171


def test_a_dose_in_minutes_spoils_no_forecast(demo_copy: Path) -> None:
    with (demo_copy / "sessions.csv").open("a") as sessions:
        sessions.write("2031-07-06,hill run,60\n")
    told = json.loads(run("forecast", demo_copy, "--json").out)
    (reason,) = told["reasons"]
    assert reason["code"] == "unlikely dose"
    assert (reason["line"], reason["dose"], reason["assumed"]) == (80, 60.0, USUAL_DOSE)
    assert told["nights"][0]["rmssd_ms"]["low"] > 30
    run("check", demo_copy, "--yes")
    refused = run("forecast", demo_copy)
    assert refused.status == 1
    assert "0 ms" not in refused.out
    assert "dose 60 lies far beyond" in refused.err


def test_fit_names_a_reading_without_its_point_and_what_it_assumed(demo_copy: Path) -> None:
    path = demo_copy / "readings.csv"
    text = path.read_text()
    path.write_text(text.replace("2031-04-20,72.9,", "2031-04-20,729,"))
    told = run("fit", demo_copy, "--draws", "100", "--chains", "2", "--seed", "1")
    assert "readings.csv:101:2: 729 ms on 2031-04-20" in told.err
    assert "write 72.9 ms" in told.err
    assert "answers leave it out" in told.err
    assert "Fitted 170 readings" in told.out
