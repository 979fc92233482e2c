"""`slackwater spacing` as it is typed, with what it prints and writes."""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path

import pytest
from icalendar import Calendar

from slackwater.model.season import Season
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.conftest import Fitted, Ran, run

WANT = ("--want", "hill run:1", "--want", "steady row:1", "--days", "14")
# A state from which anything fits: small dips, soon over.
KNOWN = Known(
    dict.fromkeys(
        ("easy paddle", "steady row", "row intervals", "heavy lifting", "hill run"), (0.06, 0.7)
    ),
    stressors={"head cold": (0.1, 1.0)},
    rate_ratios={"river dip": 1.0, "beet juice": 1.0},
    sensor_steps={"finger clip": 0.0},
)


def spacing(folder: Path, *arguments: str) -> Ran:
    return run("spacing", folder, *arguments)


def test_a_plan_is_shown_day_by_day_within_80_columns(demo_copy: Path) -> None:
    ran = spacing(demo_copy, *WANT, "--from", "2031-07-07", "--rest", "Sunday")
    assert (ran.status, ran.err) == (0, "")
    assert "It fits: 2 sessions, the last on 2031-07-" in ran.out
    assert all(len(line) <= 80 for line in ran.out.splitlines())
    rows = [line.split() for line in ran.out.splitlines() if line.startswith("2031-07-")]
    assert [row[1] for row in rows] == 2 * ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    assert [row[2] for row in rows].count("rest") == 12
    assert all(row[2] == "rest" for row in rows if row[1] == "Sun")
    assert "how you feel" in ran.out
    assert not (demo_copy / "plans.json").exists()


def test_json_is_the_same_plan(demo_copy: Path) -> None:
    ran = spacing(demo_copy, *WANT, "--json", "--chance-for", "steady row:0.9", "--level", "0.5")
    found = json.loads(ran.out)
    assert (ran.status, ran.err, found["fits"], found["level"]) == (0, "", True, 0.5)
    assert found["chances"] == {"hill run": 0.8, "steady row": 0.9}
    assert all(s["chance"] >= s["asked"] for s in found["sessions"])
    days = {row["date"]: row for row in found["calendar"]}
    for session in found["sessions"]:
        assert days[session["date"]]["session"] == session["type"]
        assert days[session["date"]]["chance_recovered"] == session["chance"]


def test_what_gives_is_said_in_words(demo_copy: Path) -> None:
    wanted = ("--want", "hill run:2", "--want", "easy paddle:1", "--days", "6")
    ran = spacing(demo_copy, *wanted)
    said = " ".join(ran.out.split())
    assert ran.status == 0
    assert "It does not fit: 3 sessions in 6 days" in said
    assert "3 sessions in " in said
    assert " days instead of 6:" in said
    assert "leaving out hill run (" in said
    assert "In the order that comes nearest, " in said
    assert all(len(line) <= 80 for line in ran.out.splitlines())


def test_too_few_open_days_are_said(demo_copy: Path) -> None:
    ran = spacing(demo_copy, "--want", "easy paddle:3", "--days", "3", "--rest", "Monday")
    assert "Only 2 days can hold a session" in ran.out


def test_an_answer_comes_within_a_second_or_so(demo_copy: Path) -> None:
    spacing(demo_copy, *WANT)  # whatever has to be loaded is
    begun = time.process_time()
    spacing(demo_copy, *WANT)
    assert time.process_time() - begun < 2  # about 0.3 s


def test_a_calendar_is_written_kept_and_not_overwritten(demo_copy: Path, tmp_path: Path) -> None:
    path = tmp_path / "plan.ics"
    ran = spacing(demo_copy, *WANT, "--ics", str(path))
    assert ran.status == 0
    assert f"Wrote {path}." in ran.err
    content = path.read_bytes()
    found = Calendar.from_ical(content).walk("VEVENT")
    kept = json.loads((demo_copy / "plans.json").read_text("utf-8"))
    assert [str(e.decoded("dtstart")) for e in found] == [s["date"] for s in kept[0]["sessions"]]
    again = spacing(demo_copy, *WANT, "--ics", str(path))
    assert again.status == 2
    assert "is there already" in again.err
    assert path.read_bytes() == content
    forced = spacing(demo_copy, *WANT, "--ics", str(path), "--force")
    assert forced.status == 0
    assert len(json.loads((demo_copy / "plans.json").read_text("utf-8"))) == 1
    assert spacing(demo_copy, *WANT, "--keep", "--chance", "0.7").status == 0
    assert len(json.loads((demo_copy / "plans.json").read_text("utf-8"))) == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["demo", "plan.ics"]


def test_what_cannot_be_written_is_not_kept(
    demo_copy: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ran = spacing(demo_copy, *WANT, "--ics", str(tmp_path / "nowhere" / "plan.ics"))
    assert ran.status != 0
    assert "nowhere" in ran.err
    path = tmp_path / "plan.ics"
    path.write_bytes(b"before")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    ran = spacing(demo_copy, *WANT, "--ics", str(path), "--force")
    assert ran.status != 0
    assert "No space left on device" in ran.err
    assert path.read_bytes() == b"before"
    assert not (demo_copy / "plans.json").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["demo", "plan.ics"]


def test_nothing_is_written_where_no_plan_fits(demo_copy: Path, tmp_path: Path) -> None:
    path = tmp_path / "plan.ics"
    ran = spacing(demo_copy, "--want", "hill run:3", "--ics", str(path))
    assert ran.status == 1
    assert "No plan fits, so none was written or kept." in ran.err
    assert not path.exists()
    assert not (demo_copy / "plans.json").exists()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "No session is wanted"),
        (("--want", "hill run"), "'hill run' is not of the form TYPE:COUNT"),
        (("--want", "hill run:two"), "not of the form TYPE:COUNT"),
        (("--want", ":2"), "not of the form TYPE:COUNT"),
        (("--want", "hill run:1", "--want", "hill run:2"), "'hill run' is given twice"),
        (("--want", "hil run:1"), "Did you mean 'hill run'"),
        ((*WANT, "--fixed", "hill run"), "not of the form DATE:TYPE"),
        ((*WANT, "--fixed", "08.07.2031:hill run"), "is no date"),
        (
            (*WANT, "--fixed", "2031-07-08:hill run", "--fixed", "2031-07-08:steady row"),
            "Two sessions are fixed on 2031-07-08",
        ),
        ((*WANT, "--chance-for", "hill run:much"), "not of the form TYPE:SHARE"),
        ((*WANT, "--chance", "80"), "The chance 80 is not above 0"),
        ((*WANT, "--rest", "someday"), "neither a date"),
        ((*WANT, "--check"), "--check stands alone"),
        (("--check", "--ics", "x.ics"), "--check stands alone"),
    ],
)
def test_wrong_usage(demo_copy: Path, arguments: tuple[str, ...], said: str) -> None:
    ran = spacing(demo_copy, *arguments)
    assert ran.status == 2
    assert said in " ".join(ran.err.split())
    assert ran.out == ""


def test_a_broken_file_of_plans_is_named_and_left(demo_copy: Path) -> None:
    path = demo_copy / "plans.json"
    path.write_text("[{]", "utf-8")
    for arguments in ((*WANT, "--keep"), ("--check",)):
        ran = spacing(demo_copy, *arguments)
        assert ran.status == 2
        assert f"{path}: not a list of plans" in ran.err.replace("\n", "")
        assert path.read_text("utf-8") == "[{]"


def test_a_check_without_a_plan_says_how_to_keep_one(demo_copy: Path) -> None:
    ran = spacing(demo_copy, "--check")
    assert (ran.status, ran.out) == (1, "")
    assert "No plan was kept" in ran.err
    assert f"slackwater spacing {demo_copy} --want TYPE:COUNT" in ran.err.replace("\n", "")


def test_planned_against_done_from_plan_to_check(demo: Fitted, tmp_path: Path) -> None:
    """Plan two weeks back, where the fit is made by hand; check from the whole season's."""
    early = demo.season.through(demo.season.nights[-15])
    folder = tmp_path / "demo"
    _write(folder, early)
    whole_posterior(early, KNOWN).save(folder)
    wanted = ("--want", "easy paddle:1", "--want", "heavy lifting:2", "--days", "9")
    fixed = ("--fixed", "2031-06-24:easy paddle", "--fixed", "2031-06-27:heavy lifting")
    assert spacing(folder, *wanted, *fixed, "--keep").status == 0
    before = json.loads((folder / "plans.json").read_text("utf-8"))[0]
    assert before["made_from"] == "2031-06-22"
    assert "3 planned sessions: 0 on the day, 0 moved, 0 missed, 3 to come." in (
        spacing(folder, "--check").out
    )
    shutil.copytree(demo.folder, folder, dirs_exist_ok=True)
    ran = spacing(folder, "--check")
    assert ran.status == 0
    assert "3 planned sessions: 2 on the day, 0 moved, 1 missed, 0 to come." in ran.out
    assert "No promise can be judged yet" in ran.out
    assert all(len(line) <= 80 for line in ran.out.splitlines())
    found = json.loads(spacing(folder, "--check", "--json").out)
    status = {(p["date"], p["type"]): p["status"] for p in found["planned"]}
    assert status.pop(("2031-06-24", "easy paddle")) == "on the day"
    assert status.pop(("2031-06-27", "heavy lifting")) == "on the day"
    assert list(status.values()) == ["missed"]
    assert [p["promised"] for p in found["planned"]] == [s["chance"] for s in before["sessions"]]
    # A hill run on 23 June, the day before the paddle, was not in the plan; nor were the row on
    # the 22nd and the paddle on the 29th.
    back = {p["date"]: p["chance_back"] for p in found["planned"]}
    assert back["2031-06-24"] < 0.1
    assert (found["done"], found["judged"], found["done_beside"]) == (2, 0, 3)


def _write(folder: Path, season: Season) -> None:
    """Write a season's files as the demo has them."""
    folder.mkdir()
    for name, table in season.tables().items():
        shown = table.rename(columns={"log_rmssd": "ln_rmssd"})
        shown.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
