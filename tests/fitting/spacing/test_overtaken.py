"""Whether a plan still holds: what is done, what is read, and what its chances have become."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting import Athlete
from slackwater.fitting.records.plans import KeptPlan
from slackwater.fitting.spacing.overtaken import overtaken
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.records.by_hand import date, plan

NIGHTS = 30  # the last reading is of day 29
KNOWN = Known(
    {"hill run": (0.17, 1.0), "row": (0.07, 1.0)}, noise_sd=0.1, session_sd=1e-12, level=4.0
)
DONE = [(3, "hill run"), (9, "row")]
# A run is back on day 3 of its own, a row on day 2; so is one that follows the other.
COMING = plan((27, "row", 0.9), (31, "hill run", 0.9), (35, "row", 0.9), start=26)
FOLLOWED = [*DONE, (27, "row")]


def codes(
    *plans: KeptPlan, log: list[tuple[int, str]] = FOLLOWED, known: Known = KNOWN, low: int = -1
) -> list[str]:
    readings = np.full(NIGHTS, 4.0)
    if low >= 0:
        readings[low] = 3.4
    season = by_hand.season(NIGHTS, log, readings=readings)
    posterior = whole_posterior(season, known, 200, 0.0)
    return [reason.code for reason in overtaken(Athlete(season, posterior, plans=plans))]


def test_a_plan_that_is_followed_holds() -> None:
    assert codes(COMING) == []
    assert codes() == []


def test_a_missed_session_leaves_the_rest_as_it_is() -> None:
    assert codes(COMING, log=DONE) == []


@pytest.mark.parametrize(
    "extra",
    [(28, "hill run"), (26, "row"), (30, "easy paddle"), (27, "row")],
    ids=["done", "moved", "logged ahead", "twice"],
)
def test_a_session_beside_the_plan_overtakes_it(extra: tuple[int, str]) -> None:
    known = KNOWN._replace(types={**KNOWN.types, "easy paddle": (0.01, 1.0)})
    assert codes(COMING, log=sorted([*FOLLOWED, extra]), known=known)[0] == "done beside the plan"


def test_what_was_done_before_the_plan_or_known_to_it_does_not() -> None:
    assert codes(COMING, log=sorted([*FOLLOWED, (25, "row")])) == []
    knew = COMING.model_copy(update=plan((27, "row", 0.9), logged=[(28, "row")]).__dict__)
    knew = knew.model_copy(update={"sessions": COMING.sessions})
    assert codes(knew, log=[*FOLLOWED, (28, "row")]) == []


def test_a_reading_far_from_what_was_foretold_overtakes_it() -> None:
    """0.6 off, where a night's noise is 0.1."""
    assert codes(COMING, low=28) == ["reading far from foretold"]
    assert codes(COMING, low=25) == []  # known when it was made


def test_a_session_that_begins_too_early_by_now_overtakes_it() -> None:
    """0.5 is asked for. Of the dip left, 0.3, a quarter is there on day 31: above 0.05."""
    slow = KNOWN._replace(dips_left={"hill run": 0.3})
    found = overtaken(
        Athlete(
            season := by_hand.season(NIGHTS, FOLLOWED),
            whole_posterior(season, slow, 200, 0.0),
            plans=[COMING],
        )
    )
    (first,) = found
    assert first.code == "begins too early now"
    assert first.facts["date"] == date(31)
    assert (first.facts["chance"], first.facts["asked"]) == (0.0, 0.5)


def test_sessions_that_the_plan_places_too_near_each_other_are_seen_as_well() -> None:
    near = plan((27, "row", 0.9), (31, "hill run", 0.9), (32, "row", 0.9), start=26)
    assert codes(near) == ["begins too early now"]


def test_sessions_and_readings_since_the_fit_are_taken_in() -> None:
    """One reading more, of the row that was planned; then one far below."""
    fitted = by_hand.season(NIGHTS, FOLLOWED)
    coming = plan((29, "row", 0.9), (33, "hill run", 0.9), start=28)
    spread = np.linspace(0.08, 0.12, 400)
    posterior = whole_posterior(fitted, KNOWN._replace(noise_sd=spread), 200, 0.0)
    for reading, found in ((3.93, []), (3.3, ["reading far from foretold"])):
        readings = [*np.full(NIGHTS, 4.0), reading]
        season = by_hand.season(sessions=[*FOLLOWED, (29, "row")], readings=readings)
        reasons = overtaken(Athlete(season, posterior, plans=[coming]))
        assert [reason.code for reason in reasons] == found


def test_only_what_is_to_come_is_looked_at() -> None:
    over = plan((20, "row", 0.9), (27, "row", 0.9), start=19)
    assert codes(over, log=[*FOLLOWED, (22, "hill run")]) == []
