"""The level's filter and its sampled paths against statsmodels and one big normal distribution."""

from __future__ import annotations

from typing import Final

import numpy as np
import pytest
from numpy.typing import NDArray

from slackwater.model.levels import (
    BASELINE,
    TRANSIENT,
    UNEXPLAINED,
    Motion,
    State,
    Steps,
    filter_levels,
    sample_levels,
    start_state,
)
from slackwater.model.likelihood import LikelihoodInputs
from tests.model.random_inputs import moving, random_inputs
from tests.oracles import dense, kalman

Floats = NDArray[np.float64]

DRAWS: Final = 20_000


def read_levels(inputs: LikelihoodInputs, draws: int) -> tuple[Floats, Floats]:
    """Readings without dips and shift, and their noise, the same for each draw, (S, N)."""
    levels = np.full((draws, len(inputs.speed)), np.nan)
    noise = np.full_like(levels, np.nan)
    seen = inputs.reading_nights
    levels[:, seen] = inputs.readings + dense.dip_by_night(inputs)[seen] - inputs.shift
    noise[:, seen] = inputs.noise_variance
    return levels, noise


def drawn(inputs: LikelihoodInputs) -> Floats:
    """Sample the states given everything else, shape (K, DRAWS, N)."""
    levels, noise = read_levels(inputs, DRAWS)
    motion, steps, start = moving(inputs, DRAWS)
    filtered = filter_levels(levels, noise, motion, steps, start)
    rng = np.random.default_rng(sum(map(ord, "level")))
    return sample_levels(filtered, levels, noise, motion, steps, start, rng)


def test_sampled_states_are_the_smoothers() -> None:
    """Means and covariances within five standard errors, of normal theory.

    Some 500 numbers are compared: a right sampler would fail once in 3,000 seeds.
    """
    inputs = random_inputs(32, nights=20, readings=11)
    assert inputs.jump.any()
    paths = drawn(inputs)
    means, variances = dense.states_given_readings(inputs)
    smoother = kalman.smooth(inputs)
    np.testing.assert_allclose(means, smoother.smoothed_state, rtol=1e-8, atol=1e-10)
    for state in (BASELINE, TRANSIENT, UNEXPLAINED):
        covariance = smoother.smoothed_state_cov[state, state]
        np.testing.assert_allclose(variances[state], covariance, rtol=1e-7, atol=1e-12)
        error = 5 * np.sqrt(covariance / DRAWS) + 1e-12
        assert np.all(abs(paths[state].mean(axis=0) - means[state]) < error)
        spread = paths[state].var(axis=0)
        assert np.all(abs(spread - covariance) <= 5 * covariance * np.sqrt(2 / DRAWS) + 1e-12)
    across = smoother.smoothed_state_cov[BASELINE, TRANSIENT]
    found = np.mean(
        (paths[BASELINE] - means[BASELINE][None]) * (paths[TRANSIENT] - means[TRANSIENT]), axis=0
    )
    error = np.sqrt((variances[BASELINE] * variances[TRANSIENT] + across**2) / DRAWS)
    assert np.all(abs(found - across) < 5 * error)


def test_the_filter_ends_where_statsmodels_does() -> None:
    inputs = random_inputs(34, nights=15, readings=9)
    levels, noise = read_levels(inputs, 2)
    filtered = filter_levels(levels, noise, *moving(inputs, 2))
    run = kalman.smooth(inputs)
    for draw in (0, 1):
        last = filtered.last
        np.testing.assert_allclose(last.mean[:, draw], run.filtered_state[:, -1], atol=1e-10)
        np.testing.assert_allclose(
            last.covariance[:, :, draw], run.filtered_state_cov[:, :, -1], atol=1e-10
        )
    whole = run.predicted_state.sum(axis=0)[:-1]
    np.testing.assert_allclose(filtered.expected[0], whole, rtol=1e-10)
    variance = run.predicted_state_cov.sum(axis=(0, 1))[:-1]
    np.testing.assert_allclose(filtered.variance[0], variance, rtol=1e-8)


def test_nothing_read_leaves_the_prior() -> None:
    one = np.ones(1)
    motion, steps = Motion(0.1 * one, 0.2 * one, 0.5 * one), Steps(*np.zeros((3, 4)))
    start = start_state(3.9 * one, 0.5 * one, motion, steps)
    filtered = filter_levels(np.full((1, 4), np.nan), np.full((1, 4), np.nan), motion, steps, start)
    np.testing.assert_array_equal(filtered.expected, 3.9)
    np.testing.assert_allclose(filtered.variance, [[0.7, 0.8, 0.9, 1.0]])
    np.testing.assert_array_equal(filtered.log_density, 0.0)


def test_an_announced_level_frees_the_baseline() -> None:
    """One reading after it weighs as its variance says: 0.09 against 0.01 of noise."""
    one = np.ones(1)
    motion = Motion(0.0 * one, 0.0 * one, 0.5 * one)
    steps = Steps(np.array([0.0, 0.0, 0.09]), np.zeros(3), np.zeros(3))
    start = start_state(4.0 * one, 0.0 * one, motion, steps)
    levels = np.array([[4.0, 4.0, 3.5]])
    last = filter_levels(levels, np.full((1, 3), 0.01), motion, steps, start).last
    assert last.mean[BASELINE, 0] == pytest.approx(4.0 - 0.5 * 0.9)
    assert last.covariance[BASELINE, BASELINE, 0] == pytest.approx(0.009)


def test_what_is_unexplained_is_gone_after_its_stretch() -> None:
    one = np.ones(1)
    motion = Motion(0.0 * one, 0.0 * one, 0.5 * one)
    steps = Steps(np.zeros(4), np.array([0.0, 0.0, 1.0, 0.0]), np.array([0.0, 0.09, 0.0, 0.0]))
    start = start_state(4.0 * one, 0.0 * one, motion, steps)
    levels = np.array([[4.0, 3.5, np.nan, np.nan]])
    filtered = filter_levels(levels, np.full((1, 4), 0.01), motion, steps, start)
    assert filtered.expected[0] == pytest.approx([4.0, 4.0, 3.55, 4.0])
    assert filtered.variance[0] == pytest.approx([0.0, 0.09, 0.009, 0.0])


def test_knowing_one_state_tells_of_the_others() -> None:
    """Two standard normals with correlation 0.6: given that one is 1, the other is 0.6 ± 0.8."""
    state = State(np.zeros((2, 1)), np.array([[1.0, 0.6], [0.6, 1.0]])[:, :, None])
    rest = state.at(1, np.ones(1))
    assert rest.mean[0, 0] == pytest.approx(0.6)
    assert rest.covariance[0, 0, 0] == pytest.approx(0.64)
