"""What the log does not explain, as answers meet it: said, weighed, and let go again."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from slackwater.fitting import Athlete, baseline, fit, forecast, plan_spacing
from slackwater.fitting.answers.course import course
from slackwater.fitting.answers.intervals import BOUND
from slackwater.fitting.state.standing import Standing
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.season import DAY, Season
from slackwater.model.unexplained import Stretch
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import FIRST, Known
from tests.fitting.answers.whole_by_hand import whole_posterior

NIGHTS = 30
KNOWN = Known({"row": (0.2, 1.0)}, level_variance=0.02**2, noise_sd=np.linspace(0.08, 0.12, 1000))
SESSIONS = [(3, "row"), (9, "row")]
DROP = np.log(0.7)


def athlete(mornings: list[float], levels: pd.DataFrame | None = None) -> Athlete:
    """Return one fitted by hand to 30 nights at ln 4.0, with more mornings since."""
    fitted = by_hand.season(NIGHTS, SESSIONS)
    tables = by_hand.season(sessions=SESSIONS, readings=[4.0] * NIGHTS + mornings).tables()
    if levels is not None:
        tables["levels"] = levels
    now = Season.from_tables("spring", **tables)
    return Athlete(now, by_hand.posterior(fitted, KNOWN))


def dropped(count: int = 6) -> Athlete:
    return athlete([4.0 + DROP] * count)


def test_a_drop_is_dated_and_sized() -> None:
    now = dropped().now
    assert now.unexplained is not None
    assert now.unexplained.since == FIRST + NIGHTS * DAY
    assert now.unexplained.nights == 6
    assert np.median(now.unexplained.draws) == pytest.approx(DROP, abs=0.06)
    # Baseline is not drawn down with it, by more than its own drift.
    assert np.median(now.baseline) == pytest.approx(4.0, abs=0.06)


def test_it_weighs_as_a_dip_and_is_said_with_every_answer() -> None:
    dip = dropped()
    answer = baseline(dip)
    assert answer.chance_at_baseline < 0.01
    assert answer.dip_left_ln.median == pytest.approx(-DROP, abs=0.06)
    assert answer.unexplained is not None
    assert answer.unexplained.percent.median == pytest.approx(-30, abs=4)
    assert answer.about.warnings[0] == Reason(
        "unexplained",
        since=str(FIRST + NIGHTS * DAY),
        percent=answer.unexplained.percent.median,
        nights=6,
    )
    coming = forecast(dip, nights=30)
    assert coming.unexplained == answer.unexplained
    chances = coming.nights["chance_at_baseline"].values
    assert chances[0] < 0.01
    assert np.all(np.diff(chances) >= 0)  # it passes, nobody knows how soon
    assert 0.3 < chances[-1] < 0.99


def test_looking_back_it_was_as_it_is_since_it_began() -> None:
    now = dropped().now
    assert now.unexplained is not None
    nights = now.night - DAY * np.arange(10)[::-1]
    before = now.dips_before(nights)[:, :, now.groups.index(n.UNEXPLAINED)]
    np.testing.assert_array_equal(before[:, :4], 0.0)
    np.testing.assert_array_equal(before[:, 4:], np.tile(-now.unexplained.draws, (6, 1)).T)


def test_the_course_of_the_state_goes_down_with_it() -> None:
    fitted = by_hand.season(NIGHTS, SESSIONS)
    now = by_hand.season(sessions=SESSIONS, readings=[4.0] * NIGHTS + [4.0 + DROP] * 6)
    made = Athlete(now, whole_posterior(fitted, KNOWN, draws=500))
    nights = course(made).nights.sel({BOUND: "median"})
    assert nights["state_ms"][-1] == pytest.approx(np.exp(4.0 + DROP), rel=0.07)
    assert nights["baseline_ms"][-1] == pytest.approx(np.exp(4.0), rel=0.07)


def test_no_plan_is_made_while_it_lasts() -> None:
    with pytest.raises(NoAnswerError) as caught:
        plan_spacing(dropped(), {"row": 1})
    assert [reason.code for reason in caught.value.reasons] == [
        "unexplained",
        "no plan while unexplained",
    ]
    assert plan_spacing(athlete([4.0] * 6), {"row": 1}).fits


def test_when_it_has_passed_nothing_is_left_of_it() -> None:
    over = athlete([4.0 + DROP] * 6 + [4.0] * 5).now
    assert over.unexplained is None
    [stretch] = over.stretches
    assert stretch == Stretch(FIRST + NIGHTS * DAY, FIRST + (NIGHTS + 5) * DAY)
    assert n.UNEXPLAINED not in over.groups
    assert np.median(over.baseline) == pytest.approx(4.0, abs=0.06)


def test_an_accepted_level_is_baseline_at_once() -> None:
    accepted = pd.DataFrame({"date": np.array([FIRST + NIGHTS * DAY])})
    now = athlete([4.0 + DROP] * 6, accepted).now
    assert now.unexplained is None
    assert np.median(now.baseline) == pytest.approx(4.0 + DROP, abs=0.06)


def test_a_rise_is_baselines_own() -> None:
    higher = athlete([4.0 - DROP / 2] * 6)
    assert higher.now.unexplained is None
    assert plan_spacing(higher, {"row": 1}).unexplained is None


def test_two_low_mornings_are_no_stretch() -> None:
    assert dropped(2).now.unexplained is None


def ends_low(nights: int) -> Season:
    """Return a season of 100 nights, the last of them 30 % lower, nothing logged for it."""
    rng = np.random.default_rng(3)
    readings = 4.1 + 0.1 * rng.standard_normal(100)
    readings[100 - nights :] += DROP
    sessions = [(day, "row") for day in range(5, 100 - nights, 4)]
    return by_hand.season(sessions=sessions, readings=readings)


@pytest.mark.slow
def test_a_fit_finds_it_and_does_not_follow() -> None:
    season = ends_low(21)
    posterior = fit(season, seed=1, draws=500)
    [stretch] = posterior.stretches
    assert stretch.last is None
    assert abs(int((stretch.first - (FIRST + 79 * DAY)) / DAY)) <= 1
    now: Standing = Athlete(season, posterior).now
    assert np.median(now.baseline) == pytest.approx(4.1, abs=0.08)
    # Following it in one step takes a drift of 0.1 a night; what it learns is the prior's.
    assert float(posterior.draws[n.DRIFT_SD].median()) < 0.02
