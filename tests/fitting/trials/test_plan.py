"""Planning a trial: what is simulated, what it promises, what is registered, what is refused."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Standing, plan_trial
from slackwater.fitting.answers.compare import VERDICT_RULE
from slackwater.fitting.records.trials import Trial
from slackwater.fitting.trials import plan as trial_plan
from slackwater.fitting.trials.effect import days_saved, typical_session
from slackwater.fitting.trials.plan import Wanted, to_record
from slackwater.fitting.trials.rehearsal import (
    Rehearsal,
    Rehearsed,
    habits_of,
    past_of,
    rehearse,
    rehearse_all,
    truth_of,
)
from slackwater.fitting.trials.rehearsal import trial_plan as whole_trial
from slackwater.fitting.trials.stretches import (
    counted,
    logged_days,
    planned_part,
    stretches_of,
)
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, QuestionError
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


def state(sessions: by_hand.Dated = SESSIONS, used: Sequence[int] = (), **known: Any) -> Standing:
    spread = np.geomspace(0.8, 1.25, 1000)  # so that draws differ
    types = {kind: (dip, half * spread) for kind, (dip, half) in TYPES.items()}
    applied = [(d, MEASURE) for d in used]
    ratios = {MEASURE: 1.3} if used else {}
    season = by_hand.season(NIGHTS, sessions, interventions=applied)
    given: dict[str, Any] = {"types": types, "rate_ratios": ratios} | known
    now = by_hand.standing_of(season, Known(**given))
    return with_start(now)


def with_start(now: Standing) -> Standing:
    """The same, and what is known of the unlogged start."""
    start = {n.START_DIP: 0.1, n.START_LOG_RATE: np.log(np.log(2) / 2.5)}
    draws = now.draws.sizes["sample"]
    each = {name: ("sample", np.full(draws, value)) for name, value in start.items()}
    return replace(now, draws=now.draws.assign(each))


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
        precision = gained + 1 / 0.3**2
        mean = rng.normal(true, gained**-0.5) * gained / precision
        said = "faster" if mean * precision**0.5 >= 1.96 else "undecided"
        days = 7 * task.sessions_per_arm
        return Rehearsed(task.sessions_per_arm, days, true, mean, precision**-0.5, said)


def test_the_number_of_sessions_has_the_wanted_chance() -> None:
    run = Runner()
    answer = plan_trial(state(), Wanted(MEASURE, seed=5, smallest=1.0), run=run)
    sessions = int(answer["sessions_per_arm"])
    low, chance, high = answer["expected_chance"].values
    assert low <= chance <= high
    assert 0.8 <= chance < 0.85
    assert float(answer["planned_weeks"]) == pytest.approx(sessions)  # a week a session here
    assert float(answer["smallest_found"]) <= 1.0
    smaller = plan_trial(state(), Wanted(MEASURE, seed=5, smallest=1.0, chance=0.5), run=run)
    assert int(smaller["sessions_per_arm"]) < sessions
    assert answer["size"].values.tolist() == [8, 12, 16, 24, 32]
    assert answer["simulated"].values.tolist() == [8] * 5
    assert np.all(np.diff(answer["chance"].values) > 0)


def test_each_simulated_athlete_is_saved_just_the_smallest_effect() -> None:
    run = Runner()
    now = state()
    answer = plan_trial(now, Wanted(MEASURE, seed=5, smallest=0.8), run=run)
    assert answer.attrs["types"] == {"row": 0.5, "lift": 0.5}  # longest first; no walk
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
    low, median, high = answer["smallest_ratio"].values
    assert low < 1 / (1 - 0.8 / 4) < high
    assert median == pytest.approx(
        1 / (1 - 0.8 / np.median(typical_session(now, {"row": 1.0, "lift": 1.0})))
    )


def test_what_is_registered() -> None:
    wanted = Wanted(MEASURE, seed=9, smallest=1.0, sessions=14, start=LAST + 3 * DAY)
    answer = plan_trial(state(), wanted, run=Runner())
    assert answer["size"].values.tolist() == [14]
    assert answer["simulated"].values.tolist() == [40]
    event = to_record(answer, [Trial(plan(trial=4), stopped=None)], WRITTEN)
    expected = plan(
        NIGHTS + 2,
        14,
        seed=9,
        trial=5,
        smallest_days=1.0,
        types={"row": 0.5, "lift": 0.5},
        expected_chance=event.expected_chance,
    )
    assert event == expected
    assert event.verdict_rule == VERDICT_RULE
    assert event.start == dt.date(2031, 3, 1) + dt.timedelta(NIGHTS + 2)


def test_too_small_an_effect_is_not_registered() -> None:
    answer = plan_trial(state(), Wanted(MEASURE, 5, smallest=0.2), run=Runner(1.5))
    assert answer.attrs["planned"] is None
    assert int(answer["sessions_per_arm"]) == 64
    with pytest.raises(NoAnswerError, match="Nothing is registered: even 64 sessions") as caught:
        to_record(answer, [], WRITTEN)
    found = float(answer["smallest_found"])
    assert f'--measure "ice bath" --smallest {found:.1f} plans for that' in str(caught.value)
    # And what it says to ask for is then granted.
    again = plan_trial(state(), Wanted(MEASURE, 5, smallest=found), run=Runner(1.5))
    assert again.attrs["planned"] is not None


def test_without_a_smallest_effect_it_is_what_half_a_year_can_find() -> None:
    run = Runner(2.0)
    answer = plan_trial(state(), Wanted(MEASURE, seed=5), run=run)
    smallest = answer.attrs["smallest"]
    assert answer.attrs["planned"]["smallest_days"] == smallest
    assert answer.attrs["smallest_rule"] == "about the smallest that 24 sessions per arm can find"
    assert len(run.tasks) == 40  # beside the first few
    assert 20 <= int(answer["sessions_per_arm"]) <= 24
    less = plan_trial(state(), Wanted(MEASURE, seed=5, smallest=smallest - 0.1), run=run)
    assert int(less["sessions_per_arm"]) > 24
    assert less.attrs["smallest_rule"] is None
    given = plan_trial(state(), Wanted(MEASURE, seed=5, sessions=12), run=run)
    assert given.attrs["smallest"] > smallest
    assert float(given["expected_chance"].sel(bound="median")) >= 0.8


def test_where_nothing_can_be_found_half_of_what_is_left_is_asked_for() -> None:
    answer = plan_trial(state(), Wanted(MEASURE, seed=5), run=Runner(1e-3))
    left = np.median(typical_session(state(), {"row": 1.0, "lift": 1.0}))
    assert answer.attrs["smallest"] == round(left / 2, 1)
    assert answer.attrs["planned"] is None


def test_earlier_use_is_said_and_gets_its_own_label() -> None:
    run = Runner()
    answer = plan_trial(state(used=USED), Wanted(MEASURE, 5, smallest=1.0), run=run)
    assert any("was used on 10 days already" in w for w in answer.attrs["warnings"])
    label = "ice bath (outside the trial)"
    task = run.tasks[0]
    assert task.past.interventions == [label]
    assert task.truth.rate_ratios[label] == pytest.approx(1.3)
    assert task.truth.rate_ratios[MEASURE] != pytest.approx(1.3)


def test_a_curve_that_the_counts_contradict_is_said() -> None:
    class Wrong(Runner):
        def _end(self, task: Rehearsal, rng: np.random.Generator) -> Rehearsed:
            return super()._end(task, rng)._replace(verdict="undecided")

    answer = plan_trial(state(), Wanted(MEASURE, 5, smallest=1.0), run=Wrong())
    assert any("verdicts of 'faster' where 0 were seen" in w for w in answer.attrs["warnings"])
    answer = plan_trial(state(), Wanted(MEASURE, 5, smallest=1.0), run=Runner())
    assert answer.attrs["warnings"] == []


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"measure": " "}, "Name the measure"),
        ({"measure": "ice\nbath"}, "Name the measure"),
        ({"smallest": 0.0}, "--smallest is in days saved, above 0"),
        ({"smallest": np.inf}, "--smallest is in days saved, above 0"),
        ({"chance": 1.0}, "--chance is a share between 0 and 1"),
        ({"sessions": 1}, "--sessions is the number of sessions per arm, 2 or more"),
        ({"start": LAST}, "--start must be after the last reading, 2031-04-29"),
    ],
)
def test_what_is_asked_wrongly(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(QuestionError, match=said):
        plan_trial(state(), replace(Wanted(MEASURE, 5), **changes), run=Runner())


def test_one_measure_at_a_time() -> None:
    with pytest.raises(QuestionError, match="The trial of 'ice bath' is still open"):
        plan_trial(state(), Wanted("nap", 5), [Trial(plan())], run=Runner())


def test_nothing_to_work_on() -> None:
    with pytest.raises(NoAnswerError, match="no measure is likely to save 5 of them"):
        plan_trial(state(), Wanted(MEASURE, 5, smallest=5.0), run=Runner())
    walks = [(3 * k, "walk") for k in range(20)]
    now = state(walks, types={"walk": (0.02, 1.0)})
    with pytest.raises(NoAnswerError, match="there is nothing for a measure to work on"):
        plan_trial(now, Wanted(MEASURE, 5), run=Runner())
    with pytest.raises(NoAnswerError, match="no recovery to speed up"):
        plan_trial(state([], types={}), Wanted(MEASURE, 5), run=Runner())
    late = [(day, kind) for day, kind in SESSIONS if day > 45]
    with pytest.raises(NoAnswerError, match="Training is logged for 12 days"):
        plan_trial(state(late), Wanted(MEASURE, 5), run=Runner())


def test_a_whole_trial_is_trained_read_and_assigned() -> None:
    run = Runner()
    plan_trial(state(used=USED), Wanted(MEASURE, 5, smallest=1.0), run=run)
    task = run.tasks[0]
    season = whole_trial(task, np.random.default_rng(0))
    found = stretches_of(season, task.trial)
    part = planned_part(found, task.sessions_per_arm)
    assert part is not None
    assert part[-1] == found[-1]
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


def test_training_daily_is_refused_in_words() -> None:
    daily = [(k, ["row", "lift"][k % 2]) for k in range(NIGHTS)]
    run = Runner()
    plan_trial(state(daily), Wanted(MEASURE, 5, smallest=1.0), run=run)
    with pytest.raises(NoAnswerError, match="would take more than three years") as caught:
        whole_trial(run.tasks[0], np.random.default_rng(0))
    assert "train with gaps" in str(caught.value)


def test_habits_are_those_of_the_last_twelve_weeks() -> None:
    sessions = [(d, "row") for d in range(0, 140, 4)]
    habits = habits_of(by_hand.season(140, sessions))
    assert habits.days == 84
    assert habits.sessions["offset"].tolist() == [d - 56 for d in range(56, 140, 4)]
    past = past_of(by_hand.season(300, [(d, "row") for d in range(0, 300, 4)]), MEASURE)
    assert len(past.nights) == 182


def test_the_truth_is_that_of_the_draw() -> None:
    stressors = {"cold": (0.3, 4.0)}
    known = Known(TYPES, stressors, sensor_steps={"clip": 0.1}, noise_sd=0.11, drift_sd=0.02)
    season = by_hand.season(
        NIGHTS, SESSIONS, stressors=[(4, "cold")], sensors=["clip"] * 30 + ["strap"] * 30
    )
    now = by_hand.standing_of(season, known)
    truth = truth_of(with_start(now).draws.isel(sample=0), 4.1, {MEASURE: 1.5})
    assert truth.start == pytest.approx((0.1, 2.5))
    assert truth.types["row"] == pytest.approx(TYPES["row"])
    assert truth.stressors["cold"] == pytest.approx((0.3, 4.0))
    assert truth.sensor_steps == pytest.approx({"clip": 0.1})
    assert (truth.noise_sd, truth.drift_sd) == pytest.approx((0.11, 0.02))
    assert truth.rate_ratios == {MEASURE: 1.5}
    assert truth.baseline_ms == pytest.approx(np.exp(4.1))
    assert truth.typical_days()["row"] == pytest.approx(1 + 2 * np.log2(0.4 / 0.055))


def fake(task: Rehearsal) -> Rehearsed:
    """End a trial at once; a function of a module, so that another process finds it."""
    return Rehearsed(8, task.seed, 0.0, 0.0, 0.1, "undecided")


def test_trials_are_simulated_in_parallel_and_kept_in_order(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    run = Runner()
    plan_trial(state(), Wanted(MEASURE, 5, smallest=1.0), run=run)
    told: list[tuple[int, int]] = []
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    tasks = run.tasks[:6]
    results = rehearse_all(tasks, lambda done, total: told.append((done, total)), fake)
    assert [r.days for r in results] == [t.seed for t in tasks]
    assert told == [(k, 6) for k in range(1, 7)]


@pytest.mark.slow
def test_one_trial_from_its_first_day_to_its_verdict(demo_now: Standing) -> None:
    run = Runner()
    trial_plan.plan_trial(demo_now, Wanted("nap", 5, smallest=1.5, sessions=32), run=run)
    ended = rehearse(run.tasks[20])
    assert ended.sessions_per_arm == 32
    assert 100 < ended.days < 300
    assert ended.log_ratio > 0.5
    # Within 4 posterior SDs of the truth, give or take what the prior pulls.
    assert abs(ended.mean - ended.log_ratio) < 4 * ended.sd + 0.3
    assert 0.05 < ended.sd < 0.25
    assert ended.verdict in ("faster", "undecided")
