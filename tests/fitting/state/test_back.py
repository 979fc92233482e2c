"""The chance to be back on each morning, and the first morning on which it is enough."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting import baseline, plan_spacing
from slackwater.fitting.state.back import chances_back, first_back
from slackwater.fitting.state.standing import Event
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.spacing.test_plan import LOGGED, NIGHTS, athlete

# In draws that halve their dip of 0.1 to 0.4 each day, the threshold is 0.05: a quarter is back
# on each of the next mornings, 1 to 3, once the dips have halved as often.
LEFT = np.repeat(0.0499 * 2.0 ** np.arange(4), 150)
WAITING = Known(
    {"hill run": (0.17, 1.0), "row": (0.07, 1.0)},
    dips_left={"hill run": LEFT},
    noise_sd=0.1,
    session_sd=1e-12,
)


def test_chances_are_counted_over_the_draws() -> None:
    here = athlete(WAITING)
    assert chances_back(here.now, 4) == pytest.approx([0.25, 0.5, 0.75, 1, 1])
    assert chances_back(here.now, 4)[0] == baseline(here).chance_at_baseline


def test_what_is_logged_and_planned_is_felt() -> None:
    here = athlete(WAITING, (NIGHTS - 1, "hill run"))
    # 0.17 is felt on the next morning: none is back until it has halved twice.
    assert chances_back(here.now, 2)[1:] == pytest.approx([0, 0])
    later = chances_back(athlete(WAITING).now, 4, [Event(2, "row")])
    assert later[:3] == pytest.approx([0.25, 0.5, 0])


@pytest.mark.parametrize(
    ("asked", "options", "morning"),
    [
        (0.25, {}, 0),
        (0.5, {}, 1),
        (0.51, {}, 2),
        (1.0, {}, 4),
        (0.5, {"earliest": 3}, 4),
        (0.25, {"closed": {0, 1}}, 2),
        (0.9, {"earliest": 5}, None),
    ],
)
def test_the_first_morning_with_the_chance(
    asked: float, options: dict[str, object], morning: int | None
) -> None:
    assert first_back([0.25, 0.5, 0.75, 0.4, 1.0], asked, **options) == morning  # type: ignore[arg-type]


def test_a_plan_promises_the_same_chance_to_the_last_digit() -> None:
    """Over all draws of either, however many there are."""
    spread = np.linspace(0.3, 3.0, 5000)
    known = WAITING._replace(dips_left={"hill run": 0.08 * spread, "row": 0.03})
    here = by_hand.athlete_of(by_hand.season(NIGHTS, LOGGED), known, 2500)
    calendar = plan_spacing(here, {"row": 1}).calendar
    first = next(i for i, day in enumerate(calendar) if day.session)
    mornings = [day.chance_recovered for day in calendar[: first + 1]]
    assert mornings == list(chances_back(here.now, first))
    assert first == first_back(chances_back(here.now, 6), 0.8)
