"""Draws by well-aimed Hamiltonian paths, against densities whose moments are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import digamma, polygamma

from slackwater.fitting.sampling.hamiltonian import CHAINS, STUCK, Floats, Scale, draw

DRAWS = 150


def test_a_normal_with_many_ties_has_its_mean_and_covariance() -> None:
    rng = np.random.default_rng(4)
    length, core = 60, np.arange(60) < 5
    ties = 0.1 * rng.standard_normal((5, 55))
    root = rng.standard_normal((5, 5)) + 3 * np.eye(5)
    precision = np.eye(length)
    precision[:5, 5:], precision[5:, :5] = ties, ties.T
    precision[:5, :5] = root @ root.T + ties @ ties.T
    mean = rng.normal(0, 2, length)

    def densities(points: Floats) -> tuple[Floats, Floats]:
        slopes = -(points - mean) @ precision
        return 0.5 * ((points - mean) * slopes).sum(axis=1), slopes

    points, accepted = next(draw(densities, np.zeros(length), core, seed=1, draws=DRAWS))
    assert points.shape == (CHAINS, DRAWS, length)
    assert accepted > 0.6
    covariance = np.linalg.inv(precision)
    z = (points.reshape(-1, length) - mean) / np.sqrt(np.diag(covariance))
    # 1,200 draws, of which squares are worth a third: 4.5 standard errors of 120 numbers.
    assert np.abs(z.mean(axis=0)).max() < 4.5 / 1200**0.5
    assert np.abs((z**2).mean(axis=0) - 1).max() < 4.5 * (2 / 400) ** 0.5
    rounds = draw(densities, np.zeros(length), core, seed=1, draws=DRAWS // 2)
    np.testing.assert_array_equal(next(rounds).points, points[:, : DRAWS // 2])
    np.testing.assert_array_equal(next(rounds).points, points)


def test_a_density_far_from_normal_is_drawn_as_it_is() -> None:
    # The log of a Gamma(1.5) variable: mean digamma(1.5), variance trigamma(1.5), skewed.
    def densities(points: Floats) -> tuple[Floats, Floats]:
        return (1.5 * points - np.exp(points)).sum(axis=1), 1.5 - np.exp(points)

    points, _ = next(draw(densities, np.zeros(3), np.ones(3, bool), seed=2, draws=600))
    assert points.mean(axis=(0, 1)) == pytest.approx(np.full(3, digamma(1.5)), abs=0.08)
    assert points.var(axis=(0, 1)) == pytest.approx(np.full(3, polygamma(1, 1.5)), rel=0.15)


def test_a_curvature_that_no_density_can_have_is_made_one() -> None:
    rows = np.array([[1.0, 2.0, 3.0, 0, 0], [2.0, 1.0, 0, 3.0, 0]])  # saddle, and tied too much
    scale = Scale.of(rows, np.full(3, 4.0))
    momentum = np.eye(5)
    precision = np.linalg.inv(scale.velocity(momentum))
    np.testing.assert_allclose(precision, precision.T, atol=1e-12)
    assert np.linalg.eigvalsh(precision)[0] > 0
    np.testing.assert_allclose(precision[2:, 2:], 4 * np.eye(3), atol=1e-9)


def test_paths_that_leave_where_there_is_any_density_are_not_followed() -> None:
    # Beyond 3 there is nothing, and no slope that tells a path so.
    def densities(points: Floats) -> tuple[Floats, Floats]:
        inside = np.abs(points).max(axis=1) <= 3
        logs = np.where(inside, -0.5 * np.square(points).sum(axis=1), -np.inf)
        return logs, np.where(inside[:, None], -points, 0.0)

    points, accepted = next(draw(densities, np.zeros(4), np.ones(4, bool), seed=3, draws=60))
    assert accepted > STUCK
    assert np.abs(points).max() <= 3


def test_a_scale_where_more_is_known_of_the_core_is_that_of_both() -> None:
    rows = np.array([[3.0, 0.5, 0.4, 0, 0.2], [0.5, 2.0, 0, 0.3, 0]])
    more = np.array([[1.5, -0.2], [-0.2, 0.7]])
    both = rows + np.hstack([more, np.zeros((2, 3))])
    found, expected = Scale.of(rows, np.ones(3)).narrowed(more), Scale.of(both, np.ones(3))
    momentum = np.eye(5)
    np.testing.assert_allclose(
        found.velocity(momentum), expected.velocity(momentum), rtol=1e-12, atol=1e-14
    )
    np.testing.assert_allclose(
        found.momentum(momentum), expected.momentum(momentum), rtol=1e-12, atol=1e-14
    )
