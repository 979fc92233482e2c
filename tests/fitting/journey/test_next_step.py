"""The one next step, from an empty folder on: by its rules, and by every command."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import SeasonFolder
from slackwater.fitting.daily.logged import FIRST_FIT
from slackwater.fitting.journey.next_step import RULES, Where, next_step
from slackwater.fitting.records.trials import Analysed, Stopped, Trial
from slackwater.fitting.sampling.fit import FEWEST_READINGS
from tests.fitting.answers import by_hand
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


FITTED = Where(
    readings=100,
    sessions=40,
    weeks=10,
    plan_for="row",
    fitted=True,
    answers=True,
    fitted_until="2031-05-02",
)
PLANNED = FITTED._replace(plan_until="2031-05-01")
OVER = PLANNED._replace(plan_over=True)
OPEN = OVER._replace(trial=Trial(plan()), answers=False)  # a new measure is not in the fit yet
FASTER = OVER._replace(trial=Trial(plan(), [], analysed("faster")), verdict="faster")
UNDECIDED = OVER._replace(trial=Trial(plan(), [], analysed("undecided")), verdict="undecided")
STOPPED = OVER._replace(trial=Trial(plan(), stopped=Stopped(trial=1, written=WRITTEN, because="x")))
BEGUN = Where(readings=14, fitted=True, answers=True)


@pytest.mark.parametrize(
    ("at", "stage"),
    [
        (Where(begun=False, problems=1), "begin"),
        (Where(problems=3), "mend"),
        (Where(readings=3), "rest"),
        (Where(readings=3, sessions=1), "read"),
        (Where(readings=14), "fit"),
        (Where(readings=14, fitted=True), "fit what is new"),
        (BEGUN._replace(unexplained=True), "find out"),
        (BEGUN, "rest on"),
        (BEGUN._replace(plateau=True), "train"),
        (FITTED._replace(fit_age=28), "fit again"),
        (FITTED._replace(asked="fit"), "recovery"),
        (FITTED._replace(asked="recovery"), "repeats"),
        (FITTED._replace(asked="repeats", attributes=True), "elements"),
        (FITTED._replace(asked="repeats"), "plan"),
        (FITTED._replace(asked="elements", weeks=4), "train on"),
        (FITTED._replace(asked="elements", rare="swim"), "train what is rare"),
        (FITTED._replace(asked="elements", rare="swim", weeks=12), "plan"),
        (FITTED._replace(asked="spacing"), "plan otherwise"),
        (PLANNED, "follow the plan"),
        (PLANNED._replace(overtaken=True), "plan anew"),
        (OVER._replace(fitted_until="2031-05-01"), "fit the plan's days"),
        (OVER, "check the plan"),
        (OVER._replace(asked="spacing check"), "plan a trial"),
        (OPEN, "trial"),
        (OPEN._replace(due=True), "judge"),
        (FASTER._replace(asked="trial analyse"), "books"),
        (FASTER._replace(asked="trial ledger"), "adopt"),
        (FASTER._replace(answers=False), "adopt"),
        (FASTER._replace(since_judged=14, answers=False), "fit what is new"),
        (FASTER._replace(since_judged=14), "look back"),
        (FASTER._replace(since_judged=14, asked="history"), "another trial"),
        (UNDECIDED, "another measure"),
        (STOPPED, "another trial"),
    ],
)
def test_each_state_has_one_next_step(at: Where, stage: str) -> None:
    assert next_step(at).stage == stage


def test_every_stage_is_reached_by_some_state() -> None:
    """The table above leaves none of the rules out."""
    (mark,) = test_each_state_has_one_next_step.pytestmark  # type: ignore[attr-defined]
    reached = {stage for _, stage in mark.args[1]}
    assert reached == {stage for stage, _ in RULES}


def test_each_stage_has_one_rule() -> None:
    stages = [stage for stage, _ in RULES]
    assert len(set(stages)) == len(stages)


def test_facts_are_those_of_the_state() -> None:
    assert FIRST_FIT == FEWEST_READINGS
    assert next_step(Where(readings=3)).facts["readings_more"] == 11
    assert next_step(FITTED).facts["plan_for"] == "row"
    assert next_step(FITTED._replace(fit_age=28)).facts["fit_age"] == 28
    assert next_step(PLANNED).facts["plan_until"] == "2031-05-01"
    assert next_step(OPEN).facts["measure"] == MEASURE
    facts = next_step(FASTER).facts
    assert (facts["verdict"], facts["judged"]) == ("faster", "2031-04-20")
    assert next_step(FITTED._replace(asked="elements", rare="swim")).facts["rare"] == "swim"


@pytest.mark.parametrize(("weeks", "more"), [(0, 8), (5, 3), (7, 1), (8, 4), (11, 1), (30, 1)])
def test_weeks_are_counted_to_the_next_look(weeks: int, more: int) -> None:
    assert next_step(FITTED._replace(weeks=weeks)).facts["weeks_more"] == more


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
    assert ran.status == 2
    assert "begin with a file readings.csv in the season's folder" in said(ran)
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
    SeasonFolder(made).record(plan(start=30, types={"hills": 0.5, "lifting": 0.5}))
    assert stage(made, "check") == "trial"
    assert stage(made, "washout") == "trial"
    with (made / "interventions.csv").open("a", encoding="utf-8") as file:
        file.write(f"{day(31)},{MEASURE}\n")
    assert stage(made, "check") == "trial"  # though the fit does not know the measure
    shown = run("recovery", made)
    assert shown.status == 1
    (made / "trials.json").unlink()
    assert stage(made, "check") == "fit what is new"
    (made / "posterior.nc").write_bytes(b"broken")
    assert stage(made, "check") == "fit what is new"
    (made / "posterior.nc").unlink()
    assert stage(made, "check") == "fit"


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
    for command in ("recovery", "baseline", "forecast", "washout", "elements"):
        lines = run(command, made).out.splitlines()
        assert lines[-1].startswith("  slackwater ") or lines[-2].startswith("  slackwater")
        assert any(line.startswith("Next: ") for line in lines[-4:])


def test_an_old_fit_is_to_be_made_anew(made: Path) -> None:
    settled = by_hand.Known(
        dict.fromkeys(("hills", "paddle", "lifting"), (0.1, 1.0)),
        stressors={"cold": (0.1, 1.0)},
        rate_ratios={"dip": 1.5},
        level=np.linspace(4.55, 4.65, 400),
    )
    folder = SeasonFolder(made)
    by_hand.posterior(folder.season, settled, draws=200).save(made)

    def read(nights: range) -> None:
        with (made / "readings.csv").open("a", encoding="utf-8") as file:
            file.writelines(f"{day(folders.NIGHTS + night)},100\n" for night in nights)

    read(range(27))
    assert stage(made, "check") == "recovery"
    assert stage(made, "baseline") == "plan"  # nine weeks after the first session
    read(range(27, 28))
    assert stage(made, "check") == stage(made, "recovery") == "fit again"
