"""The looks at residuals: which readings they take, and scores that are standard normal."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from slackwater.fitting.describing import looks
from slackwater.fitting.describing.ahead import OneStepErrors
from tests.fitting.answers import by_hand

SEASONS, NIGHTS = 3000, 100


def of_many_seasons(tail: float = 0.0, seed: int = 5) -> OneStepErrors:
    """Return errors of seasons as modelled, each in the place of a draw."""
    rng = np.random.default_rng(seed)
    shape = (SEASONS, NIGHTS)
    scale = np.exp(tail * rng.standard_normal(shape) / 2)
    return OneStepErrors(np.arange(1, NIGHTS + 1), rng.standard_normal(shape), 0.1 * scale, scale)


def certain(error: np.ndarray, sd: float = 0.1) -> OneStepErrors:
    """Return errors that all draws agree on."""
    both = np.tile(error, (4, 1))
    return OneStepErrors(
        np.arange(1, len(error) + 1), both, np.full(both.shape, sd), np.ones(both.shape)
    )


REPLICATES = np.random.default_rng(6).standard_normal((looks.REPLICATES, NIGHTS))


def test_weekdays_are_those_of_the_calendar() -> None:
    dates = np.arange("2031-03-01", "2031-05-01", dtype="datetime64[D]")
    found = looks.by_weekday(dates)
    names = pd.DatetimeIndex(dates).day_name()
    for name in ("Monday", "Wednesday", "Sunday"):
        assert found[name].tolist() == (names == name).tolist()
    assert found["weekend"].tolist() == names.isin(["Saturday", "Sunday"]).tolist()


def test_nights_are_counted_from_the_first_that_can_show_a_session() -> None:
    season = by_hand.season(12, [(2, "row"), (2, "hill"), (6, "row")])
    nights = np.array([1, 2, 3, 4, 6, 7, 11])
    since, of = looks.nights_since(season, nights)
    assert since.tolist() == [0, 0, 1, 2, 4, 1, 5]
    assert of == [set(), set(), *[{"row", "hill"}] * 3, {"row"}, {"row"}]
    assert looks.by_nights_since(since)[5].tolist() == [*[False] * 6, True]
    by_type = looks.by_type(since, of, ["hill", "row"])
    assert by_type["hill", (3, 5)].tolist() == [False, False, False, False, True, False, False]
    assert by_type["row", (1, 1)].tolist() == [False, False, True, False, False, True, False]


def test_a_mean_is_weighted_and_tested_as_in_a_textbook() -> None:
    rng = np.random.default_rng(9)
    sd = rng.uniform(0.05, 0.2, 30)
    off = -0.1 + sd * rng.standard_normal(30)
    errors = OneStepErrors(np.arange(30), (off / sd)[None], sd[None], np.ones((1, 30)))
    found = looks.means(errors, {"all": np.ones(30, bool), "few": np.arange(30) < 4})
    assert list(found) == ["all"]
    mean = np.average(off, weights=sd**-2)
    assert found["all"].readings == 30
    assert found["all"].score.sd == pytest.approx((sd**-2.0).sum() ** -0.5)
    assert found["all"].score.z * found["all"].score.sd == pytest.approx(mean)


def test_autocorrelation_leaves_gaps_out() -> None:
    error = np.random.default_rng(3).standard_normal(NIGHTS)
    errors = certain(error)._replace(nights=np.r_[1 : NIGHTS // 2 + 1, 60 : 60 + NIGHTS // 2])
    found = looks.lag_1(errors, REPLICATES)
    a, b = (np.r_[error[i : 49 + i], error[50 + i : 99 + i]] for i in (0, 1))
    expected = (a * b).sum() / np.sqrt((a**2).sum() * (b**2).sum())
    assert found.z * found.sd == pytest.approx(expected, abs=0.02)


def test_scatter_is_the_later_half_over_the_earlier() -> None:
    error = np.r_[np.tile([1.0, -1.0], 25), np.tile([2.0, -2.0], 25)]
    found = looks.scatter(certain(error), REPLICATES)
    assert np.exp(found.z * found.sd) == pytest.approx(2, rel=0.1)
    assert found.z > 3.5


def test_a_low_stretch_is_found_where_it_is() -> None:
    error = np.random.default_rng(7).standard_normal(NIGHTS)
    error[40:44] = [-3, -2.5, -2, -1.5]
    errors = certain(error)
    assert looks.lowest_stretch(errors) == 41
    assert looks.low_stretch(errors, REPLICATES).z > 3


def test_far_nights_are_counted_on_their_sides() -> None:
    error = np.random.default_rng(7).uniform(-1.5, 1.5, NIGHTS)
    error[[5, 50, 70]] = [-4, -5, 3]
    errors = certain(error)
    assert looks.far_nights(errors) == (2, 1)
    assert looks.furthest_night(errors) == 51
    assert looks.lopsided(errors).z < -1
    assert looks.furthest(errors, np.full(4, 0.01)).z > 3.5


@pytest.mark.parametrize("look", ["lag_1", "scatter", "low_stretch", "lopsided", "furthest"])
def test_looks_are_standard_normal_where_the_model_holds(
    look: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept: list[np.ndarray] = []

    def keep(normal: np.ndarray, unit: float = 1.0) -> None:
        kept.append(normal)

    monkeypatch.setattr(looks, "score", keep)
    errors = of_many_seasons(tail=0.6)
    if look == "furthest":
        looks.furthest(errors, np.full(SEASONS, 0.6))
    elif look == "lopsided":
        looks.lopsided(errors)
    else:
        getattr(looks, look)(errors, REPLICATES)
    (normal,) = kept
    beyond = np.abs(normal) > 3.0  # 0.27 % of a normal distribution
    assert beyond.mean() < 0.0027 + 4 * np.sqrt(0.0027 / SEASONS)
    assert normal.mean() == pytest.approx(0, abs=0.1)
    assert normal.std() == pytest.approx(1, abs=0.06)


def test_the_power_of_the_dose_is_found() -> None:
    """Depths as if each dose had been its square root: a slope of -0.5 in each session's z."""
    rng = np.random.default_rng(2)
    days = range(0, 160, 2)
    doses = dict(zip(days, rng.choice([0.5, 1.0, 2.0], len(days)).tolist(), strict=True))
    season = by_hand.season(162, [(day, "row") for day in days], doses=doses)
    log_dose = np.log(list(doses.values()))
    session_sd, blur = 0.25, 0.5  # how much of each session's own depth the readings tell
    true_z = rng.standard_normal(80) - 0.5 * log_dose / session_sd
    told = blur * (true_z + rng.standard_normal(80))
    told = told + np.sqrt(blur) * rng.standard_normal((4000, 80))
    found = looks.dose_power(season, told, np.full(4000, session_sd))
    assert found is not None
    assert found.z * found.sd == pytest.approx(-0.5, abs=3 * found.sd)
    assert found.z < -3
    alike = by_hand.season(162, [(day, "row") for day in days])
    assert looks.dose_power(alike, told, np.full(4000, session_sd)) is None
