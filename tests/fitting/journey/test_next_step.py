"""The one next step, from an empty folder on: by its rules, and by every command."""

from __future__ import annotations

import json
import shlex
import shutil
from pathlib import Path
from typing import Any

import pytest

from slackwater.fitting.journey.next_step import FIRST_FIT, Where, next_step
from slackwater.fitting.records.trials import Analysed, Stopped, Trial, append
from slackwater.fitting.sampling.fit import FEWEST_READINGS
from tests.fitting.conftest import Ran, run
from tests.fitting.report import folders
from tests.fitting.trials.by_hand import MEASURE, WRITTEN, day, plan

ROW = "2031-01-06,57.6\n"


def analysed(verdict: str) -> Analysed:
    return Analysed(
        trial=1,
        written=WRITTEN,
        last_night=day(50).astype(object),
        sessions_with=4,
        sessions_without=4,
        verdict=verdict,
        log_rate_ratio_mean=0.3,
        log_rate_ratio_sd=0.1,
        chance_worth_having=0.9,
        p_value=0.03,
    )


FITTED = Where("f", readings=100, sessions=40, weeks=10, plan_for="row", fitted=True, answers=True)
PLANNED = FITTED._replace(plan_until="2031-05-01")
OVER = PLANNED._replace(plan_over=True, plan_fitted=True)
OPEN = OVER._replace(trial=Trial(plan()), answers=False)  # a new measure is not in the fit yet
FASTER = OVER._replace(trial=Trial(plan(), [], analysed("faster")))
UNDECIDED = OVER._replace(trial=Trial(plan(), [], analysed("undecided")))
STOPPED = OVER._replace(trial=Trial(plan(), stopped=Stopped(trial=1, written=WRITTEN, because="x")))


@pytest.mark.parametrize(
    ("at", "stage", "command"),
    [
        (Where("f", begun=False, problems=1), "begin", "check f"),
        (Where("f", problems=3), "mend", "check f"),
        (Where("f", readings=3), "rest", "washout f"),
        (Where("f", readings=3, sessions=1), "read", "washout f"),
        (Where("f", readings=14), "fit", "fit f"),
        (Where("f", readings=14, fitted=True), "fit again", "fit f"),
        (Where("f", readings=14, fitted=True, answers=True), "rest on", "washout f"),
        (Where("f", readings=16, fitted=True, answers=True, plateau=True), "train", "fit f"),
        (FITTED._replace(fit_age=28), "fit again", "fit f"),
        (FITTED._replace(asked="fit"), "recovery", "recovery f"),
        (FITTED._replace(asked="recovery"), "repeats", "repeats f"),
        (FITTED._replace(asked="repeats", attributes=True), "elements", "elements f"),
        (FITTED._replace(asked="repeats"), "plan", "spacing f --want row:2 --days 14 --keep"),
        (FITTED._replace(asked="elements", weeks=4), "train on", "fit f"),
        (FITTED._replace(asked="elements", rare="swim"), "train on", "fit f"),
        (FITTED._replace(asked="elements", rare="swim", weeks=12), "plan",
         "spacing f --want row:2 --days 14 --keep"),
        (FITTED._replace(asked="spacing"), "plan otherwise",
         "spacing f --want TYPE:COUNT --days DAYS --keep"),
        (PLANNED, "follow the plan", "fit f"),
        (PLANNED._replace(plan_over=True), "fit the plan's days", "fit f"),
        (OVER, "check the plan", "spacing f --check"),
        (OVER._replace(asked="spacing check"), "plan a trial", "trial plan f --measure NAME"),
        (OPEN, "trial", "trial today f"),
        (OPEN._replace(due=True), "judge", "trial analyse f"),
        (FASTER._replace(asked="trial analyse"), "books", "trial ledger f"),
        (FASTER._replace(asked="trial ledger"), "adopt", "history f --from 2031-04-20"),
        (FASTER._replace(answers=False), "adopt", "history f --from 2031-04-20"),
        (FASTER._replace(since_judged=14, answers=False), "fit again", "fit f"),
        (FASTER._replace(since_judged=14), "look back", "history f --from 2031-04-20"),
        (FASTER._replace(since_judged=14, asked="history"), "another trial",
         "trial plan f --measure NAME"),
        (UNDECIDED, "another trial", "trial plan f --measure NAME"),
        (STOPPED, "another trial", "trial plan f --measure NAME"),
    ],
)  # fmt: skip
def test_each_state_has_one_next_step(at: Where, stage: str, command: str) -> None:
    step = next_step(at)
    assert (step.stage, step.command) == (stage, f"slackwater {command}")
    assert "{" not in step.sentence


def test_sentences_name_what_they_are_about() -> None:
    assert FIRST_FIT == FEWEST_READINGS
    assert "the first fit takes 11 more readings" in next_step(Where("f", readings=3)).sentence
    assert "in f/sessions.csv" not in next_step(OVER).sentence
    train = next_step(Where("f", readings=16, fitted=True, answers=True, plateau=True))
    assert "log each session in f/sessions.csv" in train.sentence
    assert MEASURE in next_step(OPEN).sentence
    assert "ended undecided, so it is not adopted" in next_step(UNDECIDED).sentence
    assert "swim was done fewer than 4 times" in next_step(
        FITTED._replace(asked="elements", rare="swim")
    ).sentence  # fmt: skip


def said(ran: Ran) -> str:
    return " ".join((ran.err + ran.out).split())


EVERY = ["check", "fit", "washout", "recovery", "repeats", "elements", "spacing", "history"]


@pytest.mark.parametrize(
    "command", [[c] for c in EVERY] + [["trial", "today"], ["trial", "ledger"]]
)
@pytest.mark.parametrize("there", [False, True])
def test_an_empty_folder_is_told_what_to_make(
    tmp_path: Path, command: list[str], there: bool
) -> None:
    folder = tmp_path / "my season"
    if there:
        folder.mkdir()
    ran = run(*command, folder)
    assert ran.status == (1 if command[0] == "trial" and command[1] == "today" else 2)
    assert "begin with a file readings.csv in a folder" in said(ran)
    assert "such as date,rmssd_ms 2031-01-06,57.6 and then:" in said(ran)
    assert said(ran).endswith(f"slackwater check '{folder}'")


@pytest.mark.parametrize(
    "command", [[c] for c in EVERY] + [["trial", "today"], ["trial", "ledger"]]
)
def test_one_reading_leads_to_rest(tmp_path: Path, command: list[str]) -> None:
    (tmp_path / "readings.csv").write_text(f"date,rmssd_ms\n{ROW}", encoding="utf-8")
    ran = run(*command, tmp_path)
    assert ran.status == (0 if command[0] in ("check", "washout") else 1)
    assert "Next: rest completely and read every night" in said(ran)
    assert said(ran).endswith(f"slackwater washout {tmp_path}")


def test_a_broken_file_is_to_be_mended_first(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n2031-01-06,x\n", encoding="utf-8")
    ran = run("check", tmp_path)
    assert ran.status == 2
    step = f"Next: mend what is named above, then: slackwater check {tmp_path}"
    assert " ".join(ran.out.split()).endswith(step)
    found = json.loads(run("check", tmp_path, "--json").out)
    assert found["next"]["stage"] == "mend"


@pytest.fixture
def made(tmp_path: Path) -> Path:
    """A season of 40 nights with a posterior made by hand."""
    names = folders.Names("hills", "paddle", "dip", "effort", ("hard", "easy"), "cold", "lifting")
    folders.write(tmp_path, names)
    return tmp_path


def stage(folder: Path, *command: str) -> Any:
    ran = run(*command[:1], folder, *command[1:], "--json")
    assert ran.status == 0, ran.err
    return json.loads(ran.out)["next"]["stage"]


def test_the_folder_tells_how_far_it_has_come(made: Path) -> None:
    assert stage(made, "check") == "recovery"
    assert stage(made, "recovery") == "repeats"
    assert stage(made, "elements") == "train on"  # five weeks of training
    assert stage(made, "washout") == "train on"
    append(made, plan(start=30, types={"hills": 0.5, "lifting": 0.5}))
    assert stage(made, "check") == "trial"
    assert stage(made, "washout") == "trial"
    with (made / "interventions.csv").open("a", encoding="utf-8") as file:
        file.write(f"{day(31)},{MEASURE}\n")
    assert stage(made, "check") == "trial"  # though the fit does not know the measure
    shown = run("recovery", made)
    assert shown.status == 1
    (made / "trials.json").unlink()
    assert stage(made, "check") == "fit again"
    (made / "posterior.nc").write_bytes(b"broken")
    assert stage(made, "check") == "fit again"


def test_a_plan_is_followed_and_checked(made: Path) -> None:
    kept = {
        "schema": 1, "season": "x", "made_from": "2031-04-09", "start": "2031-04-09", "days": 7,
        "rest": [], "logged": [],
        "sessions": [{"date": "2031-04-10", "type": "hills", "fixed": False, "chance": 0.9,
                      "asked": 0.8}],
    }  # fmt: skip
    (made / "plans.json").write_text(json.dumps([kept]), encoding="utf-8")
    asked = stage(made, "elements")
    assert asked == "train on"  # the weeks come first
    (made / "plans.json").write_text("[{]", encoding="utf-8")
    assert stage(made, "check") == "recovery"


def test_the_next_step_is_the_last_thing_said(made: Path) -> None:
    for command in ("recovery", "washout", "elements"):
        lines = run(command, made).out.splitlines()
        assert lines[-1].startswith("  slackwater ") or lines[-2].startswith("  slackwater")
        assert any(line.startswith("Next: ") for line in lines[-4:])
    assert "Next:" not in run("baseline", made).out


def test_an_old_fit_is_to_be_made_anew(made: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(made, tmp_path / "older")
    with (folder / "readings.csv").open("a", encoding="utf-8") as file:
        file.writelines(f"{day(folders.NIGHTS + night)},100\n" for night in range(28))
    assert stage(folder, "check") == "fit again"


def test_a_name_that_a_shell_would_take_apart_is_quoted() -> None:
    step = next_step(FITTED._replace(asked="repeats", plan_for="hill run; ls $HOME"))
    assert shlex.split(step.command)[3:5] == ["--want", "hill run; ls $HOME:2"]
