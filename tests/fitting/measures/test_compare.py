"""Comparisons, on states made by hand: verdicts, days saved, counts and refusals."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, compare_intervention
from slackwater.fitting.measures.compare import MeasureCompared
from slackwater.fitting.records.trials import Stopped, Trial
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.trials import by_hand as trial_by_hand
from tests.fitting.trials.by_hand import WRITTEN

NIGHTS = 40
TYPES = {"row": (0.4, 2.0), "lift": (0.2, 1.0)}
SESSIONS = [(3 * i, kind) for i, kind in enumerate(["row", "row", "lift", "lift"] * 3)]
# The bath works on the night after a session's first, for every other session of a type.
SPREAD = [(day + 1, "bath") for day, _ in SESSIONS[::2]]


def with_bath(
    ratio: Any = 2.0,
    applied: by_hand.Dated = tuple(SPREAD),
    sessions: by_hand.Dated = SESSIONS,
    trials: Sequence[Trial] = (),
) -> Athlete:
    known = Known(TYPES, rate_ratios={"bath": ratio})
    season = by_hand.season(NIGHTS, sessions, interventions=applied)
    return Athlete(season, by_hand.posterior(season, known), trials=trials)


def refused(asked: Callable[[], Any]) -> Reason | str:
    """Return the one reason for which there is no answer."""
    with pytest.raises(NoAnswerError) as caught:
        asked()
    (why,) = caught.value.reasons
    return why


def test_days_saved_of_a_typical_session_in_closed_form() -> None:
    # Half of the time to fall from the dip to the threshold of 0.05: 0.4 in 3 half-lives of 2
    # days, 0.2 in 2 of 1 day.
    answer = compare_intervention(with_bath(2.0), "bath")
    assert answer.rate_ratio == pytest.approx((2.0,) * 3)
    assert answer.days_saved.sel(type="row").values == pytest.approx([3.0] * 3)
    assert answer.days_saved.sel(type="lift").values == pytest.approx([1.0] * 3)
    slower = compare_intervention(with_bath(0.5), "bath")
    assert slower.days_saved.sel(type="row").values == pytest.approx([-6.0] * 3)


def test_days_saved_count_what_the_first_night_holds_back() -> None:
    known = Known(TYPES, rate_ratios={"bath": 2.0}, first_night=0.5)
    season = by_hand.season(NIGHTS, SESSIONS, interventions=SPREAD)
    answer = compare_intervention(by_hand.athlete_of(season, known), "bath")
    assert answer.days_saved.sel(type="row").values == pytest.approx([4.0] * 3)


def test_ratio_and_chance_come_from_the_draws() -> None:
    ratios = np.exp(np.linspace(-0.5, 1.5, 1000))  # three quarters above 1
    answer = compare_intervention(with_bath(ratios), "bath", level=0.9)
    assert answer.rate_ratio == pytest.approx(tuple(np.quantile(ratios, [0.05, 0.5, 0.95])))
    assert answer.chance_faster == 0.75
    saved = 6 - 6 / ratios
    assert answer.days_saved.sel(type="row").values == pytest.approx(
        np.quantile(saved, [0.05, 0.5, 0.95])
    )


def test_what_a_reading_gains_by_itself_comes_from_the_draws() -> None:
    known = Known(TYPES, rate_ratios={"bath": 1.0}, lifts={"bath": np.linspace(-0.02, 0.08, 1000)})
    season = by_hand.season(NIGHTS, SESSIONS, interventions=SPREAD)
    answer = compare_intervention(by_hand.athlete_of(season, known), "bath")
    expected = 100 * np.expm1([-0.01, 0.03, 0.07])
    assert tuple(answer.lift_percent) == pytest.approx(expected, abs=1e-3)


def test_rate_and_lift_are_told_apart_unless_one_is_most_of_not_knowing_the_other() -> None:
    rng = np.random.default_rng(4)
    lift, own = rng.standard_normal((2, 1000))
    season = by_hand.season(NIGHTS, SESSIONS, interventions=SPREAD)

    def asked(weight: float) -> MeasureCompared:
        log_ratio = 0.2 * (weight * lift + np.sqrt(1 - weight**2) * own)
        known = Known(TYPES, rate_ratios={"bath": np.exp(log_ratio)}, lifts={"bath": 0.03 * lift})
        return compare_intervention(by_hand.athlete_of(season, known), "bath")

    apart, mixed = asked(-0.5), asked(-0.9)
    assert (apart.told_apart, mixed.told_apart) == (True, False)
    assert apart.lift_share == pytest.approx(0.25, abs=0.05)
    assert mixed.lift_share == pytest.approx(0.81, abs=0.03)
    (why,) = mixed.about.warnings
    assert why == Reason("lift or rate", measure="bath", share=mixed.lift_share)
    assert apart.about.warnings == ()
    known_lift = Known(TYPES, rate_ratios={"bath": np.exp(0.2 * own)})
    assert compare_intervention(by_hand.athlete_of(season, known_lift), "bath").lift_share == 0


def test_nights_and_sessions_with_and_without_are_counted() -> None:
    answer = compare_intervention(with_bath(), "bath")
    # A bath on day d acts on the night that ends on the morning of d + 1. A session counts with
    # it when it acted on the night after the session's first, which a bath a day later does.
    assert answer.nights_with == len(SPREAD)
    assert answer.nights_without == NIGHTS - len(SPREAD)
    assert answer.sessions_with == answer.sessions_without == 6


def test_a_bath_on_the_day_of_the_session_alone_is_not_with_it() -> None:
    same_day = [(day, "bath") for day, _ in SESSIONS[::2]]
    why = refused(lambda: compare_intervention(with_bath(applied=same_day), "bath"))
    assert why == Reason("too few to compare", measure="bath", side="with", nights=6, sessions=0)


def test_days_beyond_what_a_reading_shows_are_not_counted() -> None:
    later = [*SPREAD, (NIGHTS - 1, "bath"), (NIGHTS + 5, "bath")]
    answer = compare_intervention(with_bath(applied=later), "bath")
    assert answer.nights_with == len(SPREAD)


@pytest.mark.parametrize(
    ("applied", "side", "nights", "sessions"),
    [
        (SPREAD[:4], "with", 4, 4),
        ([(day, "bath") for day in range(-1, NIGHTS - 5)], "without", 4, 0),
        ([(day, "bath") for day in range(-1, NIGHTS)], "without", 0, 0),
        ([(day, "bath") for day in (0, 3, 6, 9, 12)], "with", 5, 0),
    ],
)
def test_a_measure_used_hardly_ever_or_nearly_always_is_refused(
    applied: by_hand.Dated, side: str, nights: int, sessions: int
) -> None:
    why = refused(lambda: compare_intervention(with_bath(applied=applied), "bath"))
    facts = {"nights": nights, "sessions": sessions}
    assert why == Reason("too few to compare", measure="bath", side=side, **facts)


def test_a_measure_used_after_some_types_only_is_refused() -> None:
    after_rows = [(day + 1, "bath") for day, kind in SESSIONS if kind == "row"]
    why = refused(lambda: compare_intervention(with_bath(applied=after_rows), "bath"))
    assert why == Reason("some types only", measure="bath")


def test_one_type_both_ways_is_answered_with_a_warning() -> None:
    after_rows = [(day + 1, "bath") for day, kind in SESSIONS if kind == "row"]
    answer = compare_intervention(with_bath(applied=after_rows[:5]), "bath")
    one = Reason("one type only", measure="bath", type="row")
    assert answer.about.warnings == (one,)
    assert compare_intervention(with_bath(), "bath").about.warnings == ()


def test_the_only_type_both_ways_needs_no_warning() -> None:
    rows = [(3 * i, "row") for i in range(12)]
    spread = [(day + 1, "bath") for day, _ in rows[::2]]
    known = Known({"row": (0.4, 2.0)}, rate_ratios={"bath": 1.2})
    season = by_hand.season(NIGHTS, rows, interventions=spread)
    answer = compare_intervention(by_hand.athlete_of(season, known), "bath")
    assert answer.about.warnings == ()


def test_an_unknown_measure_is_named_with_those_there_are() -> None:
    with pytest.raises(QuestionError) as caught:
        compare_intervention(with_bath(), "baht")
    assert str(caught.value) == (
        "Unknown intervention 'baht'. This season has: 'bath'. Did you mean 'bath'?"
    )
    with pytest.raises(QuestionError, match=r"This season has: none\.$"):
        compare_intervention(by_hand.athlete_of(by_hand.season(20), Known()), "bath")


def test_a_measure_on_trial_is_not_looked_at_before_its_end() -> None:
    begun = Trial(trial_by_hand.plan(10, measure="bath"))
    why = refused(lambda: compare_intervention(with_bath(trials=[begun]), "bath"))
    assert why == Reason("on trial", measure="bath")
    ahead = Trial(trial_by_hand.plan(NIGHTS + 1, measure="bath"))
    other = Trial(trial_by_hand.plan(10, measure="nap"))
    given_up = Trial(begun.plan, stopped=Stopped(trial=1, written=WRITTEN, because="a cold"))
    free = compare_intervention(with_bath(trials=[ahead, other, given_up]), "bath")
    plain = compare_intervention(with_bath(), "bath")
    assert free.days_saved.identical(plain.days_saved)
    assert vars(free) | {"days_saved": None} == vars(plain) | {"days_saved": None}
