"""A line a day by the command line: what it writes, what it says, and how it is taken back."""

from __future__ import annotations

import csv
import datetime as dt
import json
import os
import stat
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import pytest

from slackwater.fitting import SeasonFolder
from slackwater.fitting.mornings import FILE_NAME as MORNINGS
from slackwater.fitting.mornings import read_mornings
from tests.fitting.conftest import Fitted, Ran, run

NEXT: Final = "2031-07-07"  # the morning after the demo season's last
PANDAS: Final = {"pandas", "xarray", "numpy", "h5py"}


def as_json(*words: object) -> Any:
    ran = run(*words, "--json")
    assert ran.status == 0, ran.err
    return json.loads(ran.out)


def refused(ran: Ran, said: str) -> None:
    assert ran.status == 1
    assert ran.out == ""
    assert said in ran.err
    assert "Nothing was written. If it is right, log it again with --yes." in ran.err


def files(folder: Path) -> dict[str, bytes]:
    paths = (path for path in folder.iterdir() if not path.name.startswith(".slackwater"))
    return {path.name: path.read_bytes() for path in paths}


@pytest.fixture(scope="module", autouse=True)
def mornings(demo: Fitted) -> None:
    """Let the demo's folder hold what any answer leaves behind."""
    assert run("forecast", demo.folder).status == 0
    assert read_mornings(demo.folder)


@pytest.mark.parametrize(("kept", "later"), [(True, 1), (True, 4), (False, 1), (True, 12)])
def test_what_was_expected_is_what_forecast_says_to_the_digit(
    demo_copy: Path, kept: bool, later: int
) -> None:
    if not kept:
        (demo_copy / MORNINGS).unlink()
    foretold = as_json("forecast", demo_copy, "--nights", later)["nights"][-1]
    if not kept:
        (demo_copy / MORNINGS).unlink()
    one = as_json("forecast", demo_copy, "--nights", 30)["nights"][later - 1]
    assert one == foretold
    told = as_json("log", "reading", demo_copy, 66, "--date", foretold["date"])
    assert told["expected_ms"] == foretold["rmssd_ms"]
    assert (told["ln_mean"], told["ln_sd"]) == (foretold["ln_mean"], foretold["ln_sd"])
    assert told["percent"] == pytest.approx(100 * (66 / foretold["rmssd_ms"]["median"] - 1))


def test_what_was_expected_is_told_in_words(demo_copy: Path) -> None:
    morning = as_json("forecast", demo_copy)["nights"][0]["rmssd_ms"]
    said = run("log", "reading", demo_copy, 58.5, "--date", NEXT).out
    under = round(100 * (1 - 58.5 / morning["median"]))
    assert " ".join(said.split()).startswith(
        f"Logged the reading of {NEXT} (58.5 ms): readings.csv. 58.5 ms: {under} % under what was "
        f"expected of you on the morning of {NEXT}: {morning['median']:.0f} ms, 8 times in 10 "
        f"between {morning['low']:.0f} and {morning['high']:.0f}."
    )
    assert all(len(line) <= 80 for line in said.splitlines())


def test_in_the_usual_rhythm_neither_pandas_nor_numpy_is_loaded(demo_copy: Path) -> None:
    script = (
        "import sys\nfrom slackwater.fitting.cli import main\n"
        f"sys.argv = ['slackwater', 'log', 'reading', {str(demo_copy)!r}, '60']\n"
        f"sys.argv += ['--date', {NEXT!r}]\n"
        "main()\nprint(*sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert "% under what was expected" in " ".join(ran.stdout.split())
    assert not PANDAS & set(ran.stdout.splitlines()[-1].split())


def test_the_usual_rhythm_needs_no_working_out(demo_copy: Path) -> None:
    """Readings, sessions, questions: what each leaves behind is right for the next."""
    day = dt.date.fromisoformat(NEXT)
    run("log", "reading", demo_copy, 64, "--date", day)
    run("log", "session", demo_copy, "hill run", "--date", day)
    assert read_mornings(demo_copy)
    day += dt.timedelta(1)
    run("log", "reading", demo_copy, 55, "--date", day)
    run("baseline", demo_copy)
    assert read_mornings(demo_copy)
    day += dt.timedelta(1)
    run("log", "reading", demo_copy, 58, "--date", day)
    day += dt.timedelta(1)
    run("log", "reading", demo_copy, 60, "--date", day)  # worked out, and the next one with it
    kept = read_mornings(demo_copy)
    assert kept
    assert kept.last_night == str(day)
    foretold = as_json("forecast", demo_copy)["nights"][0]
    assert (kept.nights[0].date, kept.nights[0].median) == (
        foretold["date"],
        foretold["rmssd_ms"]["median"],
    )


@pytest.mark.parametrize("changed", ["sessions.csv", "readings.csv", "season.toml", "posterior.nc"])
def test_what_was_foreseen_of_a_changed_season_is_not_taken(demo_copy: Path, changed: str) -> None:
    assert read_mornings(demo_copy)
    with (demo_copy / changed).open("ab") as file:
        file.write(b"#")
    assert read_mornings(demo_copy) is None


@pytest.mark.parametrize("content", [b"", b"{", b"[]", b'{"key": 1}'])
def test_a_damaged_record_of_mornings_is_made_anew(demo_copy: Path, content: bytes) -> None:
    expected = read_mornings(demo_copy)
    (demo_copy / MORNINGS).write_bytes(content)
    assert read_mornings(demo_copy) is None
    assert SeasonFolder(demo_copy).mornings == expected == read_mornings(demo_copy)


@pytest.mark.parametrize(
    ("words", "file", "row"),
    [
        (("session", "hill run"), "sessions.csv", ["hill run", ""]),
        (("session", "hill run", "--dose", "0.5"), "sessions.csv", ["hill run", "0.5"]),
        (("intervention", "river dip"), "interventions.csv", ["river dip"]),
        (("stressor", "cold"), "stressors.csv", ["cold"]),
    ],
)
def test_what_acts_on_the_night_is_answered_by_the_next_morning(
    demo_copy: Path, words: tuple[str, ...], file: str, row: list[str]
) -> None:
    command, name, *more = words
    before = files(demo_copy)
    told = as_json("log", command, demo_copy, name, *more, "--date", "2031-07-08")
    with (demo_copy / file).open(newline="") as opened:
        assert [*csv.reader(opened)][-1] == ["2031-07-08", *row]
    assert {n for n, content in files(demo_copy).items() if before.get(n) != content} == {file}
    answer = as_json("forecast", demo_copy, "--nights", 3)
    assert told["next_morning"] == answer["nights"][-1]
    assert told["next_morning"]["date"] == "2031-07-09"
    assert told["days_to_baseline"] == answer["days_to_baseline"]
    run("log", "undo", demo_copy)
    assert files(demo_copy) == before


def test_a_season_begins_with_a_line(tmp_path: Path) -> None:
    folder = tmp_path / "spring"
    refused(run("log", "reading", folder, 57.6), "There is no folder")
    assert not folder.exists()
    ran = run("log", "reading", folder, 57.6, "--yes")
    today = dt.date.today()
    assert " ".join(ran.out.split()) == (
        f"Logged the reading of {today} (57.6 ms): readings.csv, a new file. Nothing was learnt "
        "yet, so nothing was expected; the first fit takes 13 more readings."
    )
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert files(folder) == {"readings.csv": f"date,rmssd_ms\n{today},57.6\n".encode()}
    run("log", "session", folder, "row", "--date", "yesterday")
    yesterday = today - dt.timedelta(1)
    assert files(folder)["sessions.csv"] == f"date,type\n{yesterday},row\n".encode()
    assert SeasonFolder(folder).season.types == ["row"]
    for _ in range(2):
        assert run("log", "undo", folder).status == 0
    assert files(folder) == {}
    again = run("log", "undo", folder)
    assert (again.status, again.err) == (1, "Nothing that was logged here is left to undo.\n")


def test_where_readings_are_enough_the_fit_is_named(tmp_path: Path) -> None:
    for day in range(1, 15):
        said = run("log", "reading", tmp_path, 57 + day / 10, "--date", f"2031-01-{day:02}")
    assert said.out.endswith(f"learn from:\n  slackwater fit {tmp_path}\n")


def test_a_second_reading_of_a_night_is_asked_about(demo_copy: Path) -> None:
    before = files(demo_copy)
    words = ("log", "reading", demo_copy, 71, "--date", "2031-07-06")
    refused(run(*words), "readings.csv has a reading of 2031-07-06 already, 66.6 ms")
    assert files(demo_copy) == before
    ran = run(*words, "--yes")
    assert "is not after the last reading (2031-07-06), so nothing was foreseen" in ran.out.replace(
        "\n", " "
    )
    old, new = (f["readings.csv"].splitlines() for f in (before, files(demo_copy)))
    assert (old[:-1], old[-1].replace(b"66.6", b"71")) == (new[:-1], new[-1])
    run("log", "undo", demo_copy)
    assert files(demo_copy) == before


def test_the_sensor_is_the_one_before_unless_it_is_named(demo_copy: Path) -> None:
    run("log", "reading", demo_copy, 66, "--date", NEXT)
    run("log", "reading", demo_copy, 66, "--date", "2031-07-08", "--sensor", "ring")
    with (demo_copy / "readings.csv").open(newline="") as opened:
        rows = [*csv.DictReader(opened)]
    assert rows[-3]["sensor"] == rows[-2]["sensor"] != ""
    assert rows[-1]["sensor"] == "ring"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("reading", "{}", "66x"), "rmssd_ms '66x' is not a number; give milliseconds"),
        (("reading", "{}", "66,4"), "rmssd_ms '66,4' has a decimal comma"),
        (("reading", "{}", "0"), "rmssd_ms '0' is not above 0"),
        (("reading", "{}", "66", "--date", "7.7.2031"), "'7.7.2031' is no date; write it as"),
        (("session", "{}", "row", "--dose", "-1"), "dose '-1' is not above 0"),
        (("session", "{}", " "), "type is empty"),
        (("stressor", "{}", "a\nb"), "holds a line break"),
        (("intervention", "{}", "river dip", "--date", "2031-07-06"), "stands in line 169 already"),
    ],
)
def test_what_is_no_such_row_is_refused(demo_copy: Path, words: tuple[str, ...], said: str) -> None:
    before = files(demo_copy)
    ran = run("log", *(word.format(demo_copy) for word in words))
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err
    assert files(demo_copy) == before


def test_a_decimal_comma_is_typed_where_the_season_has_it(tmp_path: Path) -> None:
    (tmp_path / "season.toml").write_text('[csv]\nseparator = ";"\ndecimal = ","\n')
    run("log", "reading", tmp_path, "66,4", "--date", NEXT)
    assert (tmp_path / "readings.csv").read_text() == f"date;rmssd_ms\n{NEXT};66,4\n"


def test_the_last_days_stand_side_by_side(demo_copy: Path) -> None:
    run("log", "session", demo_copy, "hill run", "--dose", 0.5, "--date", NEXT)
    run("log", "stressor", demo_copy, "late travel", "--date", NEXT)
    shown = run("log", "show", demo_copy, "--days", 3).out.splitlines()
    assert all(len(line) <= 80 for line in shown)
    assert shown[0].split() == ["day", "reading", "sessions", "measures", "stressors"]
    assert shown[-1].split("  ")[0] == "Mon 2031-07-07"
    assert "hill run, dose 0.5" in shown[-1]
    assert shown[-1].endswith("late travel")
    told = as_json("log", "show", demo_copy, "--days", 3)
    assert [day["date"] for day in told["days"]] == ["2031-07-05", "2031-07-06", NEXT]
    assert told["days"][-1]["sessions"] == [{"type": "hill run", "dose": 0.5}]
    assert told["days"][1]["rmssd_ms"] == 66.6
    assert (told["last_night"], told["problems"]) == ("2031-07-06", 0)


def test_what_cannot_be_read_does_not_hide_the_rest(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-07-07,x\n2031-07-08,60\n")
    (tmp_path / "sessions.csv").write_bytes(b"\xff")
    ran = run("log", "show", tmp_path, "--days", 2)
    assert "60 ms" in ran.out
    assert ran.err == "2 problems in the files; see `check`.\n"
    assert run("log", "show", tmp_path / "none").err == "Nothing is logged here yet.\n"


def test_undo_as_json(demo_copy: Path) -> None:
    run("log", "reading", demo_copy, 66, "--date", NEXT)
    told = as_json("log", "undo", demo_copy)
    assert told["undone"] == "the reading of 2031-07-07 (66 ms)"
    assert (told["files"], told["more"], told["last_night"]) == (["readings.csv"], 0, "2031-07-06")


def test_a_person_at_a_terminal_is_asked(tmp_path: Path) -> None:
    """On a real terminal, a pseudo one: no writes nothing, yes replaces."""
    pty = pytest.importorskip("pty")
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-07-07,60\n")
    for answer, status, held in ((b"n\n", 1, "60"), (b"y\n", 0, "66")):
        main, other = pty.openpty()
        words = [sys.executable, "-m", "slackwater.fitting", "log", "reading", str(tmp_path), "66"]
        asked = subprocess.Popen(
            [*words, "--date", "2031-07-07"], stdin=other, stdout=other, stderr=other
        )
        os.write(main, answer)
        assert asked.wait(timeout=60) == status
        assert b"Log it all the same? [y/N]" in os.read(main, 10_000)
        os.close(main)
        os.close(other)
        assert (tmp_path / "readings.csv").read_text() == f"date,rmssd_ms\n2031-07-07,{held}\n"
