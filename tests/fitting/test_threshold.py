"""A threshold that the athlete fixed: one number wherever recovered is spoken of."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from slackwater.fitting import Athlete, SeasonFolder, plan_spacing, recovery
from slackwater.fitting.answers.baseline import baseline
from slackwater.fitting.answers.forecast import forecast
from slackwater.fitting.answers.washout import LearntWashout, washout
from slackwater.fitting.journey.today import today
from slackwater.fitting.measures.compare import compare_intervention
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.spacing.plan import plan_to_keep
from slackwater.fitting.trials.stretches import assigned, stretches_of, trial_season
from slackwater.fitting.trials.today import trial_today
from slackwater.model import names as n
from slackwater.model.dynamics import days_to_recover
from slackwater.model.errors import Reason
from tests.fitting.conftest import Fitted, run
from tests.fitting.trials import by_hand as trials

FIXED = 8.0  # percent; half an ordinary night of the demo season is about 5
LN = -np.log1p(-FIXED / 100)


@pytest.fixture(scope="module")
def fixed(demo: Fitted) -> Athlete:
    return Athlete(replace(demo.season, threshold_percent=FIXED), demo.posterior)


def test_every_answer_takes_it(fixed: Athlete) -> None:
    now = fixed.now
    back = float((now.dips.sum(axis=1) <= LN).mean())
    rest = washout(fixed)
    assert isinstance(rest, LearntWashout)
    chances = (
        rest.chance_at_baseline,
        baseline(fixed).chance_at_baseline,
        today(fixed).chance_at_baseline,
    )
    assert chances == pytest.approx((back, back, back))
    assert rest.threshold_ln == pytest.approx(LN)
    ahead = forecast(fixed, nights=5).nights["chance_at_baseline"].values
    np.testing.assert_allclose(rest.coming["chance_at_baseline"].values[:5], ahead)
    found = recovery(fixed)
    assert found.threshold.percent == pytest.approx(FIXED)
    assert plan_spacing(fixed, {"steady row": 1}).threshold_rule == found.threshold.rule
    rates = np.exp(now.parameter(n.TYPE_LOG_RATE))
    days = np.median(days_to_recover(np.exp(now.log_dips()), np.array(LN), rates), axis=0)
    middle = found.types["typical_days"].sel(bound="median")
    np.testing.assert_allclose(
        middle, days[[now.types.index(t) for t in found.types[n.TYPE].values]]
    )
    saved = compare_intervention(fixed, "river dip").days_saved
    assert float(saved.sel(type="hill run", bound="median")) > 0


def test_a_higher_one_is_reached_sooner(demo: Fitted, fixed: Athlete) -> None:
    usual = recovery(Athlete(demo.season, demo.posterior)).types["typical_days"]
    assert (recovery(fixed).types["typical_days"] <= usual).all()


def test_before_a_fit_it_counts_as_well(fixed: Athlete) -> None:
    highest = Athlete(replace(fixed.season, threshold_percent=30.0))
    assert washout(highest).chance_at_baseline > washout(Athlete(fixed.season)).chance_at_baseline


def test_a_plan_made_under_another_threshold_no_longer_holds(demo: Fitted, fixed: Athlete) -> None:
    plan = plan_to_keep(plan_spacing(fixed, {"hill run": 1}))
    assert plan.threshold_percent == FIXED
    usual = Athlete(demo.season, demo.posterior, plans=[plan])
    told = next(why for why in today(usual).overtaken if "threshold" in why.code)
    assert sentence(told) == (
        "When it was made, recovered meant that the dips lie under 8 %; now it is half the "
        "night-to-night standard deviation of an ordinary night."
    )
    kept = Athlete(fixed.season, demo.posterior, plans=[plan])
    assert not any("threshold" in why.code for why in today(kept).overtaken)


def test_a_trial_is_judged_by_the_threshold_of_its_season_and_says_if_it_is_another() -> None:
    done = [(day, "row" if day % 2 else "lift") for day in range(1, 30, 3)]
    season = replace(trials.season(34, done), threshold_percent=FIXED)
    planned = trials.plan(per_arm=2)
    stretches = stretches_of(season, assigned(planned))
    by_lot = trial_season(season, trials.MEASURE, stretches, as_assigned=True)
    assert by_lot.threshold_percent == FIXED
    told = trial_today(Athlete(season, trials=[Trial(planned)])).about.warnings[0]
    assert told == Reason("trial under another threshold", planned=None, percent=FIXED)
    assert "now they end under 8 %" in sentence(told)
    same = Trial(planned.model_copy(update={"threshold_percent": FIXED}))
    assert told not in trial_today(Athlete(season, trials=[same])).about.warnings


def test_the_folder_says_which_and_no_new_fit_is_needed(demo: Fitted, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    shutil.copytree(demo.folder, folder)
    season = SeasonFolder(folder)
    before = recovery(season).threshold.percent
    (folder / "season.toml").write_text("threshold_percent = 8\n", encoding="utf-8")
    season.refresh()
    assert recovery(season).threshold.percent == pytest.approx(FIXED)
    assert before != pytest.approx(FIXED)
    said = run("recovery", folder, "--explain-terms").out
    assert "under 8 % (season.toml fixes it at 8 %)" in " ".join(said.split())
