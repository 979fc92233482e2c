"""Planning a trial: what is simulated, what it promises, what is registered, what is refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import numpy as np
import pytest
import xarray as xr

from slackwater.fitting import Athlete, Posterior, plan_trial
from slackwater.fitting.measures.verdicts import VERDICT_RULE
from slackwater.fitting.records.trials import Analysed, Trial
from slackwater.fitting.trials.effect import days_saved, typical_session
from slackwater.fitting.trials.plan import TrialPlan, Wanted, to_record
from slackwater.fitting.trials.recovered import RecoveredDays
from slackwater.fitting.trials.rehearsal import (
    Rehearsal,
    Rehearsed,
    habits_of,
    rehearse,
    rehearse_all,
    season_before,
    trial_plan,
    truth_of,
)
from slackwater.fitting.trials.stretches import (
    counted,
    logged_days,
    planned_part,
    stretches_of,
)
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials.by_hand import MEASURE, WRITTEN, day, plan

NIGHTS = 60
LAST = day(NIGHTS - 1)
# Rows leave 6 days to shorten, lifts 2, walks none; one of each in 9 days, three days apart.
TYPES = {"row": (0.4, 2.0), "lift": (0.2, 1.0), "walk": (0.02, 1.0)}
SESSIONS = [(3 * k, ["row", "lift", "walk"][k % 3]) for k in range(20)]
USED = [*range(10, 20)]
USUAL = Priors()
TIGHT = Priors(log_rate_ratio=Belief(0.0, 0.12))


def athlete(
    sessions: by_hand.Dated = SESSIONS,
    used: Sequence[int] = (),
    trials: Sequence[Trial] = (),
    priors: Priors = USUAL,
    **known: Any,
) -> Athlete:
    spread = np.geomspace(0.8, 1.25, 1000)  # so that draws differ
    types = {kind: (dip, half * spread) for kind, (dip, half) in TYPES.items()}
    applied = [(d, MEASURE) for d in used]
    ratios = {MEASURE: 1.3} if used else {}
    season = by_hand.season(NIGHTS, sessions, interventions=applied)
    given: dict[str, Any] = {"types": types, "rate_ratios": ratios} | known
    learnt = replace(with_start(by_hand.posterior(season, Known(**given))), priors=priors)
    return Athlete(season, learnt, trials=trials)


def with_start(learnt: Posterior) -> Posterior:
    """The same, and what is known of the unlogged start."""
    draws = learnt.tree["posterior"].to_dataset()
    each = xr.zeros_like(draws[n.NOISE_SD])
    start = {n.START_DIP: each + 0.1, n.START_LOG_RATE: each + np.log(np.log(2) / 2.5)}
    last = learnt.tree["last_night"].to_dataset()
    groups = {"posterior": draws.assign(start), "last_night": last}
    return replace(learnt, tree=xr.DataTree.from_dict(groups))


def ask(wanted: Wanted, run: Runner | None = None, of: Athlete | None = None) -> TrialPlan:
    """Plan a trial; what recovered days buy is worked out in `test_recovered` alone."""
    with patch("slackwater.fitting.trials.plan.bought", bought):
        return plan_trial(of or athlete(), wanted, run=run or Runner())


def bought(task: Rehearsal) -> RecoveredDays:
    return RecoveredDays(task.trial.recovered_after, 9, 0.16, 0.165, 14, 0.155, 0.154)


def codes(answer: TrialPlan) -> list[str]:
    return [reason.code for reason in answer.about.warnings]


class Runner:
    """Ends trials as a conjugate normal model would, and keeps what it was asked."""

    def __init__(self, information: float = 4.0) -> None:
        self.information = information
        self.tasks: list[Rehearsal] = []

    def __call__(self, tasks: Sequence[Rehearsal]) -> list[Rehearsed]:
        self.tasks = list(tasks)
        rng = np.random.default_rng(3)
        return [self._end(task, rng) for task in tasks]

    def _end(self, task: Rehearsal, rng: np.random.Generator) -> Rehearsed:
        true = float(np.log(task.truth.rate_ratios[task.measure]))
        gained = self.information * task.sessions_per_arm
        prior = task.priors.log_rate_ratio
        precision = gained + 1 / prior.sd**2
        estimate = rng.normal(true, gained**-0.5)
        mean = (estimate * gained + prior.mean / prior.sd**2) / precision
        said = "faster" if mean * precision**0.5 >= 1.96 else "undecided"
        days = 7 * task.sessions_per_arm
        return Rehearsed(task.sessions_per_arm, days, true, mean, precision**-0.5, said)


def test_the_number_of_sessions_has_the_wanted_chance() -> None:
    answer = ask(Wanted(MEASURE, seed=5, smallest=1.0))
    low, chance, high = answer.expected_chance
    assert low <= chance <= high
    assert 0.8 <= chance < 0.85
    assert answer.planned_weeks == pytest.approx(answer.sessions_per_arm)  # a week a session here
    assert answer.smallest_found_days <= 1.0
    smaller = ask(Wanted(MEASURE, seed=5, smallest=1.0, chance=0.5))
    assert smaller.sessions_per_arm < answer.sessions_per_arm
    table = answer.simulated
    assert table["sessions_per_arm"].values.tolist() == [8, 12, 16, 24, 32]
    assert table["trials"].values.tolist() == [8] * 5
    assert np.all(np.diff(table["chance"].values) > 0)


def test_a_tighter_prior_takes_more_sessions() -> None:
    wanted = Wanted(MEASURE, seed=5, smallest=1.5)
    usual = ask(wanted)
    run = Runner()
    tight = ask(wanted, run, athlete(priors=TIGHT))
    assert all(task.priors == TIGHT for task in run.tasks)  # by which each is fitted
    assert tight.sessions_per_arm > 1.5 * usual.sessions_per_arm
    # What a session adds was read off those fits without what the prior knew.
    assert "counts differ from the curve" not in codes(tight)
    found = [ask(Wanted(MEASURE, 5), of=athlete(priors=p)).smallest_days for p in (USUAL, TIGHT)]
    assert found[0] < found[1]


def test_each_rehearsal_is_fitted_with_the_athletes_priors(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = Runner()
    ask(Wanted(MEASURE, seed=5, smallest=1.0), run, athlete(priors=TIGHT))
    asked: list[Priors] = []

    def fit_briefly(season: Any, *, priors: Priors, seed: int) -> Posterior:
        asked.append(priors)
        ratios = dict.fromkeys(season.interventions, 1.0)
        return by_hand.posterior(season, Known(TYPES, rate_ratios=ratios))

    monkeypatch.setattr("slackwater.fitting.sampling.brief.fit_briefly", fit_briefly)
    rehearse(run.tasks[0])
    assert asked == [TIGHT]


def test_each_simulated_athlete_is_saved_just_the_smallest_effect() -> None:
    run = Runner()
    answer = ask(Wanted(MEASURE, seed=5, smallest=0.8), run)
    assert answer.types == {"row": 0.5, "lift": 0.5}  # longest first; no walk
    assert len(run.tasks) == 40
    ratios = set()
    for task in run.tasks:
        days = task.truth.typical_days()
        to_shorten = np.array([0.5 * (days["row"] - 1) + 0.5 * (days["lift"] - 1)])
        ratio = task.truth.rate_ratios[MEASURE]
        assert days_saved(to_shorten, np.log([ratio])) == pytest.approx([0.8])
        ratios.add(ratio)
    assert len(ratios) > 30
    assert len({task.trial.seed for task in run.tasks}) == 40
    low, median, high = answer.smallest_rate_ratio
    assert low < 1 / (1 - 0.8 / 4) < high
    assert median == pytest.approx(
        1 / (1 - 0.8 / np.median(typical_session(athlete().now, {"row": 1.0, "lift": 1.0})))
    )


def test_what_is_registered() -> None:
    answer = ask(Wanted(MEASURE, seed=9, smallest=1.0, sessions=14, start=LAST + 3 * DAY))
    assert answer.simulated["sessions_per_arm"].values.tolist() == [14]
    assert answer.simulated["trials"].values.tolist() == [40]
    event = to_record(answer, [Trial(plan(trial=4), stopped=None)], WRITTEN)
    expected = plan(
        NIGHTS + 2,
        14,
        seed=9,
        trial=5,
        smallest_days=1.0,
        types={"row": 0.5, "lift": 0.5},
        expected_chance=event.expected_chance,
        recovered_after={"row": 7, "lift": 4},
    )
    assert event == expected
    assert event.verdict_rule == VERDICT_RULE
    assert event.start == dt.date(2031, 3, 1) + dt.timedelta(NIGHTS + 2)
    assert answer.why_not == ()


def test_after_other_trials_the_verdict_asks_for_more_than_the_chance() -> None:
    judged = Analysed(
        trial=1, written=WRITTEN, last_night=dt.date(2031, 3, 20), sessions_with=9,
        sessions_without=9, verdict="undecided", log_rate_ratio_mean=0.1, log_rate_ratio_sd=0.2,
        chance_worth_having=0.1, p_value=None,
    )  # fmt: skip
    others = athlete(trials=[Trial(plan(), [], judged)])
    said = ask(Wanted("nap", 5, smallest=1.0), of=others).about.warnings
    assert Reason("told together with others", trials=1) in said
    assert "told together with others" not in codes(ask(Wanted("nap", 5, smallest=1.0)))


def test_too_small_an_effect_is_not_registered() -> None:
    answer = ask(Wanted(MEASURE, 5, smallest=0.2), Runner(1.5))
    assert answer.planned is None
    assert answer.sessions_per_arm == 64
    with pytest.raises(NoAnswerError) as caught:
        to_record(answer, [], WRITTEN)
    assert caught.value.reasons == answer.why_not
    (why,) = answer.why_not
    assert why.code == "too small to find"
    assert (why.facts["measure"], why.facts["sessions_per_arm"]) == (MEASURE, 64)
    assert (why.facts["days"], why.facts["chance"]) == (0.2, answer.expected_chance.median)
    found = why.facts["found_days"]
    assert found == answer.smallest_found_days
    assert why.facts["found_sessions"] == 48


def test_what_is_offered_instead_of_too_small_an_effect_is_then_granted() -> None:
    class Fresh(Runner):
        """Trials that tell more or less, and a little less of a larger effect."""

        def _end(self, task: Rehearsal, rng: np.random.Generator) -> Rehearsed:
            luck = np.random.default_rng(task.seed).normal(0.0, 0.25)
            true = float(np.log(task.truth.rate_ratios[task.measure]))
            return Runner(float(0.7 * np.exp(luck - 0.1 * true)))._end(task, rng)

    for seed in (205, 305, 405):  # a plan of another seed simulates other trials
        refused = ask(Wanted(MEASURE, seed, smallest=0.2), Fresh())
        assert refused.planned is None
        again = ask(Wanted(MEASURE, seed + 1000, smallest=refused.smallest_found_days), Fresh())
        assert again.planned is not None


def test_without_a_smallest_effect_it_is_what_half_a_year_can_find() -> None:
    run = Runner(2.0)
    answer = ask(Wanted(MEASURE, seed=5), run)
    smallest = answer.smallest_days
    assert answer.planned is not None
    assert answer.planned.smallest_days == smallest
    assert answer.smallest_rule == Reason("smallest that can be found", sessions_per_arm=24)
    assert len(run.tasks) == 40  # beside the first few
    assert 20 <= answer.sessions_per_arm <= 24
    less = ask(Wanted(MEASURE, seed=5, smallest=smallest - 0.1), run)
    assert less.sessions_per_arm > 24
    assert less.smallest_rule is None
    given = ask(Wanted(MEASURE, seed=5, sessions=12), run)
    assert given.smallest_days > smallest
    assert given.expected_chance.median >= 0.8


def test_where_nothing_can_be_found_half_of_what_is_left_is_asked_for() -> None:
    answer = ask(Wanted(MEASURE, seed=5), Runner(1e-3))
    left = np.median(typical_session(athlete().now, {"row": 1.0, "lift": 1.0}))
    assert answer.smallest_days == round(left / 2, 1)
    assert answer.planned is None
    assert [why.code for why in answer.why_not] == ["nothing can be found"]


def test_earlier_use_is_said_and_gets_its_own_label() -> None:
    run = Runner()
    answer = ask(Wanted(MEASURE, 5, smallest=1.0), run, athlete(used=USED))
    assert Reason("used before its trial", measure=MEASURE, days=10) in answer.about.warnings
    label = "ice bath (outside the trial)"
    task = run.tasks[0]
    assert task.past.interventions == [label]
    assert task.truth.rate_ratios[label] == pytest.approx(1.3)
    assert task.truth.rate_ratios[MEASURE] != pytest.approx(1.3)


def test_a_curve_that_the_counts_contradict_is_said() -> None:
    class Wrong(Runner):
        def _end(self, task: Rehearsal, rng: np.random.Generator) -> Rehearsed:
            return super()._end(task, rng)._replace(verdict="undecided")

    answer = ask(Wanted(MEASURE, 5, smallest=1.0), Wrong())
    (said,) = answer.about.warnings
    assert (said.code, said.facts["seen"]) == ("counts differ from the curve", 0)
    assert ask(Wanted(MEASURE, 5, smallest=1.0)).about.warnings == ()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"measure": " "}, "Name the measure"),
        ({"measure": "ice\nbath"}, "Name the measure"),
        ({"smallest": 0.0}, "The smallest effect is in days saved, above 0"),
        ({"smallest": np.inf}, "The smallest effect is in days saved, above 0"),
        ({"chance": 1.0}, "The wanted chance is a share between 0 and 1"),
        ({"sessions": 1}, "The number of sessions per arm is 2 or more"),
        ({"start": LAST}, "its first day must be after the last reading, 2031-04-29"),
    ],
)
def test_what_is_asked_wrongly(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(QuestionError, match=said):
        ask(replace(Wanted(MEASURE, 5), **changes))


def test_one_measure_at_a_time() -> None:
    with pytest.raises(QuestionError, match="The trial of 'ice bath' is still open"):
        ask(Wanted("nap", 5), of=athlete(trials=[Trial(plan())]))


def refused(wanted: Wanted, of: Athlete) -> Reason:
    with pytest.raises(NoAnswerError) as caught:
        ask(wanted, of=of)
    (reason,) = caught.value.reasons
    assert isinstance(reason, Reason)
    return reason


def test_nothing_to_work_on() -> None:
    too_much = refused(Wanted(MEASURE, 5, smallest=5.0), athlete())
    assert (too_much.code, too_much.facts["days"]) == ("more than there is to save", 5.0)
    assert too_much.facts["left_days"] == pytest.approx(4.0, rel=0.1)
    wanted = Wanted(MEASURE, 5)
    walks = athlete([(3 * k, "walk") for k in range(20)], types={"walk": (0.02, 1.0)})
    assert refused(wanted, walks) == Reason("nothing left to shorten", least_days=0.5)
    assert refused(wanted, athlete([], types={})) == Reason("no recovery to speed up")
    late = athlete([(day, kind) for day, kind in SESSIONS if day > 45])
    assert refused(wanted, late) == Reason("too little training", days=12, needed=21)


def test_a_whole_trial_is_trained_read_and_assigned() -> None:
    run = Runner()
    ask(Wanted(MEASURE, 5, smallest=1.0), run, athlete(used=USED))
    task = run.tasks[0]
    season = trial_plan(task, np.random.default_rng(0))
    found = stretches_of(season, task.trial)
    part = planned_part(found, task.sessions_per_arm)
    assert part is not None
    assert part[-1].first == [s for s in found if not s.recovered][-1].first
    assert counted(part)["with"] >= 8
    assert counted(part)["without"] >= 8
    assert season.last_night == part[-1].end
    used = logged_days(season, MEASURE)
    expected = [d for s in part if s.arm == "with" for d in s.days if d < season.last_night]
    assert used.tolist() == [d.astype(object) for d in np.array(expected)]
    # The habits go on: a session every third day, each type as often as the others.
    dates = season.data[n.SESSION_DATE].values.astype("datetime64[D]")
    new = np.sort(dates[dates >= task.trial.start])
    assert set(np.diff(new) / DAY) <= {3.0, 1.0, 2.0, 4.0, 5.0}  # others where the weeks join
    assert np.mean(np.diff(new) / DAY == 3.0) > 0.8


def test_training_daily_is_refused() -> None:
    daily = [(k, ["row", "lift"][k % 2]) for k in range(NIGHTS)]
    run = Runner()
    ask(Wanted(MEASURE, 5, smallest=1.0), run, athlete(daily))
    with pytest.raises(NoAnswerError) as caught:
        trial_plan(run.tasks[0], np.random.default_rng(0))
    years = Reason("trial takes years", measure=MEASURE, sessions=8, pace_days=56)
    assert caught.value.reasons == (years,)


def test_habits_are_those_of_the_last_twelve_weeks() -> None:
    sessions = [(d, "row") for d in range(0, 140, 4)]
    habits = habits_of(by_hand.season(140, sessions))
    assert habits.days == 84
    assert habits.sessions["offset"].tolist() == [d - 56 for d in range(56, 140, 4)]
    past = season_before(by_hand.season(300, [(d, "row") for d in range(0, 300, 4)]), MEASURE)
    assert len(past.nights) == 182


def test_the_truth_is_that_of_the_draw() -> None:
    stressors = {"cold": (0.3, 4.0)}
    known = Known(TYPES, stressors, sensor_steps={"clip": 0.1}, noise_sd=0.11, drift_sd=0.02)
    season = by_hand.season(
        NIGHTS, SESSIONS, stressors=[(4, "cold")], sensors=["clip"] * 30 + ["strap"] * 30
    )
    draws = with_start(by_hand.posterior(season, known)).draws
    truth = truth_of(draws.isel(sample=0), 4.1, {MEASURE: 1.5}, {MEASURE: 0.03})
    assert truth.start == pytest.approx((0.1, 2.5))
    assert truth.types["row"] == pytest.approx(TYPES["row"])
    assert truth.stressors["cold"] == pytest.approx((0.3, 4.0))
    assert truth.sensor_steps == pytest.approx({"clip": 0.1})
    assert (truth.noise_sd, truth.drift_sd) == pytest.approx((0.11, 0.02))
    assert (truth.rate_ratios, truth.lifts) == ({MEASURE: 1.5}, {MEASURE: 0.03})
    assert truth.baseline_ms == pytest.approx(np.exp(4.1))
    assert truth.typical_days()["row"] == pytest.approx(1 + 2 * np.log2(0.4 / 0.055))


def fake(task: Rehearsal) -> Rehearsed:
    """End a trial at once; a function of a module, so that another process finds it."""
    return Rehearsed(8, task.seed, 0.0, 0.0, 0.1, "undecided")


def test_trials_are_simulated_in_parallel_and_kept_in_order(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = Runner()
    ask(Wanted(MEASURE, 5, smallest=1.0), run)
    told: list[tuple[int, int]] = []
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    tasks = run.tasks[:6]
    results = rehearse_all(tasks, lambda done, total: told.append((done, total)), fake)
    assert [r.days for r in results] == [t.seed for t in tasks]
    assert told == [(k, 6) for k in range(1, 7)]


def refuse(task: Rehearsal) -> Rehearsed:
    """Refuse, as a trial that would take years; found by another process."""
    raise NoAnswerError(Reason("trial takes years", measure=task.measure, sessions=8, pace_days=7))


def test_what_one_trial_is_refused_for_comes_back_from_its_process(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = Runner()
    ask(Wanted(MEASURE, 5, smallest=1.0), run)
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    with pytest.raises(NoAnswerError) as caught:
        rehearse_all(run.tasks[:1], work=refuse)
    years = Reason("trial takes years", measure=MEASURE, sessions=8, pace_days=7)
    assert caught.value.reasons == (years,)


@pytest.mark.slow
def test_one_trial_from_its_first_day_to_its_verdict(demo_athlete: Athlete) -> None:
    run = Runner()
    plan_trial(demo_athlete, Wanted("nap", 5, smallest=1.5, sessions=32), run=run)
    ended = rehearse(run.tasks[20])
    assert ended.sessions_per_arm == 32
    assert 100 < ended.days < 300
    assert ended.log_ratio > 0.5
    # Within 4 posterior SDs of the truth, give or take what the prior pulls.
    assert abs(ended.mean - ended.log_ratio) < 4 * ended.sd + 0.3
    assert 0.05 < ended.sd < 0.25
    assert ended.verdict in ("faster", "undecided")
