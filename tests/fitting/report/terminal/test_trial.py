"""Trials in words: the plan, the day, the verdict, a report's items, the ledger."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import pytest
from rich.console import Console

from slackwater.fitting import Athlete, analyse_trial, report_items, trial_ledger, trial_today
from slackwater.fitting.answers.answer import Answer
from slackwater.fitting.records.trials import Analysed, Looked, Stopped, Trial
from slackwater.fitting.report.objects import as_object
from slackwater.fitting.report.reasons import sentences, told
from slackwater.fitting.report.terminal import trial as plans
from slackwater.fitting.report.terminal import trial_results
from slackwater.fitting.report.terminal.show import show
from slackwater.fitting.trials.analyse import to_record
from slackwater.fitting.trials.plan import TrialPlan, Wanted
from slackwater.fitting.trials.rehearsal import trial_plan
from slackwater.fitting.trials.stretches import assigned, assigned_days, stretches_of
from slackwater.model.errors import NoAnswerError
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials import test_plan
from tests.fitting.trials.by_hand import MEASURE, WRITTEN, day, plan, season, trial, unfitted

# row without, lift with, row with, lift without, row with (see tests/fitting/trials/by_hand).
BEGUN = [(10, "row"), (13, "lift"), (16, "row"), (18, "lift"), (22, "row")]
FOLLOWED = [13, 14, 15, 16, 17, 22, 23]
SESSIONS = [(3 * k, ["row", "lift"][k % 2]) for k in range(14)]
NIGHTS, PER_ARM = 60, 6
RATIOS = np.exp(np.linspace(0.06, 0.56, 1000))


def printed(text: Callable[[Any], Iterable[Any]], answer: Answer) -> str:
    screen = io.StringIO()
    show(Console(file=screen, width=80, highlight=False), text(answer), answer)
    assert max(map(len, screen.getvalue().splitlines())) <= 80
    return " ".join(screen.getvalue().split())


def warned(answer: Answer) -> list[str]:
    return sentences(answer.about.warnings)


def today(made: Season, number: int, per_arm: int = 4) -> str:
    answer = trial_today(unfitted(made, trial(10, per_arm)), day(number))
    return printed(plans.today, answer)


def judged(kept: Trial, made: Season | None = None, **asked: Any) -> Any:
    """What a trial found, from a fit made by hand."""

    def ask(fitted: Season) -> Athlete:
        ratios = {name: RATIOS if name == MEASURE else 1.0 for name in fitted.interventions}
        known = Known({"row": (0.4, 2.0), "lift": (0.2, 1.0)}, rate_ratios=ratios)
        return by_hand.athlete_of(fitted, known)

    return analyse_trial(unfitted(made or season(NIGHTS, SESSIONS, used()), kept), ask, **asked)


def used() -> list[int]:
    found = stretches_of(season(NIGHTS, SESSIONS), assigned(plan(0, PER_ARM)))
    return [int((d - day(0)) / DAY) for d in assigned_days(found, "with")]


def planned(*, information: float = 4.0, of: Athlete | None = None, **wanted: Any) -> TrialPlan:
    return test_plan.ask(Wanted(MEASURE, 5, **wanted), test_plan.Runner(information), of)


def test_a_plan_in_words() -> None:
    shown = printed(plans.plan, planned(smallest=1.0))
    assert "A trial of ice bath" in shown
    assert "if it saves 1 day of a typical session" in shown
    assert "for the types row, lift." in shown
    assert "(row after 7 days, lift after 4 days) are drawn one by one" in shown
    assert "About 9 come as you train, which cost no night more" in shown
    assert "is known to \u00b1 17.4 % with them, \u00b1 17.9 % without." in shown
    assert "14 nights of rest more would make that \u00b1 16.8 %; as many" in shown
    assert "Choose and log the session first" in shown
    found = planned()
    told_rule = "(about the smallest that 24 sessions per arm can find; another can be asked for)"
    assert told_rule in printed(plans.plan, found)
    object_ = as_object(found)
    assert object_["smallest_rule"] == "about the smallest that 24 sessions per arm can find"
    assert object_["planned"]["start"] == str(found.planned and found.planned.start)
    assert object_["planned"]["pairs"]["row"][0] in ("with, without", "without, with")
    keys = {"sessions_per_arm", "weeks", "trials", "faster", "faster_share", "chance"}
    assert set(object_["simulated"][0]) == keys


def test_a_plan_that_is_too_long_in_words() -> None:
    answer = planned(information=1.5, smallest=0.2)
    shown = printed(plans.plan, answer)
    assert "Even 64 sessions with and 64 without it" in shown
    assert "Choose and log" not in shown
    (why,) = as_object(answer)["why_not"]
    assert why.startswith("Nothing is registered: even 64 sessions per arm (64 weeks) show an")
    assert f"About 48 find an effect of {answer.smallest_found_days:.1f} days with" in why
    assert f"About 48 find an effect of {answer.smallest_found_days:g} days with" in shown
    (hopeless,) = sentences(planned(information=1e-3).why_not)
    assert "No effect that is possible can be counted on to be found" in hopeless


def test_what_to_mind_with_a_plan_in_words() -> None:
    (said,) = warned(planned(smallest=1.0, of=test_plan.athlete(used=test_plan.USED)))
    assert said.startswith("'ice bath' was used on 10 days already.")

    class Wrong(test_plan.Runner):
        def _end(self, *given: Any) -> Any:
            return super()._end(*given)._replace(verdict="undecided")

    (said,) = warned(test_plan.ask(Wanted(MEASURE, 5, smallest=1.0), Wrong()))
    assert "verdicts of 'faster' where 0 were seen" in said


def test_refusals_to_plan_in_words() -> None:
    with pytest.raises(NoAnswerError) as caught:
        planned(smallest=5.0)
    assert "no measure is likely to save 5 of them" in told(caught.value)
    daily = test_plan.athlete([(k, ["row", "lift"][k % 2]) for k in range(60)])
    run = test_plan.Runner()
    test_plan.ask(Wanted(MEASURE, 5, smallest=1.0), run, daily)
    with pytest.raises(NoAnswerError) as caught:
        trial_plan(run.tasks[0], np.random.default_rng(0))
    assert "would take more than three years" in told(caught.value)
    assert "train with gaps" in told(caught.value)


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (5, "Nothing yet: the trial begins with the first session from 2031-03-11 on."),
        (10, "Leave ice bath out today, and so until"),
        (13, "Use ice bath today, and so until"),
        (29, "Nothing is assigned today."),
    ],
)
def test_what_a_day_asks_for_in_words(number: int, said: str) -> None:
    shown = today(season(24, BEGUN, FOLLOWED), number)
    assert said in shown
    assigned = number in (10, 13)
    assert ("nor to use a measure while you are ill" in shown) == assigned


def test_a_day_tells_no_coming_lot() -> None:
    shown = today(season(24, BEGUN[:4], FOLLOWED), 22)
    assert "with, without" not in shown


def test_progress_in_words() -> None:
    shown = today(season(24, BEGUN, FOLLOWED), 23)
    assert "2 sessions with and 2 without tell of recovery; the plan is 4 of each" in shown
    complete = today(season(24, BEGUN, FOLLOWED), 23, per_arm=2)
    assert "The planned number is reached, so the trial can be judged." in complete
    differs = today(season(24, BEGUN, used=[11, 13, 14, 16, 17, 20]), 23)
    assert f"Assigned and not logged: {day(15)}, {day(22)}." in differs
    assert f"Logged and not assigned: {day(11)}, {day(20)}." in differs


def test_what_endangers_a_trial_in_words() -> None:
    used = [*((d, MEASURE) for d in FOLLOWED), (19, "nap")]
    made = by_hand.season(24, BEGUN, interventions=used, stressors=[(14, "head cold")])
    answer = trial_today(unfitted(made, trial(10)), day(23))
    new, stressor = warned(answer)
    assert new.startswith(f"'nap' is new since the trial began ({day(19)}). One measure at a time")
    assert stressor.startswith(f"The stretch of {day(13)} (lift) had a stressor ('head cold')")
    assert as_object(answer)["reasons"][0]["since"] == str(day(19))


def test_a_day_as_json() -> None:
    found = as_object(trial_today(unfitted(season(24, BEGUN, used=[11]), trial(10)), day(23)))
    assert found["use"] is True
    assert found["stretch"] == {
        "type": "row",
        "first": str(day(22)),
        "until": str(day(28)),
        "days": 7,
    }
    assert found["types"][1] == {
        "type": "lift",
        "sessions_with": 1,
        "counted_with": 1,
        "sessions_without": 1,
        "counted_without": 1,
    }
    assert found["sessions_per_arm"] == 4
    assert found["strayed"] == [str(day(11))]


def test_a_recovered_day_in_words() -> None:
    kept = trial(10, 4, recovered_after={"row": 6, "lift": 4})
    shown = printed(plans.today, trial_today(unfitted(season(40, [(10, "row")]), kept), day(20)))
    assert "all is recovered from, so that this day was drawn by itself. If you train" in shown
    (counts,) = re.findall(r"Recovered days read so far: (\d) with, (\d) without\.", shown)
    assert sum(map(int, counts)) == 5  # days 16 to 20


def test_a_verdict_in_words() -> None:
    made = season(NIGHTS, SESSIONS, used())
    level = np.full(NIGHTS, 4.0)
    for stretch in stretches_of(made, assigned(plan(0, PER_ARM))):
        level[np.isin(made.nights, stretch.mornings)] += 0.1 * (stretch.arm == "with")
    answer = judged(trial(0, PER_ARM), made.with_readings(level))
    shown = printed(trial_results.analysed, answer)
    assert "Verdict: faster with it." in shown
    assert "days to the next session 3.0 with, 3.0 without, p = 1.000" in shown
    assert "that of trial 1, given once at its planned end: no meaningful difference when" in shown
    assert "+10.5 % (SE 0.0), p = 0.031, 6 pairs" in shown


def test_a_log_that_cannot_tell_in_words_and_in_json() -> None:
    answer = judged(trial(0, PER_ARM), season(NIGHTS, SESSIONS))
    assert "the same, as used the log cannot tell" in printed(trial_results.analysed, answer)
    assert as_object(answer)["rate_ratio_as_used"]["median"] is None
    differs, *_ = warned(answer)
    assert differs.startswith("The log differs from what was assigned: not logged on 18 of")
    few = as_object(judged(trial(0, 3)))
    assert few["randomisation_test"]["p_value"] is None
    assert any("are too few for the randomisation test" in w for w in few["warnings"])


def test_looks_in_words() -> None:
    early = season(26, SESSIONS[:8], used())
    with pytest.raises(NoAnswerError) as caught:
        judged(trial(0, PER_ARM), early)
    said = told(caught.value)
    assert said.startswith("4 sessions with and 4 without 'ice bath' tell of recovery so far; the")
    assert "the plan is 6 of each" in said
    assert "is kept in the record" in said
    look = judged(trial(0, PER_ARM), early, peek=True)
    assert any("a look before the planned number" in w for w in warned(look))
    with pytest.raises(NoAnswerError) as caught:
        judged(trial(0, PER_ARM), season(8, SESSIONS[:2], used()), peek=True)
    assert "too little for a look" in told(caught.value)


def test_what_the_record_keeps_in_words() -> None:
    kept = trial(0, PER_ARM)
    event = to_record(judged(kept), WRITTEN)
    assert isinstance(event, Analysed)
    kept.analysed = event.model_copy(update={"log_rate_ratio_mean": 0.0})
    assert any("came from other data" in w for w in warned(judged(kept)))
    old = Trial(plan(0, PER_ARM, verdict_rule="by the look of it"))
    assert any("not the one that this version judges by" in w for w in warned(judged(old)))
    old.stopped = Stopped(trial=1, written=WRITTEN, because="a broken tub")
    with pytest.raises(NoAnswerError) as caught:
        judged(old)
    assert "was stopped (a broken tub)" in told(caught.value)


def test_the_items_of_a_report_in_words() -> None:
    made = season(NIGHTS, SESSIONS, [*used(), 1], stressors=[(4, "cold")])
    kept = trial(0, PER_ARM)
    items = {row["item"]: row for row in as_object(report_items(unfitted(made, kept)))["items"]}
    assert items["17"]["record"] == "not analysed yet"
    assert items["14"]["record"] == "from 2031-03-01; still open"
    assert items["8a"]["record"] == "SHA-256 of seed 1, type and pair"
    assert items["8b"]["record"] == "pairs within type; types: row (60 %), lift (40 %)"
    assert items["20"]["record"].startswith("The stretch of 2031-03-04 (lift) had a stressor")
    assert items["1"]["what"] == "title and summary name it a trial with one participant"
    event = to_record(judged(kept), WRITTEN)
    assert isinstance(event, Analysed)
    kept.analysed = event
    answer = report_items(unfitted(season(NIGHTS, SESSIONS, [*used(), 1]), kept))
    items = {row["item"]: row["record"] for row in as_object(answer)["items"]}
    assert items["17"].startswith("faster; log rate ratio 0.31 (SD 0.14), randomisation test p")
    assert items["18"] == "not used on 0 days assigned, used on 1 others"
    assert items["7a"].startswith("6 sessions per arm: a chance of 81 % of the verdict")
    shown = printed(trial_results.items, answer)
    assert "after CENT 2015 (Vohra et al., BMJ 2015;350:h1738)" in shown
    assert len(items) == 29


def ledger(*trials: Trial, **moments: tuple[float, float]) -> Any:
    standard = np.linspace(-1.7, 1.7, 1000)
    naps = [(d + 1, name) for name in moments for d, _ in SESSIONS[::3]]
    made = by_hand.season(NIGHTS, SESSIONS, interventions=naps)
    ratios = {name: np.exp(m + s * standard) for name, (m, s) in moments.items()}
    known = Known({"row": (0.4, 2.0), "lift": (0.2, 1.0)}, rate_ratios=ratios)
    return trial_ledger(Athlete(made, by_hand.posterior(made, known), trials=trials))


def test_the_ledger_in_words() -> None:
    look = Looked(trial=1, written=WRITTEN, last_night=day(30).astype(object), sessions_with=2,
                  sessions_without=2)  # fmt: skip
    result = Analysed(
        **look.model_dump(exclude={"event"}),
        verdict="faster",
        log_rate_ratio_mean=0.6,
        log_rate_ratio_sd=0.1,
        chance_worth_having=0.9,
        p_value=0.03,
    )
    answer = ledger(Trial(plan(), [look, look], result), nap=(0.0, 0.1))
    shown = printed(trial_results.ledger, answer)
    assert "Faster, by trial: ice bath." in shown
    assert "2 interim looks" in shown
    assert "Alone: each measure by itself; together: all measures at once" in shown
    looked, no_trial = warned(answer)
    assert "were looked at twice before its end" in looked
    assert "without a trial were used when the athlete chose" in no_trial
    open_ = ledger(Trial(plan(10)))
    assert as_object(open_)["rows"][0]["rate_ratio_together"]["median"] is None
    assert "not yet" in printed(trial_results.ledger, open_)
    given_up = Trial(plan(10), stopped=Stopped(trial=1, written=WRITTEN, because="a broken tub"))
    assert "stopped: a broken tub" in printed(trial_results.ledger, ledger(given_up))
    with pytest.raises(NoAnswerError) as caught:
        ledger()
    assert told(caught.value).startswith("No measure was ever tested")


def test_what_the_fit_has_not_seen_in_words() -> None:
    made = by_hand.season(NIGHTS, SESSIONS, interventions=[(4, "sauna")])
    answer = trial_ledger(unfitted(made))
    assert "needs a fit" in printed(trial_results.ledger, answer)
    assert any(w.startswith("Not in the fit yet: 'sauna'.") for w in warned(answer))
