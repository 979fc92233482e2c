"""Many problems in one go, and those of the folder itself."""

from __future__ import annotations

import os
import tracemalloc
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from slackwater.fitting.files import MEBIBYTE, MOST_OF_A_TEXT
from slackwater.fitting.intake import SeasonFilesError, check_season, read_season

Write = Callable[[Mapping[str, str | bytes]], Path]

READINGS = "date,rmssd_ms\n2026-01-05,50\n2026-01-06,52\n"


def test_every_problem_of_every_file_in_one_go(season_folder: Write) -> None:
    folder = season_folder(
        {
            "stressors.csv": "",
            "sessions.csv": "date,type,dose\n2026-01-05,,x\n",
            "types.csv": "date;type\n",
            "interventions.csv": "date,intervention\n2026-01-32,sauna\n2026-01-05\n",
            "readings.csv": "date,rmssd_ms\n3.1.2026,nan\n2026-01-05,50\n\n2026-01-05,51\n",
        }
    )
    with pytest.raises(SeasonFilesError) as caught:
        read_season(folder)
    assert [(p.file, p.line, p.column) for p in caught.value.problems] == [
        ("readings.csv", 2, 1),
        ("readings.csv", 2, 2),
        ("readings.csv", 4, 1),
        ("readings.csv", 5, 1),
        ("sessions.csv", 2, 2),
        ("sessions.csv", 2, 3),
        ("types.csv", 1, 1),
        ("interventions.csv", 2, 1),
        ("interventions.csv", 3, 2),
        ("stressors.csv", 1, 1),
    ]
    assert str(caught.value).splitlines() == [str(p) for p in caught.value.problems]


def test_rows_above_an_open_quote_are_checked_as_well(season_folder: Write) -> None:
    text = 'date,rmssd_ms,note\n2026-01-05,-5,\n2026-01-06,52,"tired\n2026-01-07,-1,\n'
    problems = check_season(season_folder({"readings.csv": text})).problems
    assert [(p.line, p.what[:8]) for p in problems] == [(2, "rmssd_ms"), (3, "the row'")]


def test_several_problems_of_season_toml_come_by_line(season_folder: Write) -> None:
    toml = 'nmae = "x"\n[csv]\ndecimal = "."\nseparator = 1\nfoo = 1\n'
    folder = season_folder({"readings.csv": READINGS, "season.toml": toml})
    assert [p.line for p in check_season(folder).problems] == [1, 4, 5]


@pytest.mark.parametrize(
    ("wrong", "more"), [(20, None), (21, "1 more problem"), (168, "148 more problems")]
)
def test_many_of_one_kind_are_counted(season_folder: Write, wrong: int, more: str | None) -> None:
    days = [f"2026-{1 + day // 28:02d}-{1 + day % 28:02d}" for day in range(wrong)]
    rows = [*(f"{day},x" for day in days), "5.1.2027,50"]
    folder = season_folder({"readings.csv": "\n".join(["date,rmssd_ms", *rows])})
    problems = check_season(folder).problems
    assert [p.line for p in problems[:20]] == list(range(2, 22))
    # A problem of another kind is never hidden behind the many.
    assert problems[-1].what == "date '5.1.2027' is not an ISO 8601 date"
    counted = [
        f"readings.csv:22:1: {more} like the 20 above, down to line {wrong + 1}; "
        "mend them in the same way"
    ]
    assert [str(p) for p in problems[20:-1]] == (counted if more else [])


@pytest.mark.parametrize("form", [str, Path])
def test_a_folder_that_is_not_there(tmp_path: Path, form: Callable[[Path], str | Path]) -> None:
    nowhere = tmp_path / "nowhere"
    with pytest.raises(SeasonFilesError) as caught:
        read_season(form(nowhere))
    text = f"{nowhere}:1:1: there is no such folder; give the folder that holds readings.csv"
    assert str(caught.value) == text


def test_a_file_given_for_the_folder(tmp_path: Path) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(READINGS)
    (problem,) = check_season(file).problems
    text = f"{file}:1:1: this is a file, not a folder; give the folder that holds it"
    assert str(problem) == text


def test_a_file_that_cannot_be_read(season_folder: Write) -> None:
    folder = season_folder({"readings.csv": READINGS})
    (folder / "sessions.csv").mkdir()
    os.mkfifo(folder / "types.csv")
    (folder / "stressors.csv").symlink_to("/dev/zero")
    (folder / "interventions.csv").symlink_to("interventions.csv")
    no_file = "it is a pipe, a socket or a device); put a plain file in its place, or take it away"
    assert [str(problem) for problem in check_season(folder).problems] == [
        "sessions.csv:1:1: the file cannot be read (it is a folder); move it away, and put the "
        "file in its place",
        f"types.csv:1:1: the file cannot be read ({no_file}",
        "interventions.csv:1:1: the file cannot be read (Too many levels of symbolic links); the "
        "links lead in a circle; put the file itself in its place",
        f"stressors.csv:1:1: the file cannot be read ({no_file}",
    ]


def test_a_link_is_followed_to_a_file_alone(season_folder: Write, tmp_path: Path) -> None:
    folder = season_folder({"kept elsewhere": READINGS})
    (folder / "readings.csv").symlink_to("kept elsewhere")
    assert check_season(folder).problems == ()
    (folder / "kept elsewhere").unlink()
    (problem,) = check_season(folder).problems
    text = "this is a link to nothing; put the file in its place, or delete it"
    assert str(problem) == f"readings.csv:1:1: {text}"


def test_a_file_of_200_mb_is_refused_in_bounded_memory(season_folder: Write) -> None:
    folder = season_folder({"readings.csv": READINGS})
    for name in ("sessions.csv", "season.toml"):
        with (folder / name).open("wb") as file:
            file.truncate(200_000_000)
    tracemalloc.start()
    (problem,) = check_season(folder).problems
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert problem.what == (
        "the file cannot be read (it holds more than 16 MiB, the most that is read)"
    )
    assert most < 2 * MOST_OF_A_TEXT + 10 * MEBIBYTE


def test_rows_without_end_are_refused(season_folder: Write) -> None:
    rows = "2026-01-05,50\n" * 200_001
    (problem,) = check_season(season_folder({"readings.csv": f"date,rmssd_ms\n{rows}"})).problems
    said = "there are over 200,000 rows; leave in it one season's rows"
    assert str(problem) == f"readings.csv:200002:1: {said}"


def test_a_season_nearby_is_suggested(tmp_path: Path) -> None:
    for name, file in (("demo", "readings.csv"), ("dmeo-plans", "notes.txt")):
        (tmp_path / name).mkdir()
        (tmp_path / name / file).write_text(READINGS)
    (problem,) = check_season(tmp_path / "dmeo").problems
    assert problem.mend == f"did you mean {tmp_path / 'demo'}?"


def test_a_folder_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", refuse)
    (problem,) = check_season(tmp_path).problems
    text = f"{tmp_path}:1:1: the folder cannot be read (Permission denied); allow reading it"
    assert str(problem) == text
