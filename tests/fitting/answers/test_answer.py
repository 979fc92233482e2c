"""What every answer carries: what it is about, and what to mind with it."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting import Athlete
from slackwater.fitting.answers.answer import about, about_season, readings_left_out
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.model.errors import QuestionError, Reason
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

NIGHTS = 30
SESSIONS = [(3, "row"), (9, "row"), (15, "lift")]
KNOWN = Known({"row": (0.2, 1.0), "lift": (0.1, 2.0)}, level=np.linspace(3.9, 4.1, 1000))
OWN = Reason("trained a few times", type="lift", sessions=1)


def test_an_answer_from_a_state_is_about_its_morning_and_minds_what_it_minds() -> None:
    checks = FitChecks(3, 4000, 1.0, 2000.0, 2000.0)
    season = by_hand.season(NIGHTS, [*SESSIONS, (NIGHTS - 1, "swim")], name="summer")
    now = Athlete(season, by_hand.posterior(season, KNOWN, checks=checks)).now
    found = about(now, 0.9, [OWN])
    assert (found.season, found.last_night, found.level) == ("summer", season.last_night, 0.9)
    swim = Reason("left out of forecasts", label="swim")
    assert found.warnings == (*checks.complaints, swim, OWN)


def test_an_answer_from_the_log_alone_minds_its_own() -> None:
    season = by_hand.season(NIGHTS, SESSIONS)
    found = about_season(season, 0.5, [OWN])
    assert (found.season, found.last_night) == ("spring", season.last_night)
    assert found.warnings == (OWN,)
    assert about_season(season, 0.5).warnings == ()


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 80, float("nan")])
def test_a_level_that_is_no_credible_mass_is_refused(level: float) -> None:
    season = by_hand.season(NIGHTS, SESSIONS)
    now = by_hand.athlete_of(season, KNOWN).now
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        about(now, level)
    with pytest.raises(QuestionError, match="no share between 0 and 1"):
        about_season(season, level)


@pytest.mark.parametrize(
    ("newer", "minded"), [(0, []), (2, [Reason("readings left out", count=2)])]
)
def test_readings_since_the_fit_are_minded_where_they_are_left_out(
    newer: int, minded: list[Reason]
) -> None:
    posterior = by_hand.posterior(by_hand.season(NIGHTS, SESSIONS), KNOWN)
    assert readings_left_out(Athlete(by_hand.season(NIGHTS + newer, SESSIONS), posterior)) == minded
