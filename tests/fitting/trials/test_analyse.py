"""What a trial found, on fits made by hand: due or not, the verdict, adherence, the record."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import xarray as xr

from slackwater.fitting import Athlete, analyse_trial
from slackwater.fitting.measures.compare import compare_intervention
from slackwater.fitting.measures.verdicts import VERDICT_RULE, Effect
from slackwater.fitting.records.trials import Analysed, Looked, Stopped, Trial, latest_trial
from slackwater.fitting.trials.analyse import TrialFound, due, to_record
from slackwater.fitting.trials.items import report_items
from slackwater.fitting.trials.stretches import assigned, assigned_days, stretches_of
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import Belief, Priors
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials.by_hand import MEASURE, WRITTEN, day, plan, season, trial, unfitted

# Rows leave 6 days to shorten, lifts 2: (0.6 * 6 + 0.4 * 2) = 4.4 of the plan's typical session.
TYPES = {"row": (0.4, 2.0), "lift": (0.2, 1.0)}
PER_ARM = 6
SESSIONS = [(3 * k, ["row", "lift"][k % 2]) for k in range(14)]
NIGHTS = 60
RATIOS = np.exp(np.linspace(0.06, 0.56, 1000))


def used() -> list[int]:
    """The days on which the lots say to use the measure."""
    found = stretches_of(season(NIGHTS, SESSIONS), assigned(plan(0, PER_ARM)))
    return [int((d - day(0)) / DAY) for d in assigned_days(found, "with")]


class Fits:
    """Answers from fits made by hand, and keeps what it was asked about."""

    def __init__(self, ratio: Any = RATIOS) -> None:
        self.ratio = ratio
        self.asked: list[Season] = []

    def __call__(self, fitted: Season) -> Athlete:
        self.asked.append(fitted)
        ratios = {name: self.ratio if name == MEASURE else 1.0 for name in fitted.interventions}
        return by_hand.athlete_of(fitted, Known(TYPES, rate_ratios=ratios))


def analysed(
    made: Season | None = None,
    fits: Fits | None = None,
    kept: Trial | None = None,
    **asked: Any,
) -> TrialFound:
    made = season(NIGHTS, SESSIONS, used()) if made is None else made
    return analyse_trial(unfitted(made, kept or trial(0, PER_ARM)), fits or Fits(), **asked)


def codes(answer: TrialFound) -> list[str]:
    return [reason.code for reason in answer.about.warnings]


def test_the_numbers_are_those_of_the_fit() -> None:
    fits = Fits()
    answer = analysed(fits=fits)
    compared = compare_intervention(fits(fits.asked[0]), MEASURE)
    expected = Effect(np.log(RATIOS).mean(), np.log(RATIOS).std(), Belief(0.0, 0.3))
    assert answer.rate_ratio == pytest.approx(expected.rate_ratio(0.8))
    assert answer.chance_faster == pytest.approx(expected.chance_faster)
    assert answer.lift_percent == compared.lift_percent
    assert answer.told_apart
    xr.testing.assert_equal(answer.days_saved, compared.days_saved)
    saved = 4.4 * (1 - 1 / RATIOS)
    assert answer.typical_days_saved == pytest.approx(np.quantile(saved, [0.1, 0.5, 0.9]))
    assert answer.chance_worth_having == pytest.approx((saved >= 0.5).mean())
    assert answer.log_rate_ratio_mean == pytest.approx(np.log(RATIOS).mean())
    assert answer.log_rate_ratio_sd == pytest.approx(np.log(RATIOS).std())
    assert answer.verdict == "faster"
    assert answer.complete
    assert not answer.judged_before
    assert answer.about.warnings == ()


def test_followed_to_the_letter_one_fit_tells_both() -> None:
    fits = Fits()
    answer = analysed(fits=fits)
    assert len(fits.asked) == 1
    assert answer.rate_ratio == answer.rate_ratio_as_used
    assert answer.used_when_assigned == answer.unused_when_not == 1.0


def test_the_verdict_goes_by_what_was_assigned() -> None:
    days = used()
    fits = Fits()
    made = season(NIGHTS, SESSIONS, [*days[5:], 1, 2])  # 0 to 2 are without
    answer = analysed(made, fits)
    by_lot, as_used = fits.asked
    assert by_lot.applied().sum() > as_used.applied().sum() - 2
    assert answer.used_when_assigned == pytest.approx(13 / 18)  # of 18 days judged
    assert answer.unused_when_not < 1.0
    assert answer.about.warnings == (Reason("log differs from the lots", missed=5, strayed=2),)


def test_a_log_without_the_measure_still_has_a_verdict() -> None:
    answer = analysed(season(NIGHTS, SESSIONS))
    assert answer.verdict == "faster"
    assert np.all(np.isnan(answer.rate_ratio_as_used))
    assert answer.used_when_assigned == 0.0


def test_nothing_after_the_planned_end_changes_the_result() -> None:
    fits = Fits()
    analysed(fits=fits)
    more = [*SESSIONS, (45, "row"), (50, "lift"), (54, "row")]
    analysed(season(70, more, [*used(), 50, 51, 52]), fits)
    assert fits.asked[0].fingerprint() == fits.asked[1].fingerprint()
    assert fits.asked[0].last_night < day(NIGHTS - 1)


def test_before_the_planned_number_nothing_is_shown() -> None:
    early = season(26, SESSIONS[:8], used())
    fits = Fits()
    with pytest.raises(NoAnswerError) as caught:
        analysed(early, fits)
    so_far = {"measure": MEASURE, "sessions_with": 4, "sessions_without": 4, "planned": 6}
    assert caught.value.reasons == (Reason("trial not due", **so_far),)
    assert fits.asked == []  # refused before anything is sampled


def test_a_look_is_no_verdict_and_is_kept() -> None:
    answer = analysed(season(26, SESSIONS[:8], used()), peek=True)
    assert answer.verdict == "not due yet"
    assert answer.looks == 1
    assert "a look before the end" in codes(answer)
    event = to_record(answer, WRITTEN)
    assert isinstance(event, Looked)
    assert (event.sessions_with, event.sessions_without) == (4, 4)
    assert event.last_night == day(25).astype(object)
    with pytest.raises(NoAnswerError) as caught:
        analysed(season(8, SESSIONS[:2], used()), peek=True)
    so_far = {"measure": MEASURE, "sessions_with": 1, "sessions_without": 1, "planned": 6}
    assert caught.value.reasons == (Reason("too little for a look", **so_far),)


def test_a_look_when_it_is_due_is_an_analysis() -> None:
    answer = analysed(peek=True)
    assert answer.complete
    event = to_record(answer, WRITTEN)
    assert isinstance(event, Analysed)
    assert event.verdict == "faster"
    assert event.log_rate_ratio_mean == pytest.approx(np.log(RATIOS).mean())
    assert event.p_value == answer.randomisation_test.p_value
    assert event.last_night == answer.last_judged.astype(object)


def test_what_was_believed_beforehand_is_kept_with_the_result() -> None:
    tight = Priors(log_rate_ratio=Belief(0.05, 0.1))

    def ask(fitted: Season) -> Athlete:
        return Athlete(fitted, replace(Fits()(fitted).posterior, priors=tight))

    athlete = unfitted(season(NIGHTS, SESSIONS, used()), trial(0, PER_ARM))
    event = to_record(analyse_trial(athlete, ask), WRITTEN)
    assert isinstance(event, Analysed)
    assert (event.prior_mean, event.prior_sd) == (0.05, 0.1)


def test_the_first_result_alone_is_kept() -> None:
    kept = trial(0, PER_ARM)
    event = to_record(analysed(kept=kept), WRITTEN)
    assert isinstance(event, Analysed)
    kept.analysed = event
    again = analysed(kept=kept)
    assert again.judged_before
    assert to_record(again, WRITTEN) is None


def test_a_stopped_trial_has_no_verdict() -> None:
    given_up = Trial(plan(0, PER_ARM))
    given_up.stopped = Stopped(trial=1, written=WRITTEN, because="a broken tub")
    with pytest.raises(NoAnswerError) as caught:
        due(season(NIGHTS, SESSIONS), given_up, peek=True)
    stopped = Reason("trial stopped", measure=MEASURE, because="a broken tub")
    assert caught.value.reasons == (stopped,)


def test_the_trial_to_analyse_is_the_open_one_or_the_last() -> None:
    first, second = trial(), Trial(plan(30, trial=2))
    first.stopped = Stopped(trial=1, written=WRITTEN, because="-")
    assert latest_trial([first, second]) is second
    second.stopped = first.stopped
    assert latest_trial([first, second]) is second
    with pytest.raises(NoAnswerError) as caught:
        latest_trial([])
    assert caught.value.reasons == (Reason("no trial yet"),)


def test_another_result_than_the_record_keeps_is_said() -> None:
    kept = trial(0, PER_ARM)
    event = to_record(analysed(kept=kept), WRITTEN)
    assert isinstance(event, Analysed)
    kept.analysed = event
    assert analysed(kept=kept).about.warnings == ()
    other = analysed(fits=Fits(RATIOS**0.2), kept=kept)
    assert (other.verdict, other.log_rate_ratio_mean) == ("faster", event.log_rate_ratio_mean)
    said = Reason("another result in the record", verdict="faster", written="2031-03-01")
    assert said in other.about.warnings


def moved(by: float, mornings: slice) -> TrialFound:
    """A trial in which the measure moves these of the mornings after a session by so much."""
    made = season(NIGHTS, SESSIONS, used())
    level = np.full(NIGHTS, 4.0)
    for stretch in stretches_of(made, assigned(plan(0, PER_ARM))):
        after = np.array([stretch.first + DAY, *stretch.mornings])[mornings]
        level[np.isin(made.nights, after)] += by * (stretch.arm == "with")
    return analysed(made.with_readings(level))


def test_the_test_without_a_model_sees_how_far_readings_climb() -> None:
    test = moved(0.1, slice(1, None)).randomisation_test
    assert test.pairs == 6
    assert test.difference_ln == pytest.approx(0.1)
    assert test.p_value == 2 / 2**6
    assert test.possible_orders == 64


def test_a_measure_that_lifts_every_morning_alike_does_not_fool_it() -> None:
    test = moved(0.1, slice(None)).randomisation_test
    assert test.difference_ln == pytest.approx(0.0, abs=1e-12)
    assert test.p_value == 1.0


def test_gaps_between_sessions_are_told_by_arm() -> None:
    even = analysed()
    assert (even.gap_days_with, even.gap_days_without) == (3.0, 3.0)
    assert even.gap_p_value == 1.0
    assert "gaps differ by arm" not in codes(even)
    # Whoever used the measure rested a day longer, whatever the lots were.
    days, at = [], 0
    lots = stretches_of(season(200, [(3 * k, ["row", "lift"][k % 2]) for k in range(40)]),
                        assigned(plan(0, 12)))  # fmt: skip
    for stretch in lots:
        days.append((at, stretch.label))
        at += 5 if stretch.arm == "with" else 4
    uneven = analysed(season(180, days), kept=trial(0, 12))
    assert uneven.gap_days_with > uneven.gap_days_without == 4.0
    assert uneven.gap_p_value < 0.05
    assert Reason("gaps differ by arm", p_value=uneven.gap_p_value) in uneven.about.warnings


def test_too_few_pairs_for_a_test() -> None:
    answer = analysed(kept=trial(0, 3))
    test = answer.randomisation_test
    assert np.isnan(test.p_value)
    assert Reason("too few pairs", pairs=test.pairs, needed=5) in answer.about.warnings
    event = to_record(answer, WRITTEN)
    assert isinstance(event, Analysed)
    assert event.p_value is None


def test_a_rule_of_another_version_is_said() -> None:
    answer = analysed(kept=Trial(plan(0, PER_ARM, verdict_rule="by the look of it")))
    assert Reason("another verdict rule", rule=VERDICT_RULE) in answer.about.warnings
    assert answer.verdict_rule == "by the look of it"


def test_the_items_of_a_report_know_the_record() -> None:
    made = season(NIGHTS, SESSIONS, [*used(), 1])
    kept = trial(0, PER_ARM)
    items = {row.item: row.record for row in report_items(unfitted(made, kept)).items}
    assert items["17"] == Reason("not judged yet")
    assert items["14"].facts["ended"] == "open"
    assert items["8a"] == Reason("lots by a seed", seed=1)
    event = to_record(analysed(made, kept=kept), WRITTEN)
    assert isinstance(event, Analysed)
    kept.analysed = event
    items = {row.item: row.record for row in report_items(unfitted(made, kept)).items}
    result = items["17"].facts
    assert (result["verdict"], result["p_value"]) == ("faster", event.p_value)
    assert (result["mean"], result["sd"]) == pytest.approx((0.31, 0.144), abs=0.005)
    assert items["18"] == Reason("days not as assigned", missed=0, strayed=1)
    assert items["7a"] == Reason(
        "the size planned", sessions_per_arm=6, chance=0.81, smallest_days=0.5
    )
    assert items["14"].facts["last_night"] == str(event.last_night)
    assert items["20"] == Reason("yours to write")
    assert len(items) == 29
    ill = season(NIGHTS, SESSIONS, used(), stressors=[(4, "cold")])
    items = {row.item: row.record for row in report_items(unfitted(ill, kept)).items}
    (danger,) = items["20"].facts["dangers"]
    assert danger.code == "stressor in a stretch"
