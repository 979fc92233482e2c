"""Baseline, what is left of the dip, and the plateau of rest, on states made by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy import stats

from slackwater.fitting import Athlete, baseline
from slackwater.fitting.answers.baseline import (
    LIKELY,
    LIKELY_NOT,
    POSSIBLY,
    flat_nights,
    plateau,
)
from slackwater.fitting.answers.intervals import Interval
from slackwater.fitting.state.ahead import FARTHEST
from slackwater.model.errors import Reason
from slackwater.model.season import DAY
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known

NIGHTS = 30
LAST_DAY = NIGHTS - 1


def rowed(
    *days: int, left: Any = 0.0, half_life: float = 1.0, draws: int = 500, **others: Any
) -> Athlete:
    """A rower with a threshold of 0.05 ln and one group that dips."""
    known = Known({"row": (0.2, half_life)}, dips_left={"row": left}, session_sd=1e-12)
    logged = {key: others.pop(key) for key in ("interventions", "stressors") if key in others}
    season = by_hand.season(NIGHTS, [(day, "row") for day in days], **logged)
    return by_hand.athlete_of(season, known._replace(**others), draws)


def middle(found: Interval) -> float:
    low, median, high = found
    assert low == pytest.approx(median) == pytest.approx(high)  # every draw says the same
    return median


def test_further_rest_of_one_exponential_dip() -> None:
    # 0.20 halves to 0.05 in two half-lives (arithmetic: t = ln(A / delta) / k).
    for half_life in (0.7, 1.0, 3.3):
        answer = baseline(rowed(3, left=0.20, half_life=half_life))
        assert middle(answer.further_rest_days) == pytest.approx(2 * half_life)
        assert middle(answer.dip_left_ln) == pytest.approx(0.20)
        assert answer.chance_at_baseline == 0.0


def test_no_more_rest_is_needed_under_the_threshold() -> None:
    answer = baseline(rowed(3, left=0.04))
    assert middle(answer.further_rest_days) == 0.0
    assert answer.chance_at_baseline == 1.0


@pytest.mark.parametrize(
    ("back", "level", "said"),
    [
        (800, 0.8, LIKELY),
        (799, 0.8, POSSIBLY),
        (799, 0.5, LIKELY),
        (210, 0.8, POSSIBLY),
        (190, 0.8, LIKELY_NOT),
        (190, 0.95, POSSIBLY),
    ],
)
def test_the_chance_is_likely_possible_or_not_at_the_level(
    back: int, level: float, said: str
) -> None:
    left = np.where(np.arange(1000) < back, 0.02, 0.2)
    assert baseline(rowed(3, left=left), level).at_baseline == said


def test_chance_and_rest_are_taken_draw_by_draw() -> None:
    left = np.repeat([0.02, 0.10, 0.20, 0.40], 250)
    answer = baseline(rowed(3, left=left), level=0.5)
    assert answer.chance_at_baseline == 0.25
    expected = np.quantile(np.repeat([0.0, 1.0, 2.0, 3.0], 250), [0.25, 0.5, 0.75])
    assert tuple(answer.further_rest_days) == pytest.approx(expected)


def test_a_session_of_the_last_day_is_still_to_be_felt() -> None:
    # 0.4 left halves overnight, then 0.2 come on top; 0.4 reach 0.05 in three half-lives more.
    answer = baseline(rowed(LAST_DAY, left=0.4))
    assert middle(answer.further_rest_days) == pytest.approx(1 + 3)
    assert middle(answer.dip_left_ln) == pytest.approx(0.4)


def test_a_session_too_small_to_matter_holds_back_until_it_is_felt() -> None:
    known = Known({"row": (0.01, 1.0)}, session_sd=1e-12)
    answer = baseline(by_hand.athlete_of(by_hand.season(NIGHTS, [(LAST_DAY, "row")]), known))
    assert middle(answer.further_rest_days) == 1.0


def test_a_dip_that_passes_overnight_still_waits_for_the_last_session_to_be_felt() -> None:
    # 0.08 is under 0.05 before the next morning, and 0.04 + 0.005 still is on it.
    known = Known({"row": (0.005, 1.0)}, dips_left={"row": 0.08}, session_sd=1e-12)
    season = by_hand.season(NIGHTS, [(3, "row"), (LAST_DAY, "row")])
    answer = baseline(by_hand.athlete_of(season, known))
    assert middle(answer.further_rest_days) == 1.0


def test_a_stressor_of_the_last_day_is_still_to_be_felt() -> None:
    known = Known({"row": (0.2, 1.0)}, {"cold": (0.2, 1.0)}, session_sd=1e-12)
    season = by_hand.season(NIGHTS, [(3, "row")], stressors=[(LAST_DAY, "cold")])
    answer = baseline(by_hand.athlete_of(season, known))
    assert middle(answer.further_rest_days) == pytest.approx(3.0)


def test_a_measure_logged_for_the_coming_nights_speeds_rest_up() -> None:
    # Twice the rate on the first two nights: 0.8 falls to 0.2 and 0.05, which is the threshold
    # of 0.05, so a little under two days; on the first night alone it takes 1 + 2 days.
    both = [(LAST_DAY, "bath"), (LAST_DAY + 1, "bath")]
    for applied, days in ((both, 2.0), (both[:1], 3.0), ([], 4.0)):
        athlete = rowed(3, left=0.8, interventions=applied, rate_ratios={"bath": 2.0})
        assert middle(baseline(athlete).further_rest_days) == pytest.approx(days)


def test_rest_looks_ahead_only_so_far() -> None:
    assert middle(baseline(rowed(3, left=0.4, half_life=500.0)).further_rest_days) == FARTHEST


def test_two_dips_together_against_a_root_finder() -> None:
    # Between mornings the dip is taken for one exponential, which two are not; the error is
    # under 0.02 days here.
    types = {"row": (0.2, 0.8), "lift": (0.2, 3.0)}
    season = by_hand.season(NIGHTS, [(3, "row"), (9, "lift")])
    athlete = by_hand.athlete_of(season, Known(types, dips_left={"row": 0.15, "lift": 0.12}))
    days = np.linspace(0, 10, 100_001)
    dip = 0.15 * 0.5 ** (days / 0.8) + 0.12 * 0.5 ** (days / 3.0)
    exact = days[np.argmax(dip <= 0.05)]
    assert middle(baseline(athlete).further_rest_days) == pytest.approx(exact, abs=0.02)


def test_baseline_is_the_level_in_milliseconds_with_what_the_filter_leaves_open() -> None:
    answer = baseline(rowed(3, level=np.log(64.0)))
    assert middle(answer.baseline_rmssd_ms) == pytest.approx(64.0)
    assert middle(answer.night_to_night_sd_ln) == pytest.approx(0.1)
    draws = 10_000
    open_still = baseline(rowed(3, level=4.0, level_variance=0.03**2, draws=draws))
    size = by_hand.CHAINS * draws
    for bound, share in (("low", 0.1), ("median", 0.5), ("high", 0.9)):
        found = np.log(getattr(open_still.baseline_rmssd_ms, bound))
        # Within 5 Monte Carlo errors of the share (two-sided 6e-7).
        error = 5 * np.sqrt(share * (1 - share) / size)
        assert stats.norm(4.0, 0.03).cdf(found) == pytest.approx(share, abs=error)


@pytest.mark.parametrize(
    ("left", "flat"),
    # The threshold is 0.05 and the dip was twice as large each night before.
    [(0.06, 0), (0.04, 1), (0.02, 2), (0.012, 3), (0.006, 4)],
)
def test_flat_nights_are_those_on_which_the_dip_lay_under_the_threshold(
    left: float, flat: int
) -> None:
    answer = baseline(rowed(3, left=left))
    assert answer.plateau.flat_nights == flat
    assert answer.plateau.reached == (flat >= 3)


def test_a_plateau_is_one_condition_about_the_night_two_nights_ago() -> None:
    left = np.exp(np.random.default_rng(5).normal(np.log(0.008), 1.0, 1000))
    for factor in (0.5, 1.0, 1.5, 3.0):
        now = rowed(3, left=factor * left).now
        under = now.dips_before(now.night - DAY * np.arange(3)[::-1]).sum(axis=2) <= 0.05
        chances = under.mean(axis=0)
        assert (np.diff(chances) >= 0).all()  # a night that is flat makes those after it flat
        assert plateau(now).reached == (chances[0] >= 0.8)


@pytest.mark.parametrize(("share", "flat"), [(0.82, 2), (0.78, 0)])
def test_a_flat_night_needs_a_chance_of_80_percent(share: float, flat: int) -> None:
    under = np.arange(1000) < 1000 * share
    assert flat_nights(rowed(3, left=np.where(under, 0.02, 0.06)).now) == flat


def test_a_measure_makes_the_dip_larger_the_nights_before() -> None:
    # At twice the rate 0.012 was 0.048 the night before, and 0.096 two nights before.
    used = [(LAST_DAY - 1, "bath")]
    athlete = rowed(3, left=0.012, interventions=used, rate_ratios={"bath": 2.0})
    assert flat_nights(athlete.now) == 2


@pytest.mark.parametrize("kind", ["session", "stressor"])
@pytest.mark.parametrize("rest", [0, 1, 2, 3, 4])
def test_nights_before_the_last_session_or_stressor_do_not_count(kind: str, rest: int) -> None:
    day = LAST_DAY - 1 - rest  # first felt on the night before `rest` more
    if kind == "session":
        athlete = rowed(day, left=1e-9)
    else:
        known = Known({"row": (0.2, 1.0)}, {"cold": (0.1, 1.0)}, dips_left={"row": 1e-9})
        season = by_hand.season(NIGHTS, [(3, "row")], stressors=[(day, "cold")])
        athlete = by_hand.athlete_of(season, known)
    assert flat_nights(athlete.now) == rest


def test_a_session_of_the_last_day_does_not_end_the_plateau_yet() -> None:
    assert flat_nights(rowed(3, LAST_DAY, left=1e-9).now) == LAST_DAY - 4


def test_complete_rest_from_the_first_night_can_be_a_plateau() -> None:
    athlete = by_hand.athlete_of(by_hand.season(14), Known())
    answer = baseline(athlete)
    assert answer.plateau.flat_nights == 14
    assert answer.plateau.reached
    assert answer.plateau.rule == Reason("plateau rule", chance=0.8, nights=3)


def test_flat_nights_of_the_start_dip() -> None:
    known = Known(dips_left={"unlogged start": 0.02}, start_half_life=1.0)
    assert flat_nights(by_hand.athlete_of(by_hand.season(14), known).now) == 2
