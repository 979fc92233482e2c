"""Smoothed importance weights against ArviZ's, which an answer does without."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from arviz_stats.base import array_stats
from numpy.typing import NDArray
from scipy import stats

from slackwater.fitting.state.smoothing import fit_generalised_pareto, smooth_weights

Floats = NDArray[np.float64]
Draw = Callable[[np.random.Generator, int], Floats]

LAWS: dict[str, Draw] = {
    "nearly even": lambda rng, size: 0.05 * rng.standard_normal(size),
    "log-normal": lambda rng, size: rng.standard_normal(size),
    "wide log-normal": lambda rng, size: 3 * rng.standard_normal(size),
    "bounded": lambda rng, size: np.log(rng.uniform(0.5, 1.0, size)),
    "Pareto with k 0.5": lambda rng, size: 0.5 * rng.exponential(size=size),
    "Pareto with k 0.9": lambda rng, size: 0.9 * rng.exponential(size=size),
    "one draw far above": lambda rng, size: np.r_[50.0, rng.standard_normal(size - 1)],
    "far below": lambda rng, size: -900.0 + rng.standard_normal(size),
}


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS.keys())
@pytest.mark.parametrize("size", [30, 100, 225, 226, 1000, 4000])
def test_weights_and_k_equal_arviz(law: Draw, size: int) -> None:
    raw = law(np.random.default_rng(size), size)
    # ArviZ takes minus the log weights, as leave-one-out hands it minus a log density there.
    expected, expected_k = array_stats.psislw(-raw)
    found, k = smooth_weights(raw)
    np.testing.assert_allclose(found, expected, rtol=1e-12, atol=1e-12)
    assert k == pytest.approx(float(expected_k), rel=1e-12)
    assert np.exp(found).sum() == pytest.approx(1.0)


def test_the_input_is_left_as_it_is() -> None:
    raw = np.random.default_rng(2).standard_normal(500)
    before = raw.copy()
    smooth_weights(raw)
    np.testing.assert_array_equal(raw, before)


@pytest.mark.parametrize("shape", [-0.3, 0.2, 0.7])
def test_the_fit_finds_a_generalised_pareto_again(shape: float) -> None:
    # SciPy's c is the shape k here. Zhang & Stephens' estimate has an SD of about 0.02 at this
    # size; the pull towards 0.5 is 10 in 5,000.
    excess = np.sort(stats.genpareto(shape, scale=2.0).rvs(5000, random_state=4))
    k, sigma = fit_generalised_pareto(excess)
    assert k == pytest.approx(shape, abs=0.1)
    assert sigma == pytest.approx(2.0, rel=0.1)


def test_even_weights_stay_as_they_are() -> None:
    found, k = smooth_weights(np.full(400, -3.0))
    np.testing.assert_allclose(np.exp(found), 1 / 400)
    assert k == 0.0


def test_weights_that_are_even_but_for_rounding_are_even() -> None:
    rounding = 1e-14 * np.random.default_rng(3).standard_normal(400)
    found, k = smooth_weights(2.75 + rounding)
    np.testing.assert_allclose(np.exp(found), 1 / 400)
    assert k == 0.0


def test_too_few_draws_are_never_trusted() -> None:
    assert smooth_weights(np.random.default_rng(1).standard_normal(24))[1] == np.inf


def test_weights_that_all_but_vanish_are_not_taken_for_even_ones() -> None:
    # All but the largest few underflow to 0 beside it, so that the tail has no width to fit.
    assert smooth_weights(-1e3 * np.arange(4000.0))[1] == np.inf
    assert smooth_weights(np.r_[0.0, np.full(3999, -2000.0)])[1] == np.inf
