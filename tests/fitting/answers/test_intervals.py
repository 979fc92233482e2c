"""Intervals: equal tails at the level asked for."""

from __future__ import annotations

import numpy as np
import pytest

from slackwater.fitting.answers.intervals import Interval, interval, interval_of, intervals
from slackwater.model.errors import QuestionError

DRAWS = np.arange(101.0)  # the q-th quantile is 100 q


@pytest.mark.parametrize(
    ("level", "low", "high"), [(0.8, 10.0, 90.0), (0.5, 25.0, 75.0), (0.9, 5.0, 95.0)]
)
def test_as_much_is_cut_off_below_as_above(level: float, low: float, high: float) -> None:
    found = interval(np.random.default_rng(3).permutation(DRAWS), level)
    assert found == pytest.approx((low, 50.0, high))
    assert (found.low, found.median, found.high) == found


def test_a_skewed_quantity_keeps_its_equal_tails() -> None:
    # An interval of highest density would start at 0 here.
    found = interval(np.exp(DRAWS), 0.8)
    assert np.log(found) == pytest.approx([10.0, 50.0, 90.0])


def test_further_dimensions_come_before_the_bounds() -> None:
    draws = np.stack([DRAWS, 2 * DRAWS, 3 * DRAWS], axis=1)
    found = intervals(draws, 0.8, ("type",))
    assert found.dims == ("type", "bound")
    assert list(found["bound"].values) == ["low", "median", "high"]
    np.testing.assert_allclose(found, np.outer([1, 2, 3], [10.0, 50.0, 90.0]))


def test_many_intervals_are_each_what_it_is_by_itself() -> None:
    draws = np.random.default_rng(5).gamma(2.0, 1.0, (500, 3))
    found = intervals(draws, 0.7, ("type",))
    for which in range(3):
        one = interval_of(found.isel(type=which))
        assert one == interval(draws[:, which], 0.7)
        assert isinstance(one, Interval)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.2, 80.0, float("nan")])
def test_a_level_that_is_no_share_is_refused(level: float) -> None:
    with pytest.raises(QuestionError, match=r"The level .+ is no share between 0 and 1; 0\.8 is"):
        interval(DRAWS, level)
    with pytest.raises(QuestionError, match="is no share"):
        intervals(DRAWS, level)
