"""What the days of training can tell apart."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting import Athlete, compare_types, recovery
from slackwater.fitting.answers.support import types_in_a_row
from slackwater.model.errors import Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

TYPES = {"row": (0.3, 1.3), "lift": (0.2, 1.3), "run": (0.2, 1.3), "swim": (0.2, 1.3)}


def athlete(sessions: list[tuple[int, str]]) -> Athlete:
    kinds = {kind: TYPES[kind] for kind in dict.fromkeys(kind for _, kind in sessions)}
    return by_hand.athlete_of(by_hand.season(110, sorted(sessions)), Known(kinds), draws=20)


def in_a_row(sessions: list[tuple[int, str]]) -> list[str]:
    return [t for why in types_in_a_row(athlete(sessions).now) for t in why.facts["types"]]


WEEKS = range(2, 100, 6)


def test_lifting_always_on_the_day_after_rowing_is_told() -> None:
    """With one rate, rowing's rate shifts readings as lifting's dip and rate do, a day later."""
    pairs = [(d + k, kind) for d in WEEKS for k, kind in ((0, "row"), (1, "lift"))]
    assert in_a_row(pairs) == ["row", "lift"]
    told = Reason("always in a row", types=["row", "lift"])
    assert told in recovery(athlete(pairs)).about.warnings
    assert told in compare_types(athlete(pairs), "row", "lift").about.warnings
    swum = [*pairs, *((d + 3, "swim") for d in WEEKS)]
    assert told not in compare_types(athlete(swum), "swim", "swim").about.warnings


@pytest.mark.parametrize("apart", [2, 3])
def test_with_a_day_of_rest_between_they_are_told_apart(apart: int) -> None:
    assert (
        in_a_row([(d + k, kind) for d in WEEKS for k, kind in ((0, "row"), (apart, "lift"))]) == []
    )


def test_a_few_times_without_the_other_are_enough() -> None:
    some = [(d, "row") for d in WEEKS] + [(d + 1, "lift") for d in list(WEEKS)[::4]]
    assert in_a_row(some) == []


def test_three_types_that_follow_each_other_every_day_are_told() -> None:
    assert in_a_row([(d, ["row", "lift", "run"][d % 3]) for d in range(99)]) == [
        "row", "lift", "run",
    ]  # fmt: skip


def test_training_at_random_is_told_apart() -> None:
    rng = np.random.default_rng(1)
    assert in_a_row([(d, ["row", "lift"][rng.integers(2)]) for d in range(0, 90, 2)]) == []


def test_types_on_the_same_days_are_refused_and_not_told_again() -> None:
    both = [(d, kind) for d in WEEKS for kind in ("row", "lift")]
    assert in_a_row([*both, *((d + 3, "swim") for d in WEEKS)]) == []
