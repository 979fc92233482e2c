"""Comparisons, on states made by hand: verdicts, days saved, counts and refusals."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, compare_attribute, compare_intervention, compare_types
from slackwater.fitting.answers.compare import VERDICT_RULE, verdict
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


def log_ratios(*, faster: int, slower: int, same: int, size: float = 0.5) -> np.ndarray:
    """A thousand draws: so many at either side of no effect, the rest within 1.1 of it."""
    assert faster + slower + same == 1000
    close = np.linspace(-0.09, 0.09, same)
    return np.concatenate([np.full(faster, size), np.full(slower, -size), close])


@pytest.mark.parametrize(
    ("draws", "expected"),
    [
        (log_ratios(faster=975, slower=25, same=0), "faster"),
        (log_ratios(faster=974, slower=26, same=0), "undecided"),
        (log_ratios(faster=25, slower=975, same=0), "slower"),
        (log_ratios(faster=26, slower=974, same=0), "undecided"),
        (log_ratios(faster=50, slower=50, same=900), "no meaningful difference"),
        (log_ratios(faster=51, slower=50, same=899), "undecided"),
        # Surely above 1, and surely by less than a tenth: that makes no difference.
        (np.linspace(0.01, 0.09, 1000), "no meaningful difference"),
        (np.full(1000, np.log(1.1) + 1e-9), "faster"),
        (np.full(1000, -np.log(1.1) - 1e-9), "slower"),
    ],
)
def test_the_verdict_at_the_edges_of_its_rule(draws: np.ndarray, expected: str) -> None:
    assert verdict(draws) == expected
    answer = compare_intervention(with_bath(np.exp(draws)), "bath")
    assert answer.verdict == expected
    assert answer.verdict_rule == VERDICT_RULE


def test_the_rule_in_words_has_the_numbers_of_the_rule() -> None:
    assert VERDICT_RULE == (
        "no meaningful difference when the chance is at least 90 % that the rate ratio lies "
        "between 1/1.1 and 1.1; otherwise faster or slower when the chance of it is at least "
        "97.5 %; otherwise undecided"
    )


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


ATTRIBUTES = {
    "row": {"mode": "boat", "effort": "hard"},
    "lift": {"mode": "gym", "effort": "hard"},
    "paddle": {"mode": "boat", "effort": "easy"},
    "swim": {"mode": "pool", "effort": ""},
}
FOUR = {**TYPES, "paddle": (0.1, 1.0)}  # 7, 3 and 2 days with a threshold of 0.05


def of_attributes(sessions: by_hand.Dated | None = None) -> Athlete:
    kinds = ["row", "lift", "paddle"] * 4
    sessions = [(3 * i, kind) for i, kind in enumerate(kinds)] if sessions is None else sessions
    season = by_hand.season(NIGHTS, sessions, attributes=ATTRIBUTES)
    return by_hand.athlete_of(season, Known(FOUR))


def test_two_types_differ_by_their_typical_days() -> None:
    athlete = of_attributes()
    answer = compare_types(athlete, "row", "lift")
    assert answer.difference_days == pytest.approx((7.0 - 3.0,) * 3)
    assert answer.chance_a_slower == 1.0
    assert (answer.a, answer.b, answer.longer, answer.attribute) == ("row", "lift", "row", None)
    back = compare_types(athlete, "lift", "row")
    assert back.difference_days == pytest.approx((-4.0,) * 3)
    assert back.chance_a_slower == 0.0
    assert back.longer == "row"


def test_types_are_compared_draw_by_draw() -> None:
    # Both take 3 to 7 days, always the same: apart they overlap wholly, paired they are equal.
    half_life = np.linspace(1.0, 3.0, 1000)
    known = Known({"row": (0.2, half_life), "lift": (0.2, half_life)})
    athlete = by_hand.athlete_of(by_hand.season(NIGHTS, SESSIONS), known)
    answer = compare_types(athlete, "row", "lift")
    assert answer.difference_days == pytest.approx((0.0,) * 3)
    assert answer.chance_a_slower == 0.5  # ties are split


def test_an_attribute_value_is_the_mean_of_the_types_that_have_it() -> None:
    answer = compare_attribute(of_attributes(), "mode", "boat", "gym")
    assert answer.difference_days == pytest.approx(((7.0 + 2.0) / 2 - 3.0,) * 3)
    assert answer.attribute == "mode"
    alone = Reason("one type has the value", attribute="mode", value="gym", type="lift")
    assert answer.about.warnings == (alone,)
    answer = compare_attribute(of_attributes(), "effort", "hard", "easy")
    assert answer.difference_days == pytest.approx(((7.0 + 3.0) / 2 - 2.0,) * 3)


def test_a_type_never_trained_takes_no_part_in_the_mean() -> None:
    untrained = [(3 * i, kind) for i, kind in enumerate(["row", "lift"] * 6)]
    known = Known(TYPES)
    season = by_hand.season(NIGHTS, untrained, attributes=ATTRIBUTES)
    athlete = by_hand.athlete_of(season, known)
    answer = compare_attribute(athlete, "mode", "boat", "gym")
    assert answer.difference_days == pytest.approx((4.0,) * 3)
    why = refused(lambda: compare_attribute(athlete, "effort", "easy", "hard"))
    assert why == Reason("value never trained", attribute="effort", value="easy")


@pytest.mark.parametrize(
    ("question", "said"),
    [
        (("mod", "boat", "gym"), "Unknown attribute 'mod'. This season has: 'effort', 'mode'."),
        (("mode", "boot", "gym"), "Unknown value of 'mode' 'boot'. This season has: 'boat', "),
        (("effort", "hard", ""), "Unknown value of 'effort' ''. This season has: 'easy', 'hard'."),
    ],
)
def test_an_unknown_attribute_or_value_is_named(question: tuple[str, str, str], said: str) -> None:
    with pytest.raises(QuestionError) as caught:
        compare_attribute(of_attributes(), *question)
    assert str(caught.value).startswith(said)


def test_an_unknown_type_is_named() -> None:
    for a, b in (("rwo", "lift"), ("lift", "rwo")):
        with pytest.raises(QuestionError, match=r"Unknown session type 'rwo'\. .+ mean 'row'\?$"):
            compare_types(of_attributes(), a, b)


def test_types_that_cannot_be_told_apart_are_not_compared() -> None:
    together = [(3 * i, kind) for i in range(8) for kind in ("row", "lift")]
    athlete = of_attributes([*together, (1, "paddle"), (10, "paddle")])
    why = Reason("always the same days", types=["lift", "row"])
    assert refused(lambda: compare_types(athlete, "row", "paddle")) == why
    assert refused(lambda: compare_types(athlete, "paddle", "lift")) == why
    assert refused(lambda: compare_attribute(athlete, "effort", "easy", "hard")) == why
