"""One athlete: everything worked out once, and answered as far as the posterior reaches."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from slackwater.fitting import Athlete
from slackwater.fitting.sampling.posterior import FitChecks
from slackwater.fitting.state import athlete as module
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.season import DAY, Season
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_posterior
from tests.fitting.trials import by_hand as trials_by_hand

NIGHTS = 30
SESSIONS = [(3, "row"), (9, "row"), (15, "lift")]
LEVEL = np.linspace(3.9, 4.1, 400)
KNOWN = Known({"row": (0.2, 1.0), "lift": (0.1, 2.0)}, level=LEVEL)
WORKED_OUT = ("now", "as_fitted", "past", "past_as_fitted", "own_recovery")


def later(nights: int, **others: Any) -> Season:
    """Return the season with so many more nights read."""
    return by_hand.season(NIGHTS + nights, SESSIONS, **others)


def fitted_then(season: Season) -> Athlete:
    """Return the athlete of a season of which the first `NIGHTS` readings were fitted."""
    return Athlete(season, whole_posterior(by_hand.season(NIGHTS, SESSIONS), KNOWN))


def reasons(ask: Callable[[], object]) -> tuple[Reason | str, ...]:
    with pytest.raises(NoAnswerError) as caught:
        ask()
    return caught.value.reasons


@pytest.mark.parametrize("newer", [0, 2])
@pytest.mark.parametrize("name", WORKED_OUT)
def test_each_thing_is_worked_out_once(name: str, newer: int) -> None:
    athlete = fitted_then(later(newer))
    assert getattr(athlete, name) is getattr(athlete, name)


@pytest.mark.parametrize(("newer", "states"), [(0, 1), (2, 2)])
def test_all_of_them_together_take_no_more_states_than_there_are(
    newer: int, states: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    standing, asked = module._standing, []

    def counted(*given: Any) -> Any:
        asked.append(given)
        return standing(*given)

    monkeypatch.setattr(module, "_standing", counted)
    athlete = fitted_then(later(newer))
    assert asked == []  # nothing before it is asked for
    for name in WORKED_OUT:
        getattr(athlete, name)
    assert len(asked) == states


def test_without_newer_readings_both_mornings_are_one() -> None:
    athlete = fitted_then(later(0))
    assert athlete.newer_readings == 0
    assert athlete.as_fitted is athlete.now
    assert athlete.past_as_fitted is athlete.past


def test_newer_readings_are_counted_and_lie_between_the_two_mornings() -> None:
    readings = [4.0] * NIGHTS + [4.0, np.nan, 4.0]
    athlete = fitted_then(by_hand.season(sessions=SESSIONS, readings=readings))
    assert athlete.newer_readings == 2
    assert athlete.as_fitted.night == FIRST + DAY * (NIGHTS - 1)
    assert athlete.now.night == FIRST + DAY * (NIGHTS + 2)
    assert len(athlete.past_as_fitted.season.nights) == NIGHTS
    assert len(athlete.past.season.nights) == NIGHTS + 3


@pytest.mark.parametrize(
    ("new", "why"),
    [
        ({"sessions": [*SESSIONS, (NIGHTS, "swim")]}, Reason("new since the fit", labels=["swim"])),
        ({"interventions": [(NIGHTS, "bath")]}, Reason("new since the fit", labels=["bath"])),
    ],
)
def test_the_last_fitted_morning_answers_where_new_ones_cannot_be_taken_in(
    new: dict[str, Any], why: Reason
) -> None:
    athlete = fitted_then(by_hand.season(**{"nights": NIGHTS + 2, "sessions": SESSIONS, **new}))
    for ask in (lambda: athlete.now, lambda: athlete.past, lambda: athlete.own_recovery):
        assert reasons(ask) == (why,)
    assert athlete.as_fitted.night == FIRST + DAY * (NIGHTS - 1)
    assert athlete.past_as_fitted.season.last_night == athlete.as_fitted.night
    alone = fitted_then(later(0))
    np.testing.assert_array_equal(athlete.as_fitted.dips, alone.now.dips)
    np.testing.assert_array_equal(athlete.past_as_fitted.level, alone.past.level)


def test_readings_that_tell_another_story_leave_the_last_fitted_morning() -> None:
    level = np.linspace(3.7, 4.3, 400)
    posterior = whole_posterior(
        by_hand.season(NIGHTS, SESSIONS), KNOWN._replace(level=level, noise_sd=0.05)
    )
    readings = [4.0] * NIGHTS + [5.5] * 3
    athlete = Athlete(by_hand.season(sessions=SESSIONS, readings=readings), posterior)
    (why,) = reasons(lambda: athlete.now)
    assert isinstance(why, Reason)
    assert why.code == "another story since the fit"
    assert athlete.as_fitted.night == FIRST + DAY * (NIGHTS - 1)


@pytest.mark.parametrize("later_by", [-400, -NIGHTS, 400])
def test_another_seasons_posterior_is_refused_by_its_reason(later_by: int) -> None:
    fitted = by_hand.season(NIGHTS, SESSIONS)
    tables = fitted.tables()
    for table in tables.values():
        if "date" in table:
            table["date"] = table["date"] + later_by * DAY
    athlete = fitted_then(Season.from_tables("another", **tables))
    why = Reason("edited since the fit", last_night=str(fitted.last_night))
    for name in ("now", "past", "own_recovery"):
        assert reasons(lambda name=name: getattr(athlete, name)) == (why,)  # type: ignore[misc]


def test_the_last_fitted_morning_is_refused_too_where_the_past_was_edited() -> None:
    athlete = fitted_then(by_hand.season(NIGHTS + 2, SESSIONS[1:]))
    why = Reason("edited since the fit", last_night=str(FIRST + DAY * (NIGHTS - 1)))
    assert reasons(lambda: athlete.now) == (why,)
    assert reasons(lambda: athlete.as_fitted) == (why,)


def test_without_a_posterior_it_says_so() -> None:
    athlete = Athlete(later(0))
    assert not athlete.fitted
    for name in ("posterior", "now", "as_fitted", "past"):
        assert reasons(lambda name=name: getattr(athlete, name)) == (Reason("no posterior"),)  # type: ignore[misc]


def test_a_refusal_is_said_again_and_not_kept_as_an_answer() -> None:
    season = later(0)
    checks = FitChecks(0, 4000, 1.2, 2000.0, 2000.0)
    athlete = Athlete(season, by_hand.posterior(season, KNOWN, 200, checks))
    first = reasons(lambda: athlete.now)
    assert first == reasons(lambda: athlete.now)
    assert first[-1] == Reason("unusable fit")


def test_it_holds_what_it_was_given() -> None:
    season, posterior = later(0), whole_posterior(later(0), KNOWN)
    trial = trials_by_hand.trial()
    athlete = Athlete(season, posterior, trials=[trial])
    assert athlete.season is season
    assert athlete.posterior is posterior
    assert athlete.fitted
    assert list(athlete.trials) == [trial]
    assert list(athlete.plans) == []


def test_the_past_is_of_the_states_own_draws_and_its_events_add_up() -> None:
    athlete = fitted_then(later(2))
    past = athlete.past
    for night in (0, 5, NIGHTS - 1, NIGHTS + 1):
        np.testing.assert_allclose(past.shown_on(night).sum(axis=1), past.shown[:, night])
    np.testing.assert_array_equal(past.draws[n.NOISE_SD], athlete.now.parameter(n.NOISE_SD))
