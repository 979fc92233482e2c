"""Comparisons, on states made by hand: verdicts, days saved, counts and refusals."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete, compare_attribute, compare_types
from slackwater.model.errors import NoAnswerError, QuestionError, Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

NIGHTS = 40
TYPES = {"row": (0.4, 2.0), "lift": (0.2, 1.0)}
SESSIONS = [(3 * i, kind) for i, kind in enumerate(["row", "row", "lift", "lift"] * 3)]
# The bath works on the night after a session's first, for every other session of a type.
SPREAD = [(day + 1, "bath") for day, _ in SESSIONS[::2]]


def refused(asked: Callable[[], Any]) -> Reason | str:
    """Return the one reason for which there is no answer."""
    with pytest.raises(NoAnswerError) as caught:
        asked()
    (why,) = caught.value.reasons
    return why


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
