"""The commands for trials, from a plan to its result, on the demo season gone on with."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from slackwater.fitting import Athlete, Posterior, fit
from slackwater.fitting.cli import cli
from slackwater.fitting.folder import SeasonFolder
from slackwater.fitting.intake import read_season
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.trials.judging import judging
from slackwater.fitting.trials.rehearsal import Rehearsal, Rehearsed
from slackwater.fitting.trials.stretches import assigned, assigned_days, stretches_of
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import DAY, Season
from slackwater.model.simulator import plan_season, simulate
from tests.demo_season import TRUTH
from tests.fitting.trials import by_hand as trial_by_hand

MEASURE = "ice bath"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, ["trial", *map(str, arguments)])


def read_trials(folder: Path) -> list[Trial]:
    return list(SeasonFolder(folder).trials)


def codes(error: BaseException | None) -> list[str]:
    """The codes of what was refused."""
    assert isinstance(error, NoAnswerError)
    return [reason.code for reason in error.reasons if isinstance(reason, Reason)]


def typed(error: BaseException | None) -> list[str]:
    """What is said to type after an error."""
    return [note.strip() for note in getattr(error, "__notes__", [])]


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Trials that end at once, as if each session were worth a lot."""

    def rehearse_all(tasks: Sequence[Rehearsal], progress: Any = None) -> list[Rehearsed]:
        return [
            Rehearsed(
                task.sessions_per_arm,
                6 * task.sessions_per_arm,
                np.log(task.truth.rate_ratios[task.measure]),
                0.3,
                (1 / 0.3**2 + 6 * task.sessions_per_arm) ** -0.5,
                "faster",
            )
            for task in tasks
        ]

    monkeypatch.setattr("slackwater.fitting.trials.rehearsal.rehearse_all", rehearse_all)


def go_on(folder: Path, days: int) -> Season:
    """Log more days: a session every third one, the measure as the lots have it."""
    season = read_season(folder)
    first = season.last_night + DAY
    kinds = ["hill run", "heavy lifting", "row intervals"]
    made = [(first + d * DAY, kinds[d // 3 % 3]) for d in range(0, days, 3)]
    tables = season.tables()
    sessions = pd.DataFrame(made, columns=["date", "type"]).assign(dose=1.0)
    sessions = pd.concat([tables["sessions"], sessions], ignore_index=True)
    nights = np.concatenate([season.nights[season.read], first + DAY * np.arange(days)])
    sensor = [*tables["readings"]["sensor"], *["chest strap"] * days]
    others = {key: tables[key] for key in ("types", "stressors")}
    bare = plan_season(
        season.name,
        pd.DataFrame({"date": nights, "sensor": sensor}),
        sessions,
        interventions=tables["interventions"],
        **others,
    )
    (trial,) = read_trials(folder)
    on = assigned_days(stretches_of(bare, assigned(trial.plan)), "with")
    used = pd.DataFrame({"date": on[on < bare.last_night], "intervention": MEASURE})
    applied = pd.concat([tables["interventions"], used], ignore_index=True).drop_duplicates()
    plan = plan_season(
        season.name,
        pd.DataFrame({"date": nights, "sensor": sensor}),
        sessions,
        interventions=applied,
        **others,
    )
    truth = TRUTH.__class__(**{**vars(TRUTH), "rate_ratios": {**TRUTH.rate_ratios, MEASURE: 1.5}})
    level = simulate(truth, plan.observed(), np.random.default_rng(4)).season.tables()["readings"]
    level["rmssd_ms"] = np.exp(level.pop("log_rmssd")).round(1)
    for name, table in (("readings", level), ("sessions", sessions), ("interventions", applied)):
        table.to_csv(folder / f"{name}.csv", index=False, date_format="%Y-%m-%d")
    return read_season(folder)


def test_a_plan_is_registered_once(demo_copy: Path, quick: None) -> None:
    wish = ("plan", demo_copy, "--measure", MEASURE, "--smallest", "1")
    draft = run(*wish, "--draft")
    assert draft.exit_code == 0, draft.output
    assert not (demo_copy / "trials.json").exists()
    assert "A trial of ice bath" in draft.stdout
    assert "if it saves 1 day of a typical session" in " ".join(draft.stdout.split())
    assert max(map(len, draft.stdout.splitlines())) <= 80
    done = run(*wish, "--seed", "11", "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert "Registered in" in done.stderr
    (trial,) = read_trials(demo_copy)
    assert trial.plan.seed == found["planned"]["seed"] == 11
    assert trial.plan.sessions_per_arm == found["sessions_per_arm"]
    assert found["planned"]["start"] == "2031-07-07" == str(trial.plan.start)
    again = run(*wish)
    assert isinstance(again.exception, QuestionError)
    assert "is still open" in str(again.exception)
    assert "the trial begins with the first session" in run("today", demo_copy).stdout
    stopped = run("stop", demo_copy, "--because", "a broken tub")
    assert "stays in the record" in stopped.stdout
    assert run(*wish).exit_code == 0
    first, second = read_trials(demo_copy)
    assert first.stopped is not None
    assert second.plan.trial == 2
    assert second.plan.seed != 11  # drawn anew


def test_a_plan_that_is_too_long_is_shown_and_not_registered(demo_copy: Path, quick: None) -> None:
    done = run("plan", demo_copy, "--measure", MEASURE, "--smallest", "0.1")
    assert codes(done.exception) == ["too small to find"]
    (command,) = typed(done.exception)
    found = re.fullmatch(
        r"slackwater trial plan \S+ --measure 'ice bath' --smallest (\S+)", command
    )
    assert found
    assert "sessions per arm" in done.stdout
    shown = f"About 48 find an effect of {float(found[1]):g} days"
    assert shown in " ".join(done.stdout.split())
    assert not (demo_copy / "trials.json").exists()


def test_without_a_trial_there_is_nothing_to_do(demo_copy: Path) -> None:
    for command, code in (("today", "no open trial"), ("analyse", "no trial yet")):
        done = run(command, demo_copy)
        assert codes(done.exception) == [code]
        assert typed(done.exception) == [f"slackwater trial plan {demo_copy} --measure NAME"]
    assert run("ledger", demo_copy).exit_code == 0
    wrong = run("plan", demo_copy, "--measure", MEASURE, "--start", "7 July")
    assert isinstance(wrong.exception, QuestionError)
    assert "write it as YYYY-MM-DD" in str(wrong.exception)


def test_the_ledger_shows_what_is_recorded_before_a_new_fit(demo_copy: Path) -> None:
    with (demo_copy / "readings.csv").open("a", encoding="utf-8") as file:
        file.writelines(f"2031-07-0{day},66.0,chest strap\n" for day in (7, 8))
    with (demo_copy / "interventions.csv").open("a", encoding="utf-8") as file:
        file.write("2031-07-07,sauna\n")
    found = json.loads(run("ledger", demo_copy, "--json").stdout)
    needed = {row["measure"]: row["needs_fit"] for row in found["rows"]}
    assert needed == {"river dip": False, "beet juice": False, "sauna": True}
    assert found["last_night"] == "2031-07-08"
    assert found["next"]["stage"] == "fit what is new"
    (demo_copy / "posterior.nc").unlink()
    shown = run("ledger", demo_copy).stdout
    assert shown.count("needs a fit") == 3


def test_a_measure_on_trial_is_not_compared(demo_copy: Path, quick: None) -> None:
    done = run("plan", demo_copy, "--measure", MEASURE, "--sessions", "6", "--seed", "3")
    assert done.exit_code == 0, done.output
    go_on(demo_copy, 12)
    compared = CliRunner().invoke(cli, ["compare", str(demo_copy), "--intervention", MEASURE])
    assert codes(compared.exception) == ["on trial"]
    assert read_trials(demo_copy)[0].looks == []


@pytest.fixture
def fitted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same season is fitted once, and quickly: fits are not what is tested here."""
    known: dict[str, Athlete] = {}

    def fits(priors: Priors | None, progress: Any) -> Callable[[Season], Athlete]:
        def ask(season: Season) -> Athlete:
            key = season.fingerprint()
            if key not in known:
                known[key] = Athlete(season, fit(season, priors=priors, draws=600))
            return known[key]

        return ask

    monkeypatch.setattr("slackwater.fitting.trials.judging.judging", fits)
    monkeypatch.setattr("slackwater.fitting.sampling.fit.CAREFUL", (500, 0.9))  # if at all


def test_a_trial_is_judged_with_the_priors_of_the_season(
    demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tight = Priors(log_rate_ratio=Belief(0.0, 0.1))
    replace(Posterior.load(demo_copy), priors=tight).save(demo_copy)
    asked: list[Priors | None] = []
    fitted = judging

    def fits(priors: Priors | None, progress: Any) -> Callable[[Season], Athlete]:
        asked.append(priors)
        return fitted(priors, progress)

    monkeypatch.setattr("slackwater.fitting.trials.judging.judging", fits)
    run("analyse", demo_copy)
    assert asked == [tight]
    (demo_copy / "posterior.nc").unlink()
    run("analyse", demo_copy)
    assert asked == [tight, None]

    def fit_with(season: Season, *, priors: Priors, **_: Any) -> Posterior:
        asked.append(priors)
        return Posterior.load(demo_copy)

    monkeypatch.setattr("slackwater.fitting.sampling.fit.fit", fit_with)
    with pytest.raises(NoAnswerError):
        fitted(tight, None)(read_season(demo_copy))
    assert asked[-1] == tight


def test_giving_up_needs_words(demo_copy: Path) -> None:
    assert codes(run("stop", demo_copy, "--because", "x").exception) == ["no open trial"]
    SeasonFolder(demo_copy).record(trial_by_hand.plan())
    assert isinstance(run("stop", demo_copy, "--because", " ").exception, QuestionError)
    assert read_trials(demo_copy)[0].open


@pytest.mark.slow
def test_from_the_first_day_to_the_result(demo_copy: Path, quick: None, fitted_once: None) -> None:
    done = run("plan", demo_copy, "--measure", MEASURE, "--sessions", "6", "--seed", "3")
    assert done.exit_code == 0, done.output

    season = go_on(demo_copy, 25)
    today = json.loads(run("today", demo_copy, "--json").stdout)
    assert (today["status"], today["complete"]) == ("running", False)
    assert (today["missed"], today["strayed"]) == ([], [])
    assert today["day"] == str(season.last_night)

    early = run("analyse", demo_copy)
    assert codes(early.exception) == ["trial not due"]
    assert read_trials(demo_copy)[0].looks == []
    look = run("analyse", demo_copy, "--peek")
    assert "Verdict: not due yet." in look.stdout
    assert len(read_trials(demo_copy)[0].looks) == 1

    go_on(demo_copy, 30)
    assert "The planned number is reached" in run("today", demo_copy).stdout
    judged = json.loads(run("analyse", demo_copy, "--json").stdout)
    assert judged["complete"]
    assert judged["looks"] == 1
    assert min(judged["sessions_with"], judged["sessions_without"]) == 6
    low, high = judged["rate_ratio"]["low"], judged["rate_ratio"]["high"]
    assert 0.4 < low < 1.6
    assert 1.0 < high < 3.0
    assert judged["used_when_assigned"] == judged["unused_when_not"] == 1.0
    kept = read_trials(demo_copy)[0].analysed
    assert kept is not None
    assert kept.verdict == judged["verdict"]
    assert kept.log_rate_ratio_mean == pytest.approx(judged["log_rate_ratio_mean"])

    # Asked again: the same numbers, and nothing more in the record.
    events = (demo_copy / "trials.json").read_text()
    again = json.loads(run("analyse", demo_copy, "--json").stdout)
    assert again == judged | {"judged_before": True}
    assert (demo_copy / "trials.json").read_text() == events
    items = run("analyse", demo_copy, "--report-items")
    assert judged["verdict"] in " ".join(items.stdout.split())
