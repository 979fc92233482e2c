"""The watch for what the log does not explain."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from slackwater.model.priors import Belief, Priors
from slackwater.model.season import Season
from slackwater.model.unexplained import (
    WALK_SD,
    Stretch,
    Watched,
    steps_of,
    stretches_in,
    watch,
)

Floats = NDArray[np.float64]

SD = 0.12
DRIFT = 0.008


def watched(levels: Floats, lingering: float = 0.25, persistence: float = 0.5) -> Watched:
    return Watched(levels, (1 - lingering) * SD**2, lingering * SD**2, persistence)


def ordinary(
    nights: int,
    rng: np.random.Generator,
    lingering: float = 0.25,
    tail: float = 0.0,
    drift: float = DRIFT,
) -> Floats:
    """Readings as the watch believes them, by loops of their own."""
    level, passing = 4.2, np.sqrt(lingering) * SD * rng.standard_normal()
    out = np.empty(nights)
    for night in range(nights):
        level += drift * rng.standard_normal()
        passing = 0.5 * passing + np.sqrt(0.75 * lingering) * SD * rng.standard_normal()
        noise = np.sqrt(1 - lingering) * SD * np.exp(tail * rng.standard_normal() / 2)
        out[night] = level + passing + noise * rng.standard_normal()
    return out


def found(levels: Floats) -> list[tuple[int, int | None]]:
    return watch(watched(levels), np.zeros(len(levels)), Priors()).stretches


@pytest.mark.parametrize(("tail", "drift"), [(0.0, DRIFT), (1.0, DRIFT), (0.0, 2 * DRIFT)])
def test_false_alarms_are_rare(tail: float, drift: float) -> None:
    """15 times two years: at most one in each on average, give or take two Poisson's deviations.

    Also of who has heavy tails, or drifts twice as fast as is usual.
    """
    rng = np.random.default_rng(sum(map(ord, "rarely")))
    seasons = 15
    alarms = sum(len(found(ordinary(730, rng, tail=tail, drift=drift))) for _ in range(seasons))
    assert alarms <= seasons + 2 * np.sqrt(seasons)


@pytest.mark.parametrize(("drop", "within", "often"), [(0.25, 7, 0.7), (0.4, 4, 0.85)])
def test_a_drop_is_found_within_nights(drop: float, within: int, often: float) -> None:
    rng = np.random.default_rng(sum(map(ord, "drop")))
    seen = 0
    for _ in range(40):
        levels = ordinary(90 + within, rng)
        levels[90:] += np.log(1 - drop)
        seen += bool(found(levels)) and found(levels)[-1][1] is None
    assert seen >= often * 40


def test_its_first_night_and_its_last_are_told() -> None:
    rng = np.random.default_rng(5)
    levels = ordinary(140, rng)
    levels[80:100] += np.log(0.6)
    [(first, last)] = found(levels)
    assert abs(first - 80) <= 1
    assert last is not None
    assert abs(last - 99) <= 2


def test_one_terrible_night_is_none() -> None:
    levels = np.full(60, 4.2)
    levels[40] -= 2.0
    assert found(levels) == []
    levels[40:43] -= 0.5
    assert found(levels)


def test_nights_without_a_reading_are_passed_over() -> None:
    levels = np.full(60, 4.2)
    levels[30:] -= 0.5
    levels[[31, 33, 34]] = np.nan
    [(first, last)] = found(levels)
    assert (first, last) == (30, None)
    levels[:] = np.nan
    assert found(levels) == []


def test_what_was_announced_is_no_surprise() -> None:
    levels = np.full(60, 4.2)
    levels[30:] -= 0.5
    announced = np.zeros(60)
    announced[30] = Priors().new_level.sd ** 2
    assert watch(watched(levels), announced, Priors()).stretches == []


@pytest.mark.parametrize("night", [0, 1, 79, 82, 99, 105, 140])
def test_a_watch_goes_on_where_it_ended(night: int) -> None:
    """Before, within and after a drop, in the same numbers as the watch of all nights at once."""
    levels = ordinary(140, np.random.default_rng(5))
    levels[80:100] += np.log(0.6)
    levels[[30, 81, 104]] = np.nan
    new_level = np.zeros(140)
    new_level[120] = Priors().new_level.sd ** 2
    whole = watch(watched(levels), new_level, Priors())
    begun = watch(watched(levels[:night]), new_level[:night], Priors())
    again = watch(watched(levels), new_level, Priors(), begun)
    assert len(whole.stretches) == 1
    assert again.stretches == whole.stretches
    np.testing.assert_array_equal(again.believed.state.mean, whole.believed.state.mean)
    np.testing.assert_array_equal(again.rivals.filters.log_weight, whole.rivals.filters.log_weight)


def season(levels: pd.DataFrame | None = None) -> Season:
    nights = pd.date_range("2031-03-01", periods=10)
    readings = pd.DataFrame({"date": nights, "rmssd_ms": 60.0})
    return Season.from_tables("spring", readings, levels=levels)


def day(number: int) -> np.datetime64:
    return np.datetime64("2031-03-01") + np.timedelta64(number, "D")


def test_steps_by_hand() -> None:
    priors = Priors(new_level=Belief(0.0, 0.2), unexplained=Belief(0.0, 0.4))
    spring = season(pd.DataFrame({"date": pd.to_datetime(["2031-02-01", "2031-03-03"])}))
    steps = steps_of(spring, priors, [Stretch(day(4), day(6)), Stretch(day(8), None)])
    np.testing.assert_allclose(steps.new_level, [0, 0, 0.04, 0, 0, 0, 0, 0, 0, 0])
    np.testing.assert_array_equal(steps.carried, [0, 0, 0, 0, 0, 1, 1, 0, 0, 1])
    walk = WALK_SD**2
    np.testing.assert_allclose(steps.jump, [0, 0, 0, 0, 0.16, walk, walk, 0, 0.16, walk])
    assert steps.unexplained
    assert not steps_of(season(), priors, ()).unexplained


def test_stretches_are_told_by_date() -> None:
    levels = np.array([4.2] * 5 + [3.2] * 5)
    assert stretches_in(season(), watched(levels), Priors()) == (Stretch(day(5), None),)
