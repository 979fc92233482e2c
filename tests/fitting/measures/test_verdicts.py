"""One verdict a measure: by its trial alone, together with others, never from the log."""

from __future__ import annotations

from math import log
from statistics import NormalDist

import numpy as np
import pytest
from scipy import stats

from slackwater.fitting import Athlete, compare_intervention, trial_ledger
from slackwater.fitting.measures.shrinkage import shrink, without_prior
from slackwater.fitting.measures.verdicts import (
    VERDICT_RULE,
    Effect,
    Tried,
    ever_tried,
    judged,
    verdict,
    verdict_of,
)
from slackwater.fitting.records.trials import Stopped, Trial
from slackwater.model.errors import Reason
from slackwater.model.priors import Belief
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials.by_hand import WRITTEN, analysed, plan

PRIOR = Belief(0.0, 0.3)
Z = float(stats.norm.ppf(0.975))
NIGHTS = 60
SESSIONS = [(3 * k, ["row", "lift"][k % 2]) for k in range(18)]
USED = [date + 1 for k, (date, _) in enumerate(SESSIONS) if k // 2 % 2]
STANDARD = stats.norm.ppf((np.arange(1000) + 0.5) / 1000)


def finished(number: int, measure: str, mean: float, sd: float, said: str) -> Trial:
    event = analysed(
        trial=number, verdict=said, log_rate_ratio_mean=mean, log_rate_ratio_sd=sd, p_value=0.2
    )
    return Trial(plan(trial=number, measure=measure), analysed=event)


def logged(measures: dict[str, tuple[float, float]], *trials: Trial) -> Athlete:
    """An athlete with these trials, whose log and fit hold these measures."""
    applied = [(d, name) for name in measures for d in USED]
    season = by_hand.season(NIGHTS, SESSIONS, interventions=applied)
    ratios = {name: np.exp(mean + sd * STANDARD) for name, (mean, sd) in measures.items()}
    known = Known({"row": (0.4, 2.0), "lift": (0.2, 1.0)}, rate_ratios=ratios)
    return Athlete(season, by_hand.posterior(season, known), trials=trials)


@pytest.mark.parametrize(
    ("mean", "sd", "expected"),
    [
        (Z * 0.2 + 1e-6, 0.2, "faster"),
        (Z * 0.2 - 1e-6, 0.2, "undecided"),
        (-Z * 0.2 - 1e-6, 0.2, "slower"),
        (0.0, 0.2, "undecided"),
        (0.0, log(1.1) / float(stats.norm.ppf(0.95)) - 1e-6, "no meaningful difference"),
        (0.0, log(1.1) / float(stats.norm.ppf(0.95)) + 1e-6, "undecided"),
        # Surely above 1, and surely by less than a tenth: that makes no difference.
        (0.05, 0.01, "no meaningful difference"),
        (log(1.1) + 0.01, 0.001, "faster"),
    ],
)
def test_the_verdict_at_the_edges_of_its_rule(mean: float, sd: float, expected: str) -> None:
    assert verdict(Effect(mean, sd, PRIOR).below) == expected


def test_the_rule_in_words_has_the_numbers_of_the_rule() -> None:
    assert VERDICT_RULE == (
        "no meaningful difference when the chance is at least 90 % that the rate ratio lies "
        "between 1/1.1 and 1.1; otherwise faster or slower when the chance of it is at least "
        "97.5 %; otherwise undecided"
    )


def test_numbers_of_an_effect_are_those_of_its_normal() -> None:
    effect = Effect.of(0.2 + 0.1 * STANDARD, PRIOR)
    assert (effect.mean, effect.sd) == pytest.approx((0.2, 0.1), rel=0.01)
    expected = np.exp(stats.norm.ppf([0.05, 0.5, 0.95], effect.mean, effect.sd))
    assert effect.rate_ratio(0.9) == pytest.approx(tuple(expected))
    assert effect.chance_faster == pytest.approx(stats.norm.cdf(effect.mean / effect.sd))


def test_outside_a_trial_there_is_no_verdict_however_sure_the_log_is() -> None:
    athlete = logged({"river dip": (0.6, 0.05), "nap": (-0.5, 0.05)})
    for name in ("river dip", "nap"):
        answer = compare_intervention(athlete, name)
        assert answer.verdict == "undecided"
        assert answer.verdict_rule == Reason("no verdict outside a trial")
        assert answer.settled_by == Reason("a trial settles it")
    ledger = trial_ledger(athlete)
    assert ledger.faster == ()
    assert [row.verdict for row in ledger.rows] == [None, None]
    stopped = Trial(plan(measure="nap"), stopped=Stopped(trial=1, written=WRITTEN, because="ill"))
    assert compare_intervention(logged({"nap": (0.6, 0.05)}, stopped), "nap").verdict == "undecided"


def test_one_trial_has_the_verdict_of_its_record_everywhere() -> None:
    alone = finished(1, "ice bath", 0.25, 0.12, "faster")
    athlete = logged({"ice bath": (-0.1, 0.1), "nap": (0.6, 0.1)}, alone)
    answer = compare_intervention(athlete, "ice bath")
    assert answer.verdict == "faster"
    rule = Reason("verdict of its trial", trial=1, rule=VERDICT_RULE)
    assert (answer.verdict_rule, answer.settled_by) == (rule, None)
    (bath, nap) = trial_ledger(athlete).rows
    assert (bath.verdict, bath.verdict_alone, nap.verdict) == ("faster", "faster", None)
    assert verdict_of(athlete, alone) == "faster"
    assert verdict_of(athlete, Trial(plan(10))) == ""


def test_of_several_trials_the_luckiest_does_not_win_by_itself() -> None:
    trials = [
        finished(1, "ice bath", 0.26, 0.13, "faster"),
        *(finished(k, f"idea {k}", 0.02 * (k - 5), 0.13, "undecided") for k in range(2, 9)),
    ]
    athlete = logged({"ice bath": (0.1, 0.1)}, *trials)
    moments = [(t.analysed.log_rate_ratio_mean, 0.13) for t in trials if t.analysed]
    mean, sd = np.array(moments).T
    found = shrink(*without_prior(mean, sd, [PRIOR] * 8))
    assert found.chance_above(0.0)[0] < 0.975 < NormalDist().cdf(0.26 / 0.13)
    ledger = trial_ledger(athlete)
    bath = ledger.rows[0]
    assert (bath.verdict, bath.verdict_alone) == ("undecided", "faster")
    assert bath.chance_faster_together == pytest.approx(found.chance_above(0.0)[0])
    assert ledger.faster == ()
    assert Reason("faster by itself only", measure="ice bath") in ledger.about.warnings
    told = compare_intervention(athlete, "ice bath")
    assert told.verdict == bath.verdict == verdict_of(athlete, trials[0])
    assert told.verdict_rule == Reason("verdict of all together", trial=1, rule=VERDICT_RULE)
    strong = [finished(1, "ice bath", 0.8, 0.13, "faster"), *trials[1:]]
    assert trial_ledger(logged({}, *strong)).faster == ("ice bath",)


def test_a_measure_speaks_by_its_last_trial() -> None:
    first = finished(1, "ice bath", 0.5, 0.1, "faster")
    again = finished(2, "ice bath", 0.0, 0.2, "undecided")
    answer = compare_intervention(logged({"ice bath": (0.3, 0.1)}, first, again), "ice bath")
    assert answer.verdict_rule.facts["trial"] == 2


def test_an_open_trial_and_what_no_fit_has_seen_say_nothing() -> None:
    athlete = logged({"ice bath": (0.4, 0.05), "nap": (0.0, 0.1)}, Trial(plan(10)))
    assert [t.measure for t in ever_tried(athlete)] == ["nap"]
    unfitted = Athlete(athlete.season, trials=[finished(1, "nap", 0.1, 0.1, "undecided")])
    (nap,) = ever_tried(unfitted)
    assert (nap.measure, nap.alone, nap.draws) == ("nap", "undecided", None)


def test_numbers_of_the_log_are_those_of_its_draws_on_every_screen() -> None:
    athlete = logged({"river dip": (0.3, 0.12), "nap": (0.0, 0.1)})
    for row in trial_ledger(athlete).rows:
        compared = compare_intervention(athlete, row.measure)
        assert row.rate_ratio_alone == compared.rate_ratio
        assert row.chance_faster_alone == compared.chance_faster


def test_judged_together_means_all_that_was_ever_tried() -> None:
    tried = [Tried("a", None, Effect(0.4, 0.1, PRIOR)), Tried("b", None, Effect(0.0, 0.1, PRIOR))]
    (together, _), (alone,) = judged(tried, 0.8), judged(tried[:1], 0.8)
    assert together.together.median < alone.together.median
